//! What the wearer says: treated, noted, seen. Every word gets an answer, and a treatment that could
//! belong to several alerts, or to none, is asked about, not guessed.

use super::people::{About, Answer};
use super::{Alert, Detail};
use crate::domain::diary::{Kind, Note};
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::is_diary_only;
use crate::engine::Engine;
use crate::engine::effect::{Condition, Id, Side, What};
use crate::engine::event::{Event, Which};
use crate::engine::mistaken::says_mistaken;
use crate::engine::mode::profile::Profile;
use crate::engine::reason::{Began, Open, Reason};
use crate::engine::recheck_high::{HighCheck, Stage};
use crate::engine::recheck_low::LowCheck;
use crate::engine::symptoms::may_begin_a_low;
use crate::engine::turn::Turn;

impl Engine {
    pub(in crate::engine) fn treated(
        &mut self,
        turn: &mut Turn,
        which: Option<Which>,
        at: Timestamp,
        look: Option<Span>,
    ) {
        self.high_answered(turn, Some(at), None);
        let meant = self.side_meant(which);
        if meant != Ok(Side::High) {
            self.something_is_said_of_low(turn.now);
        }
        let before = meant.as_ref().ok().and_then(|side| Some((*side, self.began_after(turn.now, *side, at)?)));
        if let Some((side, since)) = before {
            return turn.ask(Reason::TreatedBefore { side, at, since });
        }
        match meant {
            Ok(Side::High) => {
                self.ketones_treated(turn, Answer { at, by: None });
                self.treat_high(turn, at, look);
            }
            Ok(Side::Low) => self.treat_low_or_caution(turn, at),
            Err(reason) => turn.tell(What::Answer, Condition::Diary, Id(0), None, reason, false),
        }
    }

    /// A low is treated, or what is none but asks for caution.
    pub(in crate::engine) fn treat_low_or_caution(&mut self, turn: &mut Turn, at: Timestamp) {
        if !self.treat_caution(turn, at) {
            self.treat_low(turn, at, Began::Treated);
        }
    }

    /// What a line of a diary file says. It may come late and out of order, and nobody waits for an answer:
    /// what is asked back is told.
    pub(in crate::engine) fn written(&mut self, turn: &mut Turn, said: &Event, whence: &str) {
        let (at, treats) = match said {
            Event::Treated { which, at, .. } => (*at, self.side_meant(*which).ok()),
            Event::Noted(note) => match note.kind {
                Kind::Insulin(_) => (note.at, Some(Side::High)),
                Kind::Carbohydrate(_) => (note.at, Some(Side::Low)),
                Kind::Symptoms if may_begin_a_low(note) => (note.at, Some(Side::Low)),
                _ => (note.at, None),
            },
            Event::Seen { until, .. } => (until.unwrap_or(turn.now), None),
            Event::Meant { .. } => (turn.now, None),
            _ => return,
        };
        // What was treated again since is looked at by the later treatment.
        let kind = if let Event::Noted(note) = said { Some(&note.kind) } else { None };
        let is_past = is_diary_only(kind, at, turn.now) || treats.is_some_and(|side| self.treated_since(side, at));
        turn.judged = self.latest(turn.now);
        turn.written = true;
        match said {
            _ if is_past => {
                self.answer_by_line(turn, said, at);
                if let Event::Noted(note) = said {
                    self.remember_note(note);
                } else if treats == Some(Side::High) {
                    self.remember_given(at);
                }
                turn.only_noted();
            }
            Event::Treated { which, at, look } => self.treated(turn, *which, *at, *look),
            Event::Noted(note) => self.noted(turn, note),
            Event::Meant { at } => self.meant(turn, *at),
            Event::Seen { which, until, by } => {
                // A diary's words may say anything beside a name: then it is the wearer who wrote them.
                let by = by.as_deref().filter(|name| self.person_named(name).is_some());
                self.seen(turn, *which, *until, by);
            }
            _ => {}
        }
        let asked = turn.out.iter().find_map(|decision| match &decision.reason {
            Reason::WhichOne { open } => Some(open.clone()),
            _ => None,
        });
        if let Some(open) = asked {
            let reason = Reason::DiaryLineAsks { whence: whence.to_owned(), at, open };
            turn.tell(What::Told, Condition::Diary, Id(0), None, reason, true);
        }
    }

    /// What a line says answers, whatever else follows from it.
    fn answer_by_line(&mut self, turn: &mut Turn, said: &Event, at: Timestamp) {
        match said {
            Event::Noted(note) => self.answer_by_note(turn, note),
            Event::Treated { .. } => self.high_answered(turn, Some(at), None),
            _ => {}
        }
    }

    fn answer_by_note(&mut self, turn: &mut Turn, note: &Note) {
        if matches!(note.kind, Kind::Insulin(_) | Kind::Carbohydrate(_) | Kind::Ketones(_)) {
            self.high_answered(turn, Some(note.at), None);
        }
    }

    /// Is a later treatment of this side looked at already?
    pub(in crate::engine) fn treated_since(&self, side: Side, at: Timestamp) -> bool {
        match (side, self.state.plan.high(), self.state.plan.low()) {
            (Side::High, Some(HighCheck { stage: Stage::Looking { treated, .. }, .. }), _)
            | (Side::Low, _, Some(LowCheck { treated: Some(treated), .. })) => treated.at > at,
            (_, _, _) => false,
        }
    }

    /// Is a treatment at that time known by now?
    pub(in crate::engine) fn was_treated_at(&self, at: Timestamp) -> bool {
        self.state.plan.checks().any(|(check, _)| check.side().is_some() && check.treated_at() == Some(at))
    }

    fn side_meant(&self, which: Option<Which>) -> Result<Side, Reason> {
        match which {
            Some(Which::Side(side)) => Ok(side),
            Some(Which::Alert(id)) => self.side_of(id).ok_or(Reason::NoSuchAlert { id }),
            None => self.only_open_side(),
        }
    }

    /// A note for the diary. One that may not have been meant is asked about first.
    pub(in crate::engine) fn noted(&mut self, turn: &mut Turn, note: &Note) {
        self.asks_about(turn, note);
        self.take_in(turn, note);
    }

    /// A note is taken in; one that treats what is out of range begins its looks.
    pub(in crate::engine) fn take_in(&mut self, turn: &mut Turn, note: &Note) {
        let at = note.at;
        self.remember_note(note);
        self.answer_by_note(turn, note);
        self.watch_after_help(turn, note);
        if matches!(note.kind, Kind::Carbohydrate(_)) {
            self.something_is_said_of_low(turn.now);
            self.treatment_defers_calls(at);
        }
        turn.insulin = self.state.doses.last_by(turn.now);
        if let Some(measured) = note.kind.ketones() {
            return self.ketones_measured(turn, at, measured);
        }
        if note.kind.is_insulin() {
            self.ketones_treated(turn, Answer { at, by: None });
        }
        if says_mistaken(note) {
            self.mistaken_noted(turn, at);
        }
        match &note.kind {
            Kind::SensorStart(of) => return self.sensor_started(turn, at, of.as_deref()),
            Kind::SensorStop(of) => return self.sensor_stopped(turn, at, of.as_deref()),
            Kind::Insulin(_) if self.is_out(turn.now, Side::High, at) => {
                if !self.is_in_question(note) {
                    self.correction_noted(at);
                }
                self.treat_high(turn, at, None);
                return self.tell_stacked(turn);
            }
            Kind::Carbohydrate(_) if self.is_out(turn.now, Side::Low, at) => {
                return self.treat_low_or_caution(turn, at);
            }
            // It may be one of a low that comes soon.
            Kind::Carbohydrate(_) => self.state.register.story.treated(at),
            Kind::Symptoms => return self.symptoms_noted(turn, note),
            Kind::Meter(glucose) => {
                self.measured(turn, at, *glucose);
                return self.drowsy_and_measured(turn, *glucose);
            }
            Kind::Site => return self.set_changed(turn, at),
            Kind::Scan => self.scan_noted(turn, at),
            Kind::Insulin(_)
            | Kind::LongActing(_)
            | Kind::Exercise
            | Kind::Sensor
            | Kind::A1c(_)
            | Kind::Therapy
            | Kind::Text
            | Kind::Ketones(_)
            | Kind::KetonesHigh
            | Kind::UrineKetones(_) => {}
        }
        self.tell_stacked(turn);
        turn.only_noted();
    }

    /// Is an alert of that side beyond its limit, or likely to be soon, or was the value of that time?
    fn is_out(&self, now: Timestamp, side: Side, at: Timestamp) -> bool {
        let levels = &self.policy.levels;
        let limit = match side {
            Side::Low => levels.low.limit,
            Side::High => levels.high.limit,
        };
        let beyond = |value: Glucose| side.is_beyond(value, limit);
        if self.began_after(now, side, at).is_some() {
            return false;
        }
        if self.rung_forecasts().any(|alert| alert.condition.side() == Some(side)) {
            return true;
        }
        let caution = self.state.register.of(Condition::Caution).filter(|_| side == Side::Low);
        let mut open = self.state.register.of_side(side).chain(caution);
        open.any(Alert::is_beyond) || self.value_at(at).is_some_and(beyond)
    }

    /// Somebody has seen what is open: the wearer, or the person of that name, who has it now. A child's answer quietens
    /// nothing.
    pub(in crate::engine) fn seen(
        &mut self,
        turn: &mut Turn,
        which: Option<Id>,
        until: Option<Timestamp>,
        by: Option<&str>,
    ) {
        if by.is_none() && self.policy.profiles.contains(&Profile::Child) {
            return self.child_has_seen(turn);
        }
        self.seen_by(turn, which, until, by, false);
    }

    /// Somebody of that name is with the wearer.
    pub(in crate::engine) fn is_with_them(&mut self, turn: &mut Turn, which: Option<Id>, by: &str) {
        self.seen_by(turn, which, None, Some(by), true);
    }

    fn seen_by(&mut self, turn: &mut Turn, which: Option<Id>, until: Option<Timestamp>, by: Option<&str>, with: bool) {
        let name = by.and_then(|name| self.person_named(name));
        if by.is_some() && name.is_none() {
            let names = self.policy.people.iter().map(|person| person.name.clone()).collect();
            turn.tell(What::Answer, Condition::Diary, Id(0), None, Reason::NoSuchPerson { names }, false);
            return;
        }
        let answer = Answer { at: until.unwrap_or(turn.now), by: name.as_ref() };
        self.high_answered(turn, None, answer.by);
        let (mut ids, new) = self.acknowledge_open(which, until);
        // What is over without an answer has one now.
        self.state.register.returned.retain(|returned| {
            let is_meant =
                which.is_none_or(|wanted| wanted == returned.id) && until.is_none_or(|until| returned.since <= until);
            if is_meant {
                ids.push(returned.id);
            }
            !is_meant
        });
        let of_the_low = |id: &Id| self.state.register.of_side(Side::Low).any(|alert| alert.id == *id);
        let mut new = new;
        if ids.iter().any(of_the_low) {
            // A line from before a ring does not answer it: then nobody has the low.
            let others = new.filter(|(condition, ..)| condition.side() != Some(Side::Low));
            new = self.answer_chain(turn, answer).or(others);
            if let Some(name) = &name {
                self.has_low(turn, name, answer.at, with);
            }
        }
        self.answer_waiting(turn, &ids, which, answer);
        if let Some(about) = new {
            self.tell_wearer_answered(turn, about, answer);
        }
        let reason = match which {
            Some(id) if ids.is_empty() => Reason::NoSuchAlert { id },
            _ => Reason::MarkedSeen { ids: ids.clone() },
        };
        turn.tell(What::Answer, Condition::Diary, ids.first().copied().unwrap_or(Id(0)), None, reason, false);
    }

    /// Every alert that is meant, and had rung by then, is answered. Says which, and the first of which that is news.
    fn acknowledge_open(&mut self, which: Option<Id>, until: Option<Timestamp>) -> (Vec<Id>, Option<About>) {
        let rang: Vec<(Id, Timestamp)> =
            self.state.register.calls.iter().map(|calls| (calls.id, calls.since)).collect();
        let calls_since = |id: Id| rang.iter().find(|(known, _)| *known == id).map(|(_, since)| *since);
        let (mut ids, mut new) = (Vec::new(), None);
        for alert in self.state.register.open_mut() {
            let is_meant = which.is_none_or(|wanted| wanted == alert.id) && may_be_answered(alert);
            if is_meant && until.is_none_or(|until| alert.had_rung(until, calls_since(alert.id))) {
                if alert.acknowledge() {
                    new.get_or_insert(about(alert));
                }
                ids.push(alert.id);
            }
        }
        (ids, new)
    }

    /// The open alerts that can be treated, and of which something holds.
    pub(in crate::engine) fn open_alerts(&self, holds: impl Fn(&Alert) -> bool) -> Vec<Open> {
        let open = |alert: &Alert| Open { id: alert.id, condition: alert.condition, since: alert.since };
        let levels = Condition::LEVELS.into_iter().filter_map(|level| self.state.register.of(level));
        levels.filter(|alert| holds(alert)).chain(self.rung_forecasts()).map(open).collect()
    }

    fn side_of(&self, id: Id) -> Option<Side> {
        let check = self.state.plan.checks().filter(|(check, _)| check.id() == id).find_map(|(check, _)| check.side());
        let alert = self.state.register.get(id).filter(|alert| may_be_treated(alert));
        alert.and_then(|alert| alert.condition.side()).or(check)
    }

    fn only_open_side(&self) -> Result<Side, Reason> {
        let foreseen = |side: Side| self.rung_forecasts().any(|alert| alert.condition.side() == Some(side));
        let low = self.root(Side::Low).is_some() || self.open_caution().is_some() || foreseen(Side::Low);
        let high = self.root(Side::High).is_some() || foreseen(Side::High);
        match (low, high) {
            (true, false) => Ok(Side::Low),
            (false, true) => Ok(Side::High),
            (false, false) | (true, true) => Err(Reason::WhichOne { open: self.open_alerts(|_| true) }),
        }
    }
}

/// What is foreseen can be answered once it has rung.
const fn may_be_answered(alert: &Alert) -> bool {
    match alert.detail {
        Detail::Forecast { .. } => alert.has_rung(),
        Detail::Level(_)
        | Detail::Lost { .. }
        | Detail::TwoSignals { .. }
        | Detail::Channels { .. }
        | Detail::Ketones(_) => true,
    }
}

/// A level can be treated, and what is foreseen once it has rung.
const fn may_be_treated(alert: &Alert) -> bool {
    matches!(alert.detail, Detail::Level(_) | Detail::Forecast { .. }) && may_be_answered(alert)
}

/// What is told of an alert to others; of a sensor or a channel it is part of nothing.
const fn about(alert: &Alert) -> About {
    let part_of = match alert.detail {
        Detail::Level(_) | Detail::Forecast { .. } => alert.part_of,
        Detail::Lost { .. } | Detail::TwoSignals { .. } | Detail::Channels { .. } | Detail::Ketones(_) => None,
    };
    (alert.condition, alert.id, part_of)
}

impl Turn {
    /// What was said was taken in, and nothing follows from it.
    pub(in crate::engine) fn only_noted(&mut self) {
        self.tell(What::Answer, Condition::Diary, Id(0), None, Reason::Noted, false);
    }
}

/// Lines of a diary that were not understood are told once for all that came together: what they were to
/// say does not count until somebody says it.
pub(in crate::engine) fn diary_refused(turn: &mut Turn, words: &str, more: u64) {
    let reason = Reason::DiaryLineRefused { words: words.to_owned(), more };
    turn.tell(What::Told, Condition::Diary, Id(0), None, reason, true);
}

/// What was kept while nobody watched is answered in one message.
pub(in crate::engine) fn kept_answered(turn: &mut Turn, lines: &[String]) {
    let reason = Reason::KeptAnswered { lines: lines.to_vec() };
    turn.tell(What::Told, Condition::Diary, Id(0), None, reason, true);
}
