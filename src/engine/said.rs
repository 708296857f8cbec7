//! What the wearer says: treated, noted, seen. Every word gets an answer, and a treatment that could
//! belong to several alerts, or to none, is asked about, not guessed.

use super::Engine;
use super::effect::{Condition, Id, Side, What};
use super::event::Which;
use super::level::Active;
use super::reason::{Open, Reason};
use super::turn::Turn;
use crate::domain::diary::{Kind, Note};
use crate::domain::time::{Span, Timestamp};

impl Engine {
    pub(super) fn treated(&mut self, turn: &mut Turn, which: Option<Which>, at: Timestamp, look: Option<Span>) {
        let side = match which {
            Some(Which::Side(side)) => Ok(side),
            Some(Which::Alert(id)) => self.side_of(id).ok_or(Reason::NoSuchAlert { id }),
            None => self.only_open_side(),
        };
        match side {
            Ok(Side::High) => self.treat_high(turn, at, look),
            Ok(Side::Low) => self.treat_low(turn, at),
            Err(reason) => turn.tell(What::Answer, Condition::Diary, Id(0), None, reason, false),
        }
    }

    pub(super) fn noted(&mut self, turn: &mut Turn, note: &Note) {
        let levels = &self.policy.levels;
        let (low, high) = (levels.low.limit.hundredths(), levels.high.limit.hundredths());
        if let Kind::Meter(glucose) = note.kind {
            if self.state.meter.is_none_or(|(before, _)| before <= note.at) {
                self.state.meter = Some((note.at, glucose));
            }
            turn.judged = self.latest(turn.now);
            self.complete_high_look(turn);
            self.complete_low_look(turn);
        }
        let value = self.value_at(note.at).map(super::super::domain::glucose::Glucose::hundredths);
        let is_high = self.side(Side::High).active().any(Active::is_beyond) || value.is_some_and(|value| value > high);
        let is_low = self.side(Side::Low).active().any(Active::is_beyond) || value.is_some_and(|value| value < low);
        match note.kind {
            Kind::Insulin(_) if is_high => self.treat_high(turn, note.at, None),
            Kind::Carbohydrate(_) if is_low => self.treat_low(turn, note.at),
            // Symptoms count whatever the sensor says: they start the looks of a low.
            Kind::Symptoms => self.treat_low(turn, note.at),
            Kind::Insulin(_)
            | Kind::Carbohydrate(_)
            | Kind::Meter(_)
            | Kind::Ketones(_)
            | Kind::Exercise
            | Kind::Site
            | Kind::Sensor
            | Kind::Scan
            | Kind::Text => turn.tell(What::Answer, Condition::Diary, Id(0), None, Reason::Noted, false),
        }
    }

    pub(super) fn seen(&mut self, turn: &mut Turn, which: Option<Id>) {
        let mut ids = Vec::new();
        let mut mark = |id: Id, seen: &mut bool| {
            if which.is_none_or(|wanted| wanted == id) {
                *seen = true;
                ids.push(id);
            }
        };
        for side in [&mut self.state.low, &mut self.state.high] {
            for level in [&mut side.worse, &mut side.milder] {
                if let Some(active) = level.active_mut() {
                    mark(active.id, &mut active.seen);
                }
            }
        }
        for source in &mut self.state.sources {
            if let Some(lost) = source.lost_mut() {
                mark(lost.id, &mut lost.seen);
            }
        }
        let reason = match which {
            Some(id) if ids.is_empty() => Reason::NoSuchAlert { id },
            _ => Reason::MarkedSeen { ids: ids.clone() },
        };
        turn.tell(What::Answer, Condition::Diary, ids.first().copied().unwrap_or(Id(0)), None, reason, false);
    }

    /// The open alerts that can be treated.
    fn open_to_treat(&self) -> Vec<Open> {
        let mut open = Vec::new();
        for (side, worse, milder) in [
            (&self.state.low, Condition::VeryLow, Condition::Low),
            (&self.state.high, Condition::VeryHigh, Condition::High),
        ] {
            for (level, condition) in [(&side.worse, worse), (&side.milder, milder)] {
                if let Some(active) = level.active() {
                    open.push(Open { id: active.id, condition, since: active.since });
                }
            }
        }
        open
    }

    fn side_of(&self, id: Id) -> Option<Side> {
        let low_care = self.state.low_care.as_ref().map(|care| care.id);
        let high_care = self.state.high_care.as_ref().map(|care| care.id);
        if low_care == Some(id) || self.state.low.active().any(|active| active.id == id) {
            Some(Side::Low)
        } else if high_care == Some(id) || self.state.high.active().any(|active| active.id == id) {
            Some(Side::High)
        } else {
            None
        }
    }

    fn only_open_side(&self) -> Result<Side, Reason> {
        match (self.state.low.root().is_some(), self.state.high.root().is_some()) {
            (true, false) => Ok(Side::Low),
            (false, true) => Ok(Side::High),
            (false, false) | (true, true) => Err(Reason::WhichOne { open: self.open_to_treat() }),
        }
    }
}
