//! What is noted and asked about: an amount far from what is usual, insulin for a time at which glucose was low, a
//! treatment from long before what it would be of. Until somebody says that it was meant, a dose in question counts for
//! danger alone: it is known to act, and is looked at, and it silences nothing. Never says what an amount should be.

use super::Engine;
use super::alert::Alert;
use super::effect::{Condition, Id, Side, What};
use super::past_lows::TELLS_FOR;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::diary::{Amount, Kind, Note};
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Insulin that is noted for a time below this is asked about, whatever the alerts' own limit. A level-1 low.
const LOW: i32 = 7_000;

/// More ketones than this are asked about, in hundredths of a mmol/L: meters say "high" before. Common practice, no
/// source.
const KETONES_MOST: i32 = 1_000;

/// A treatment may be older than what it is of by this: sugar works within minutes, and insulin for hours.
const SUGAR_BEFORE: Span = Span::minutes(20);
const INSULIN_BEFORE: Span = Span::hours(4);

/// Most doses in question at a time; of more the oldest is left as what it is, insulin that acts.
pub(super) const IN_QUESTION_MAX: usize = 8;

/// What is odd about an amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Odd {
    /// More than one and a half times the largest dose of 30 days; where that is not known, more than 25 units.
    FarAboveUsual {
        /// The largest of 30 days, where it is known.
        largest: Option<Amount>,
    },
    /// The same number as glucose then.
    IsGlucose(Glucose),
    /// More ketones than meters show.
    KetonesBeyondMeters,
}

/// A dose in question, as it was noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct InQuestion {
    /// When it was taken.
    pub(super) at: Timestamp,
    /// How much of it.
    pub(super) amount: Amount,
}

impl Engine {
    /// What is odd about how much a note says.
    pub(super) fn odd(&self, note: &Note) -> Option<Odd> {
        match note.kind {
            Kind::Ketones(amount) => (amount.0 > KETONES_MOST).then_some(Odd::KetonesBeyondMeters),
            Kind::Insulin(Some(amount)) => {
                let usual = self.state.doses.usual();
                if usual.is_far_above(amount, note.at) {
                    return Some(Odd::FarAboveUsual { largest: usual.largest(note.at) });
                }
                let is_usual = usual.largest(note.at).is_some_and(|largest| amount <= largest);
                self.known_at(note.at)
                    .filter(|glucose| !is_usual && self.is_shown_as(*glucose, amount))
                    .map(Odd::IsGlucose)
            }
            _ => None,
        }
    }

    /// Is an amount the number that the wearer reads that value as? Small whole numbers are doses as often.
    fn is_shown_as(&self, glucose: Glucose, amount: Amount) -> bool {
        let shown = glucose.shown(self.policy.unit, None);
        Amount::parse(&shown) == Some(amount)
    }

    /// The lowest value that is known of a time, of sensors and meter.
    pub(super) fn known_at(&self, at: Timestamp) -> Option<Glucose> {
        let near = |measured: Timestamp| measured <= at && at - measured <= TELLS_FOR;
        let newest = self
            .numbers()
            .filter_map(|source| self.state.window.newest_first(source).find(|reading| reading.measured <= at));
        let sensors = newest.filter(|reading| near(reading.measured)).map(|reading| reading.glucose);
        let meter = self.state.meter.filter(|(measured, _)| near(*measured)).map(|(_, glucose)| glucose);
        sensors.chain(meter).min_by_key(|glucose| glucose.hundredths())
    }

    /// The low that insulin was noted for, if it was one.
    pub(super) fn low_at(&self, note: &Note) -> Option<Glucose> {
        if !matches!(note.kind, Kind::Insulin(_) | Kind::LongActing(_)) {
            return None;
        }
        // What was before the window of readings is remembered by its lowest value.
        let known = self.known_at(note.at).filter(|glucose| glucose.hundredths() < LOW);
        known.or_else(|| self.state.past_lows.at(note.at))
    }

    /// Asks whether a note was meant, before anything else is said of it.
    pub(super) fn asks_about(&mut self, turn: &mut Turn, note: &Note) {
        let (odd, low) = (self.odd(note), self.low_at(note));
        if let (Kind::LongActing(_), Some(glucose)) = (&note.kind, low) {
            let reason = Reason::LongActingWhileLow { at: note.at, glucose };
            turn.tell(What::Answer, Condition::Diary, Id(0), None, reason, false);
            return;
        }
        if odd.is_none() && low.is_none() {
            return;
        }
        turn.ask(Reason::Meant { kind: note.kind.clone(), at: note.at, odd, low });
        if let (Kind::Insulin(Some(amount)), Some(_)) = (&note.kind, odd) {
            self.state.doses.question(InQuestion { at: note.at, amount: *amount });
        }
    }

    /// Somebody says that a dose in question was meant: the one of that time, or the newest. It counts from now on.
    pub(super) fn meant(&mut self, turn: &mut Turn, at: Option<Timestamp>) {
        let Some(dose) = self.state.doses.answer(at) else {
            turn.tell(What::Answer, Condition::Diary, Id(0), None, Reason::NothingInQuestion, false);
            return;
        };
        self.state.doses.learn(dose.at, Some(dose.amount));
        let note = Note { at: dose.at, kind: Kind::Insulin(Some(dose.amount)), words: String::new() };
        self.take_in(turn, &note);
    }

    /// Is it a dose that is asked about?
    pub(super) fn is_in_question(&self, note: &Note) -> bool {
        note.kind.is_insulin() && self.state.doses.is_in_question(note.at)
    }

    /// When what is open on that side began, where a treatment is from too long before that to be one of it.
    pub(super) fn began_after(&self, now: Timestamp, side: Side, treated: Timestamp) -> Option<Timestamp> {
        let before = if side == Side::Low { SUGAR_BEFORE } else { INSULIN_BEFORE };
        // High now may be a later stretch than the one that raised the alert.
        let begun = |alert: &Alert| alert.level()?.row.map_or(Some(alert.since), |row| Some(row.since));
        let alert = || self.state.register.of_side(side).filter_map(begun).min();
        let since = match side {
            Side::Low => self.state.past_lows.since(now).or_else(|| self.root(Side::Low).map(|root| root.since)),
            Side::High => alert(),
        }?;
        (treated < since - before).then_some(since)
    }
}

impl Turn {
    /// Asks the wearer something: at a keyboard it is the answer; a line of a file has nobody who reads one.
    pub(super) fn ask(&mut self, reason: Reason) {
        let (what, rings) = if self.written && !self.amends { (What::Told, true) } else { (What::Answer, false) };
        self.tell(what, Condition::Diary, Id(0), None, reason, rings);
    }
}
