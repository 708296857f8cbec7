//! What can happen to the engine. Nothing else ever reaches it.

use super::effect::{Condition, Id, Side};
use super::policy::Policy;
use crate::domain::diary::Note;
use crate::domain::glucose::Glucose;
use crate::domain::mode::Wish;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::reminder::Asked;
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::{Entry, Excursion, Written};
use serde::{Deserialize, Serialize};

/// One thing that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Event {
    /// Time has passed. An early or extra tick is harmless.
    Tick,
    /// Watching begins with no earlier life: sources that never say anything become a gap.
    Started,
    /// Readings of one source that were not known before, in any order, all that came together.
    Readings {
        /// The new readings.
        rows: Vec<Reading>,
        /// The first time this source is seen: its past is history, and says nothing.
        first_sight: bool,
    },
    /// Rows of a source could not be read, and no good row came after them.
    Refused {
        /// Which source.
        source: SourceId,
        /// How many since its last good row, in this piece.
        rows: u64,
        /// The first refusal, in words, with its file, line and column.
        words: String,
        /// A whole file is not understood, rather than rows of one that is.
        whole_file: bool,
    },
    /// A source as a whole cannot be read: its folder is gone, its file may not be opened.
    Lost {
        /// Which source.
        source: SourceId,
        /// Why, in words.
        words: String,
    },
    /// The wearer says a high or a low was treated.
    Treated {
        /// What was treated; `None` when they did not say.
        which: Option<Which>,
        /// When it was treated.
        at: Timestamp,
        /// A look they ask to be prompted at, whatever the therapy.
        look: Option<Span>,
    },
    /// The wearer noted something.
    Noted(Note),
    /// The wearer says that a dose that was asked about was meant.
    Meant {
        /// When it was taken; `None` for the one that was asked about last.
        at: Option<Timestamp>,
    },
    /// Somebody has seen an alert, or all that are open: the wearer, or another who has it.
    Seen {
        /// Which alert; `None` for all.
        which: Option<Id>,
        /// Only what had rung by then; `None` for all that are open.
        #[serde(default)]
        until: Option<Timestamp>,
        /// Who says so, by the name in the settings; none: the wearer.
        #[serde(default)]
        by: Option<String>,
    },
    /// Somebody in the settings is with the wearer, and has it.
    With {
        /// Which alert; `None` for all.
        which: Option<Id>,
        /// Who says so, by the name in the settings.
        by: String,
    },
    /// A line of a diary file says that something was treated, noted, meant or seen.
    Written {
        /// [`Event::Treated`], [`Event::Noted`], [`Event::Meant`] or [`Event::Seen`].
        said: Box<Event>,
        /// Where it stands: file and line.
        whence: String,
    },
    /// A line of the diary is another than it was.
    Amended {
        /// What it said; none when it was deleted.
        was: Option<Note>,
        /// What it says; none when it is deleted.
        is: Option<Note>,
        /// What else stands in the diary of the last hours.
        others: Vec<Note>,
    },
    /// Stretches of time are not to be counted: all that there are, in order and apart from each other.
    Excluded {
        /// From the first instant of each to the first after it.
        stretches: Vec<(Timestamp, Timestamp)>,
    },
    /// What was kept while nobody watched has been taken in.
    KeptAnswered {
        /// What was answered to each.
        lines: Vec<String>,
    },
    /// Lines of a diary file were not understood.
    DiaryRefused {
        /// The first of them, in words, with its file, line and column.
        words: String,
        /// How many more.
        more: u64,
    },
    /// The wearer wants no ring for a while.
    Quiet {
        /// For how long.
        span: Span,
        /// Of what; `None` for what rang last.
        condition: Option<Condition>,
    },
    /// Everything rings again.
    QuietOff,
    /// The wearer chose which of several signals counts.
    Trust(Trusted),
    /// The wearer wants a mode to begin, or to end.
    Mode {
        /// What they want.
        wish: Wish,
        /// When they said so: with nobody watching it is taken in later.
        at: Timestamp,
    },
    /// Nobody was watching for a while.
    Unwatched {
        /// End of the last completed turn before it.
        from: Timestamp,
        /// When watching went on.
        to: Timestamp,
        /// Why.
        cause: Cause,
    },
    /// The computer's clock was set: spans keep their length, wall-clock deadlines keep their hour.
    ClockStepped {
        /// By how much; negative when set back.
        by: Span,
    },
    /// How many channels can reach the wearer now.
    Channels {
        /// Channels that work or have not been tried yet.
        working: usize,
        /// Those that do not, each with its reason in words.
        failing: Vec<String>,
    },
    /// The settings changed.
    PolicyChanged(Box<Policy>),
    /// The wearer asks to be reminded of something.
    Remind(Asked),
    /// The wearer wants a reminder no more.
    CancelReminders {
        /// Which; `None` for all.
        which: Option<Id>,
    },
}

impl Event {
    /// What a line of a diary file means, as far as it is known by then. `whence` is its file and line.
    #[must_use]
    pub fn written(line: &Written, whence: &str, known: Timestamp) -> Self {
        let at = line.at.min(known);
        let said = match &line.what {
            Entry::Noted { kind, words } => Self::Noted(Note { at, kind: kind.clone(), words: words.clone() }),
            Entry::Treated(which) => Self::Treated { which: which.map(Which::from), at, look: None },
            Entry::Meant => Self::Meant { at: None },
            Entry::Seen => Self::Seen { which: None, until: Some(line.end().min(known)), by: None },
            Entry::SeenBy(words) => {
                Self::Seen { which: None, until: Some(line.end().min(known)), by: Some(words.clone()) }
            }
        };
        Self::Written { said: Box::new(said), whence: whence.to_owned() }
    }
}

impl From<Excursion> for Which {
    fn from(which: Excursion) -> Self {
        Self::Side(match which {
            Excursion::High => Side::High,
            Excursion::Low => Side::Low,
        })
    }
}

/// What a treatment belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Which {
    /// One alert by its number.
    Alert(Id),
    /// The high or the low there is now, with or without an alert.
    Side(Side),
}

/// Which readings count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Trusted {
    /// Those of one source.
    Source(SourceId),
    /// Those of the signal that is nearest to this value now.
    Near(Glucose),
    /// All.
    All,
}

/// Why nobody was watching.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// The program was stopped.
    Stopped,
    /// The program ended without stopping: killed, crashed, power lost.
    Killed,
    /// The computer slept.
    Slept,
}
