//! One turn of the engine: the time it happens at, the value it looks at, and what it decides.

use super::Engine;
use super::effect::{Decision, Doubt};
use super::rebound::AfterLow;
use super::signal::Signal;
use super::story::Covers;
use super::trend::Rate;
use crate::domain::glucose::Glucose;
use crate::domain::local::Stretch;
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};

/// A value the turn looks at.
#[derive(Debug, Clone, Copy)]
pub(super) struct Judged {
    /// The value.
    pub(super) glucose: Glucose,
    /// When it was measured.
    pub(super) at: Timestamp,
    /// How it was changing; of a finger-prick nothing is known of that.
    pub(super) rate: Option<Rate>,
    /// Whose value it is.
    pub(super) of: Signal,
}

/// One turn.
#[derive(Debug)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fact about the turn by itself, and any goes with any")]
pub(super) struct Turn {
    /// The time of the turn.
    pub(super) now: Timestamp,
    /// The night or the day it happens in.
    pub(super) night: Stretch,
    /// The quiet hours it happens in, the night among them, or the time between them.
    pub(super) quiet: Stretch,
    /// Above this a value is very high.
    pub(super) very_high: Glucose,
    /// The value it looks at.
    pub(super) judged: Option<Judged>,
    /// Why values are less sure at the moment.
    pub(super) doubt: Option<Doubt>,
    /// The sensor has shown the same low for long.
    pub(super) flat_low: bool,
    /// When something rang about a high before this turn, where something does in it.
    pub(super) high_rang: Option<Timestamp>,
    /// Its readings came as several at once: what they hold of the time before is known.
    pub(super) batch: bool,
    /// For so long a value is about now.
    pub(super) fresh_for: Span,
    /// The low that the high there is now came soon after.
    pub(super) after_low: Option<AfterLow>,
    /// A treated high is followed, and the check that speaks for it comes then.
    pub(super) check_speaks: Option<Timestamp>,
    /// When insulin was last noted.
    pub(super) insulin: Option<Timestamp>,
    /// The mode that what is said of lows goes by.
    pub(super) mode: Option<Mode>,
    /// What covers the low that it looks at, and until when at the latest.
    pub(super) cover: Option<(Covers, Timestamp)>,
    /// It is about a line of a diary file, which may come long after its time.
    pub(super) written: bool,
    /// It is about a line of the diary that is changed at a keyboard.
    pub(super) amends: bool,
    /// What was decided so far.
    pub(super) out: Vec<Decision>,
}

impl Engine {
    pub(super) fn begin(&mut self, now: Timestamp) -> Turn {
        let (night, quiet) = self.hours_around(now);
        let very_high = self.policy.levels.very_high.limit;
        let mode = self.mode_that_counts(now);
        Turn {
            now,
            night,
            quiet,
            very_high,
            judged: None,
            doubt: None,
            flat_low: false,
            high_rang: None,
            batch: false,
            fresh_for: self.fresh_for(),
            after_low: None,
            check_speaks: None,
            insulin: self.state.doses.last_by(now),
            mode,
            cover: None,
            written: false,
            amends: false,
            out: Vec::new(),
        }
    }

    /// What is said of values goes with what is known around them. Readings that are judged find it out themselves.
    pub(super) fn look_around(&self, turn: &mut Turn) {
        (turn.doubt, turn.after_low) = (self.doubt(turn.now), self.after_low(turn.now));
        turn.flat_low = self.low_does_not_move(turn.now);
    }

    /// The settings changed: what the turn knows of them is as they are now.
    pub(super) fn begin_anew(&mut self, turn: &mut Turn) {
        (turn.night, turn.quiet) = self.hours_around(turn.now);
        turn.very_high = self.policy.levels.very_high.limit;
    }
}
