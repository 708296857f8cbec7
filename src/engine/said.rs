//! What the wearer says: treated, noted, seen. Every word gets an answer, and a treatment that could
//! belong to several alerts, or to none, is asked about, not guessed.

use super::Engine;
use super::effect::{Condition, Id, Side, What};
use super::event::{Event, Which};
use super::level::Active;
use super::people::{About, Answer};
use super::reason::{Began, Open, Reason};
use super::recheck_high::{HighCare, Stage};
use super::recheck_low::LowCare;
use super::turn::Turn;
use crate::domain::diary::{Kind, Note};
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::is_diary_only;

impl Engine {
    pub(super) fn treated(&mut self, turn: &mut Turn, which: Option<Which>, at: Timestamp, look: Option<Span>) {
        match self.side_meant(which) {
            Ok(Side::High) => self.treat_high(turn, at, look),
            Ok(Side::Low) => self.treat_low_or_caution(turn, at),
            Err(reason) => turn.tell(What::Answer, Condition::Diary, Id(0), None, reason, false),
        }
    }

    /// A low is treated, or what is none but asks for caution.
    pub(super) fn treat_low_or_caution(&mut self, turn: &mut Turn, at: Timestamp) {
        if !self.treat_caution(turn, at) {
            self.treat_low(turn, at, Began::Treated);
        }
    }

    /// What a line of a diary file says. It may come late and out of order, and nobody waits for an answer:
    /// what is asked back is told.
    pub(super) fn written(&mut self, turn: &mut Turn, said: &Event, whence: &str) {
        let (at, treats) = match said {
            Event::Treated { which, at, .. } => (*at, self.side_meant(*which).ok()),
            Event::Noted(note) => match note.kind {
                Kind::Insulin(_) => (note.at, Some(Side::High)),
                Kind::Carbohydrate(_) | Kind::Symptoms => (note.at, Some(Side::Low)),
                _ => (note.at, None),
            },
            Event::Seen { until, .. } => (until.unwrap_or(turn.now), None),
            _ => return,
        };
        // What was treated again since is looked at by the later treatment.
        let kind = if let Event::Noted(note) = said { Some(&note.kind) } else { None };
        let is_past = is_diary_only(kind, at, turn.now) || treats.is_some_and(|side| self.treated_since(side, at));
        turn.judged = self.latest(turn.now);
        turn.written = true;
        match said {
            _ if is_past => {
                if let Event::Noted(note) = said {
                    self.remember_note(note);
                }
                turn.only_noted();
            }
            Event::Treated { which, at, look } => self.treated(turn, *which, *at, *look),
            Event::Noted(note) => self.noted(turn, note),
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

    /// Is a later treatment of this side looked at already?
    pub(super) fn treated_since(&self, side: Side, at: Timestamp) -> bool {
        match (side, &self.state.high_care, &self.state.low_care) {
            (Side::High, Some(HighCare { stage: Stage::Looking { treated, .. }, .. }), _)
            | (Side::Low, _, Some(LowCare { treated: Some(treated), .. })) => treated.at > at,
            (_, _, _) => false,
        }
    }

    /// Is a treatment at that time known by now?
    pub(super) fn was_treated_at(&self, at: Timestamp) -> bool {
        let high = self.state.high_care.as_ref().and_then(|care| match care.stage {
            Stage::Looking { treated, .. } => Some(treated.at),
            Stage::Asking { .. } => None,
        });
        let low = self.state.low_care.as_ref().and_then(|care| care.treated).map(|treated| treated.at);
        high == Some(at) || low == Some(at)
    }

    fn side_meant(&self, which: Option<Which>) -> Result<Side, Reason> {
        match which {
            Some(Which::Side(side)) => Ok(side),
            Some(Which::Alert(id)) => self.side_of(id).ok_or(Reason::NoSuchAlert { id }),
            None => self.only_open_side(),
        }
    }

    /// A note for the diary; one that treats what is out of range begins its looks.
    pub(super) fn noted(&mut self, turn: &mut Turn, note: &Note) {
        let at = note.at;
        self.remember_note(note);
        turn.insulin = self.state.doses.last_by(turn.now);
        match &note.kind {
            Kind::SensorStart(of) => return self.sensor_started(turn, at, of.as_deref()),
            Kind::SensorStop(of) => return self.sensor_stopped(turn, at, of.as_deref()),
            Kind::Insulin(_) if self.is_out(Side::High, at) => {
                self.correction_noted(at);
                self.treat_high(turn, at, None);
                return self.tell_stacked(turn);
            }
            Kind::Carbohydrate(_) if self.is_out(Side::Low, at) => return self.treat_low_or_caution(turn, at),
            // Symptoms count whatever the sensor says: they start the looks of a low.
            Kind::Symptoms => return self.treat_low(turn, at, Began::Symptoms),
            Kind::Meter(glucose) => return self.measured(turn, at, *glucose),
            Kind::Scan => self.scan_noted(turn, at),
            Kind::Ketones(_) => self.ketones_noted(at),
            Kind::Insulin(_)
            | Kind::LongActing(_)
            | Kind::Carbohydrate(_)
            | Kind::Exercise
            | Kind::Site
            | Kind::Sensor
            | Kind::A1c(_)
            | Kind::Therapy
            | Kind::Text => {}
        }
        self.tell_stacked(turn);
        turn.only_noted();
    }

    /// Is an alert of that side beyond its limit, or likely to be soon, or was the value of that time?
    fn is_out(&self, side: Side, at: Timestamp) -> bool {
        let levels = &self.policy.levels;
        let limit = match side {
            Side::Low => levels.low.limit,
            Side::High => levels.high.limit,
        };
        let beyond = |value: Glucose| side.is_beyond(value, limit);
        if self.rung_forecasts().any(|(condition, _)| condition.side() == Some(side)) {
            return true;
        }
        let caution = self.state.modes.caution.active().filter(|_| side == Side::Low);
        let mut open = self.side(side).active().chain(caution);
        open.any(Active::is_beyond) || self.value_at(at).is_some_and(beyond)
    }

    /// Somebody has seen what is open: the wearer, or the person of that name, who has it now.
    pub(super) fn seen(&mut self, turn: &mut Turn, which: Option<Id>, until: Option<Timestamp>, by: Option<&str>) {
        let name = by.and_then(|name| self.person_named(name));
        if by.is_some() && name.is_none() {
            let names = self.policy.people.iter().map(|person| person.name.clone()).collect();
            turn.tell(What::Answer, Condition::Diary, Id(0), None, Reason::NoSuchPerson { names }, false);
            return;
        }
        let answer = Answer { at: until.unwrap_or(turn.now), by: name.as_ref() };
        let mut ids = Vec::new();
        let mut new: Option<About> = None;
        let mut mark = |about @ (_, id, _): About, seen: &mut bool| {
            if which.is_none_or(|wanted| wanted == id) {
                if !std::mem::replace(seen, true) {
                    new.get_or_insert(about);
                }
                ids.push(id);
            }
        };
        for (side, conditions) in [
            (&mut self.state.low, [Condition::VeryLow, Condition::Low]),
            (&mut self.state.high, [Condition::VeryHigh, Condition::High]),
        ] {
            for (level, condition) in [&mut side.worse, &mut side.milder].into_iter().zip(conditions) {
                if let Some(active) = level.active_mut()
                    && until.is_none_or(|until| active.had_rung(until))
                {
                    mark((condition, active.id, active.part_of), &mut active.seen);
                }
            }
        }
        if let Some(active) = self.state.modes.caution.active_mut()
            && until.is_none_or(|until| active.had_rung(until))
        {
            mark((Condition::Caution, active.id, active.part_of), &mut active.seen);
        }
        for (condition, forecast, rang) in self.state.foreseen.rung_mut() {
            if until.is_none_or(|until| rang.is_some_and(|rang| rang <= until)) {
                mark((condition, forecast.id, forecast.part_of), &mut forecast.seen);
            }
        }
        for source in &mut self.state.sources {
            if let Some(lost) = source.lost_mut()
                && until.is_none_or(|until| lost.told_at.unwrap_or(lost.since) <= until)
            {
                mark((lost.condition, lost.id, None), &mut lost.seen);
            }
        }
        if let Some(two) = &mut self.state.two_signals
            && until.is_none_or(|until| two.told_at.unwrap_or(two.since) <= until)
        {
            mark((Condition::TwoSignals, two.id, None), &mut two.seen);
        }
        let rang = |id: Id| self.state.waiting.iter().find(|waiting| waiting.id == id).map(|waiting| waiting.since);
        if let Some(trouble) = &mut self.state.channels
            && until.is_none_or(|until| rang(trouble.id).is_some_and(|rang| rang <= until))
        {
            mark((Condition::ChannelFailed, trouble.id, None), &mut trouble.seen);
        }
        // What is over without an answer has one now.
        self.state.returned.retain(|returned| {
            let is_meant =
                which.is_none_or(|wanted| wanted == returned.id) && until.is_none_or(|until| returned.since <= until);
            if is_meant {
                ids.push(returned.id);
            }
            !is_meant
        });
        let of_the_low = |id: &Id| self.state.low.active().any(|active| active.id == *id);
        if ids.iter().any(of_the_low) {
            // A line from before a ring does not answer it: then nobody has the low.
            let others = new.filter(|(condition, ..)| condition.side() != Some(Side::Low));
            new = self.answer_chain(turn, answer).or(others);
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

    /// The open alerts that can be treated, and of which something holds.
    pub(super) fn open_alerts(&self, holds: impl Fn(&Active) -> bool) -> Vec<Open> {
        let open = |condition: Condition| {
            let active = self.state.active(condition).filter(|active| holds(active));
            active.map(|active| Open { id: active.id, condition, since: active.since })
        };
        let levels = Condition::LEVELS.into_iter().filter_map(open);
        let foreseen = self.rung_forecasts();
        levels
            .chain(foreseen.map(|(condition, forecast)| Open { id: forecast.id, condition, since: forecast.since }))
            .collect()
    }

    fn side_of(&self, id: Id) -> Option<Side> {
        let low_care = self.state.low_care.as_ref().map(|care| care.id);
        let high_care = self.state.high_care.as_ref().map(|care| care.id);
        let caution = self.state.modes.caution.active().map(|active| active.id);
        if let Some((condition, _)) = self.rung_forecasts().find(|(_, forecast)| forecast.id == id) {
            return condition.side();
        }
        if [low_care, caution].contains(&Some(id)) || self.state.low.active().any(|active| active.id == id) {
            Some(Side::Low)
        } else if high_care == Some(id) || self.state.high.active().any(|active| active.id == id) {
            Some(Side::High)
        } else {
            None
        }
    }

    fn only_open_side(&self) -> Result<Side, Reason> {
        let foreseen = |side: Side| self.rung_forecasts().any(|(condition, _)| condition.side() == Some(side));
        let low = self.state.low.root().is_some() || self.open_caution().is_some() || foreseen(Side::Low);
        let high = self.state.high.root().is_some() || foreseen(Side::High);
        match (low, high) {
            (true, false) => Ok(Side::Low),
            (false, true) => Ok(Side::High),
            (false, false) | (true, true) => Err(Reason::WhichOne { open: self.open_alerts(|_| true) }),
        }
    }
}

impl Turn {
    /// What was said was taken in, and nothing follows from it.
    pub(super) fn only_noted(&mut self) {
        self.tell(What::Answer, Condition::Diary, Id(0), None, Reason::Noted, false);
    }
}

/// Lines of a diary that were not understood are told once for all that came together: what they were to
/// say does not count until somebody says it.
pub(super) fn diary_refused(turn: &mut Turn, words: &str, more: u64) {
    let reason = Reason::DiaryLineRefused { words: words.to_owned(), more };
    turn.tell(What::Told, Condition::Diary, Id(0), None, reason, true);
}
