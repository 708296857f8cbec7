//! The register: every alert that is open, whatever it is about, what is over and was never answered, and the calls for
//! what nobody answers. Answers, mutes, steps, what waits and what is shown are loops over it. Decides nothing.

use super::calls::{Calls, LowCalls};
use super::condition::Condition;
use super::{Alert, Detail};
use crate::domain::glucose::Glucose;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use crate::engine::began::Beginnings;
use crate::engine::denial::Denials;
use crate::engine::effect::{Id, Side};
use crate::engine::level::Pending;
use crate::engine::over::Seen;
use crate::engine::silence::Silence;
use crate::engine::story::Story;
use serde::{Deserialize, Serialize};

/// All alerts of one life.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Register {
    open: Open,
    /// Values beyond a limit that have not been so for long enough.
    pending: Vec<Pending>,
    /// What is over, and nobody answered.
    pub returned: Vec<Alert>,
    /// Calls for what nobody answers, in the order they began.
    pub calls: Vec<Calls>,
    /// Who was called by night for what comes and goes, and until when that night lasts.
    #[serde(default)]
    pub(in crate::engine) called_tonight: Vec<(u8, Timestamp)>,
    /// When anything about a low last rang for the wearer.
    #[serde(default)]
    pub(in crate::engine) low_rang: Option<Timestamp>,
    /// The same of a high.
    #[serde(default)]
    pub(in crate::engine) high_rang: Option<Timestamp>,
    /// What is one story with the low there is.
    #[serde(default)]
    pub story: Story,
    /// The last value of a low.
    #[serde(default)]
    pub(in crate::engine) low_seen: Option<Seen>,
    /// When what is beyond a limit began.
    #[serde(default)]
    pub(in crate::engine) began: Beginnings,
    /// Finger-pricks that deny the low there is.
    #[serde(default)]
    pub(in crate::engine) denials: Denials,
    /// What rang since the signal was lost.
    #[serde(default)]
    pub(in crate::engine) silence: Option<Silence>,
}

/// The open alerts, in the order of the conditions, and of the sources where several are lost.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<Alert>", into = "Vec<Alert>")]
struct Open {
    alerts: Vec<Alert>,
    /// One bit for each condition there is an alert of: most readings ask for what is not there.
    present: u32,
}

const fn bit(condition: Condition) -> u32 {
    1 << condition as u32
}

fn place(alert: &Alert) -> (u32, Option<SourceId>) {
    (alert.condition.row().order, alert.source())
}

impl From<Vec<Alert>> for Open {
    fn from(mut alerts: Vec<Alert>) -> Self {
        alerts.sort_by_key(place);
        let mut open = Self { alerts, present: 0 };
        open.count();
        open
    }
}

impl From<Open> for Vec<Alert> {
    fn from(open: Open) -> Self {
        open.alerts
    }
}

impl Open {
    fn count(&mut self) {
        self.present = self.alerts.iter().fold(0, |all, alert| all | bit(alert.condition));
    }

    #[inline]
    const fn has(&self, condition: Condition) -> bool {
        self.present & bit(condition) != 0
    }
}

impl Register {
    /// Every open alert.
    pub fn open(&self) -> impl Iterator<Item = &Alert> {
        self.open.alerts.iter()
    }

    /// The same, to be changed.
    pub(in crate::engine) fn open_mut(&mut self) -> impl Iterator<Item = &mut Alert> {
        self.open.alerts.iter_mut()
    }

    /// Is there none of the levels of a side, and none on its way?
    #[inline]
    pub(in crate::engine) fn is_calm(&self, side: Side) -> bool {
        let (worse, milder) = side.levels();
        self.open.present & (bit(worse) | bit(milder)) == 0 && self.pending.is_empty()
    }

    /// The open alert of a condition; of lost sources that of the first.
    #[must_use]
    #[inline]
    pub fn of(&self, condition: Condition) -> Option<&Alert> {
        if !self.open.has(condition) {
            return None;
        }
        self.open().find(|alert| alert.condition == condition)
    }

    /// The same, to be changed.
    #[inline]
    pub(in crate::engine) fn of_mut(&mut self, condition: Condition) -> Option<&mut Alert> {
        if !self.open.has(condition) {
            return None;
        }
        self.open_mut().find(|alert| alert.condition == condition)
    }

    /// What the level of a condition remembers, while it has an open alert.
    pub(in crate::engine) fn level_mut(
        &mut self,
        condition: Condition,
    ) -> Option<&mut crate::engine::level::LevelFacts> {
        self.of_mut(condition).and_then(Alert::level_mut)
    }

    /// The open alert of that number.
    #[must_use]
    pub fn get(&self, id: Id) -> Option<&Alert> {
        self.open().find(|alert| alert.id == id)
    }

    /// The open alert of a lost source.
    #[must_use]
    pub fn lost(&self, source: SourceId) -> Option<&Alert> {
        if !self.is_anything_lost() {
            return None;
        }
        self.open().find(|alert| alert.source() == Some(source))
    }

    /// Is any source lost?
    #[inline]
    pub(in crate::engine) const fn is_anything_lost(&self) -> bool {
        self.open.has(Condition::Gap) || self.open.has(Condition::SourceFailed)
    }

    /// What two signals said last, while readings alternate: the lower one, and the higher one.
    #[must_use]
    #[inline]
    pub fn two_signals(&self) -> Option<(Glucose, Glucose)> {
        self.of(Condition::TwoSignals).and_then(Alert::two_signals)
    }

    /// The open levels of a side, the worse first; a caution is none of them.
    pub fn of_side(&self, side: Side) -> impl Iterator<Item = &Alert> {
        let (worse, milder) = side.levels();
        self.of(worse).into_iter().chain(self.of(milder))
    }

    /// The alert that began a side's excursion: the one all others are part of.
    #[must_use]
    #[inline]
    pub fn root(&self, side: Side) -> Option<&Alert> {
        let (worse, milder) = side.levels();
        match (self.of(worse), self.of(milder)) {
            (Some(worse), Some(milder)) if (milder.since, milder.id) < (worse.since, worse.id) => Some(milder),
            (worse, milder) => worse.or(milder),
        }
    }

    /// An alert begins. One of its condition, or of its source, there was none of.
    pub(in crate::engine) fn raise(&mut self, alert: Alert) {
        self.pending.retain(|pending| pending.condition != alert.condition);
        let at = self.open.alerts.partition_point(|known| place(known) <= place(&alert));
        self.open.alerts.insert(at, alert);
        self.open.present |= bit(alert.condition);
    }

    /// What an alert says changes, or what it is about: a silence whose cause is known by now.
    pub(in crate::engine) fn replace(&mut self, alert: Alert) {
        self.end(alert.id);
        self.raise(alert);
    }

    /// An alert is over.
    pub(in crate::engine) fn end(&mut self, id: Id) -> Option<Alert> {
        let at = self.open.alerts.iter().position(|alert| alert.id == id)?;
        let ended = self.open.alerts.remove(at);
        self.open.count();
        Some(ended)
    }

    /// The alert of a condition is over.
    pub(in crate::engine) fn end_of(&mut self, condition: Condition) -> Option<Alert> {
        let id = self.of(condition)?.id;
        self.end(id)
    }

    /// The alert of a condition is over, if that holds of it.
    pub(in crate::engine) fn end_if(
        &mut self,
        condition: Condition,
        over: impl FnOnce(&Alert) -> bool,
    ) -> Option<Alert> {
        let id = self.of(condition).filter(|alert| over(alert))?.id;
        self.end(id)
    }

    /// The alert of a lost source is over.
    pub(in crate::engine) fn end_lost(&mut self, source: SourceId) -> Option<Alert> {
        let id = self.lost(source)?.id;
        self.end(id)
    }

    /// A value of that condition that waits for its on-delay.
    #[must_use]
    pub(in crate::engine) fn pending(&self, condition: Condition) -> Option<&Pending> {
        self.pending.iter().find(|pending| pending.condition == condition)
    }

    /// One waits, or none does any more.
    pub(in crate::engine) fn set_pending(&mut self, condition: Condition, pending: Option<Pending>) {
        if self.pending.is_empty() && pending.is_none() {
            return;
        }
        self.pending.retain(|known| known.condition != condition);
        self.pending.extend(pending);
    }

    /// Values that wait were measured by a clock that was set.
    pub(in crate::engine) fn shift_pending(&mut self, by: Span) {
        for pending in &mut self.pending {
            (pending.since, pending.last) = (pending.since + by, pending.last + by);
        }
    }

    /// The calls for the low there is, if there are any.
    #[must_use]
    pub fn calls_of_low(&self) -> Option<(&Calls, &LowCalls)> {
        self.calls.iter().find_map(|calls| Some((calls, calls.of_low()?)))
    }

    /// The same, to be changed.
    pub(in crate::engine) fn calls_of_low_mut(&mut self) -> Option<&mut Calls> {
        self.calls.iter_mut().find(|calls| calls.of_low().is_some())
    }

    /// The calls for the low are over, or begin anew.
    pub(in crate::engine) fn take_calls_of_low(&mut self) -> Option<Calls> {
        let at = self.calls.iter().position(|calls| calls.of_low().is_some())?;
        Some(self.calls.remove(at))
    }

    /// The calls for what is no low and has that number.
    pub(in crate::engine) fn calls_of(&self, id: Id) -> Option<&Calls> {
        self.calls.iter().find(|calls| calls.of_low().is_none() && calls.id == id)
    }

    /// The same, to be changed.
    pub(in crate::engine) fn calls_of_mut(&mut self, id: Id) -> Option<&mut Calls> {
        self.calls.iter_mut().find(|calls| calls.of_low().is_none() && calls.id == id)
    }

    /// The clock was set: the spans of what nobody answers keep their length.
    pub(in crate::engine) fn shift_calls(&mut self, by: Span) {
        self.low_rang = self.low_rang.map(|rang| rang + by);
        self.high_rang = self.high_rang.map(|rang| rang + by);
        self.story.shift(by);
        self.denials.shift(by);
        self.silence.iter_mut().for_each(|silence| silence.shift(by));
        self.calls.iter_mut().for_each(|calls| calls.shift(by));
    }

    /// The people of the settings have other places.
    pub(in crate::engine) fn move_people(&mut self, to: &impl Fn(u8) -> Option<u8>) {
        self.calls.iter_mut().for_each(|calls| calls.move_people(to));
        super::people::moved(&mut self.called_tonight, to);
    }

    /// Signals went back and forth once more.
    pub(in crate::engine) fn signals_alternate(&mut self, at: Timestamp, values: (Glucose, Glucose)) -> bool {
        let Some(alert) = self.of_mut(Condition::TwoSignals) else { return false };
        alert.detail = Detail::TwoSignals { last: at, lower: values.0, higher: values.1 };
        true
    }
}
