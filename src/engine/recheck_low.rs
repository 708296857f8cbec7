//! Looking again after a low: every quarter of an hour until the value is back, by night too. What nobody
//! answered is not here: see `escalation`.

use super::Engine;
use super::alert::moment::MOMENT;
use super::alert::people::Answer;
use super::check::Check;
use super::effect::{Condition, Id, Side, What};
use super::nadir::Nadir;
use super::plan::Job;
use super::reason::{Began, Reason, Treatment};
use super::trend::Rate;
use super::turn::{Judged, Turn};
use crate::domain::glucose::Glucose;
use crate::domain::mode::Mode;
use crate::domain::time::Timestamp;
use serde::{Deserialize, Serialize};

/// What only a meter saw is asked about so often in a row.
const UNSEEN_IN_A_ROW: u32 = 3;

/// A low that rises from this value on, in hundredths, is spared one ring: measured on open traces, it is back by the
/// next in most (docs/alerts-measured.md).
const RISES_FROM: i32 = 6_000;

/// From so many treatments on it is more than a low that takes its time: help is named, and somebody is called. Ours.
pub const TREATED_OFTEN: u32 = 3;

/// The re-check of one low.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LowCheck {
    /// Its number.
    pub id: Id,
    /// The alert it belongs to; none when symptoms were noted without one.
    pub part_of: Option<Id>,
    /// When the low began, or the re-check did.
    pub since: Timestamp,
    /// What is looked back at; none for a low that nobody marked.
    pub treated: Option<Treatment>,
    /// Looks in a row without a fresh reading; the next reading completes the last of them.
    pub unseen: u32,
    /// Of a treated caution: the limit it is to be back at.
    #[serde(default)]
    pub cautious: Option<Glucose>,
    /// A meter said so, and no sensor did: looks in a row without a further check count as unseen too.
    #[serde(default)]
    pub by_meter: bool,
    /// Its lowest value so far, from before the treatment on.
    #[serde(default)]
    pub lowest: Option<Nadir>,
    /// It was spared a ring because it rose.
    #[serde(default)]
    pub spared: bool,
}

impl LowCheck {
    /// Did only a meter see it, and has nobody been asked in vain so often that a sensor counts?
    pub(super) const fn is_the_meters(&self) -> bool {
        self.by_meter && self.unseen < UNSEEN_IN_A_ROW
    }

    /// Is it the one look at a treated caution?
    pub(super) const fn is_cautious(&self) -> bool {
        self.cautious.is_some()
    }
}

impl Engine {
    /// Starts, or re-plans, the looks of a treated low. Answers with what was understood.
    pub(super) fn treat_low(&mut self, turn: &mut Turn, at: Timestamp, told: Began) {
        let alert_since = self.root(Side::Low).map(|root| root.since);
        let treated = self.treatment(at, alert_since, told);
        // What is told late, or is no treatment, does not take the check of a treatment away.
        let known = self.state.plan.low().filter(|check| !check.is_cautious()).and_then(|check| check.treated);
        let stays = known.filter(|known| known.told == Began::Treated && (known.at > at || told != Began::Treated));
        let planned = stays.and_then(|_| self.state.plan.due(Job::LowCheck));
        let treated = stays.unwrap_or(treated);
        // What was treated before it came is looked at in the thread of what foresaw it.
        let part_of = self.foreseen_thread(Side::Low);
        self.forecasts_are_treated(Side::Low);
        let (id, by_meter) = match self.state.plan.low() {
            Some(check) => (check.id, check.by_meter),
            None => (self.take_id(), false),
        };
        let since = treated.alert_since.unwrap_or(at);
        let lowest = self.nadir_of_low(at);
        let treatment = Some(treated);
        let check = LowCheck {
            id,
            part_of,
            since,
            treated: treatment,
            unseen: 0,
            cautious: None,
            by_meter,
            lowest,
            spared: false,
        };
        if told == Began::Treated {
            self.state.register.story.treated(at);
        }
        self.state.plan.look_at(Check::Low(check));
        // Whoever treats a low has answered the caution that came before it.
        if let Some(caution) = self.state.register.of_mut(Condition::Caution).filter(|alert| alert.has_rung()) {
            caution.acknowledge();
        }
        let due = planned.unwrap_or(treated.at + self.policy.recheck.low_look).max(turn.now);
        self.state.plan.set(Job::LowCheck, due);
        let reason = Reason::LooksPlanned { side: Side::Low, treated, looks: vec![due], night_rule: false };
        turn.tell(What::Answer, Condition::RecheckLow, id, part_of, reason, false);
        self.answer_chain(turn, Answer { at, by: None });
        if told == Began::Treated {
            self.treatment_defers_calls(at);
        }
    }

    /// The timer of the re-check is due.
    pub(super) fn look_at_low(&mut self, turn: &mut Turn) {
        turn.judged = self.lowest_latest(turn.now);
        match self.state.plan.low().cloned() {
            Some(check @ LowCheck { treated: Some(treated), .. }) => self.look_at_treated_low(turn, &check, treated),
            // An older version asked about lows that nobody marked here.
            Some(LowCheck { treated: None, .. }) | None => drop(self.state.plan.take_low()),
        }
    }

    /// A reading came in: a look that was waiting for one is completed.
    pub(super) fn complete_low_look(&mut self, turn: &mut Turn) {
        let waits = |check: &LowCheck| check.treated.is_some() && check.unseen > 0 && !check.by_meter;
        if self.state.plan.low().is_some_and(waits) {
            self.look_at_low(turn);
        }
    }

    fn look_at_treated_low(&mut self, turn: &mut Turn, care: &LowCheck, treated: Treatment) {
        let (low, high) = (self.policy.levels.low.limit.hundredths(), self.policy.levels.high.limit.hundredths());
        let (look, very_low) = (self.policy.recheck.low_look, self.policy.levels.very_low.limit);
        let kept = treated;
        let treated = self.by_one_signal(treated, turn.judged);
        if self.look_at_caution(turn, care, treated) {
            return;
        }
        if self.look_at_denied_low(turn, care, kept) {
            return;
        }
        let by_meter = self.waits_for_meter(turn, care);
        let treatments = self.times_treated();
        if turn.judged.is_none()
            && let Some(next) = self.waits_without_signal(turn)
        {
            // The lost signal rings meanwhile: this look is one without a word, and the next reading completes it.
            let last = self.state.window.newest().map(|last| last.measured);
            let reason = Reason::NoFreshReading { treated, last, next };
            turn.tell(What::Look, Condition::RecheckLow, care.id, care.part_of, reason, false);
            self.state.plan.set(Job::LowCheck, next);
            self.state.plan.look_at(Check::Low(LowCheck { unseen: care.unseen.max(1), ..care.clone() }));
            return;
        }
        let (reason, unseen) = match (turn.judged, by_meter) {
            (None, _) => {
                let last = self.state.window.newest().map(|last| last.measured);
                let next = self.again_without_signal(turn.now);
                (Reason::NoFreshReading { treated, last, next }, care.unseen + 1)
            }
            // What a finger-prick has just said no sensor takes back: its own check does.
            (Some(_), Some((measured, _))) if turn.now + MOMENT < measured + look => {
                let treatments = self.times_treated();
                let reason = Reason::StillLow { treated, lowest: None, treatments, next: measured + look };
                turn.tell(What::Look, Condition::RecheckLow, care.id, care.part_of, reason, false);
                self.state.plan.set(Job::LowCheck, measured + look);
                self.state.plan.look_at(Check::Low(care.clone()));
                return;
            }
            (Some(_), Some((measured, meter))) => {
                (Reason::MeterAgain { measured, meter, next: turn.now + look }, care.unseen + 1)
            }
            // A value that is back but falling is looked at once more.
            (Some(judged), None)
                if judged.glucose.hundredths() < low
                    || !care.is_cautious() && falls(judged) && !is_well_back(judged, low) =>
            {
                let lowest = self.lowest_told(turn, care, judged);
                (Reason::StillLow { treated, lowest, treatments, next: turn.now + look }, 0)
            }
            (Some(judged), None) => {
                let reason = match (self.value_of_the_low(turn), self.state.register.low_seen) {
                    (None, Some((_, at, last))) => Reason::NoLongerWatched { last, at },
                    (own, _) => {
                        turn.judged = own.or(turn.judged);
                        Reason::Back { treated: self.by_one_signal(kept, turn.judged), found: None }
                    }
                };
                turn.tell(What::Look, Condition::RecheckLow, care.id, care.part_of, reason.clone(), false);
                // A low that was no very low is back without a ring.
                let was_very_low = care.lowest.is_some_and(|lowest| Side::Low.is_beyond(lowest.value, very_low));
                let told = was_very_low || turn.mode == Some(Mode::Driving);
                let rings = told && !turn.night.inside && judged.glucose.hundredths() <= high;
                turn.tell(What::Ended, Condition::RecheckLow, care.id, care.part_of, reason, rings);
                self.state.plan.take_low();
                self.expect_anew();
                return;
            }
        };
        let next = match &reason {
            Reason::NoFreshReading { next, .. } => *next,
            _ => turn.now + look,
        };
        self.state.plan.set(Job::LowCheck, next);
        // One that has become a low is looked at as a low.
        let cautious = care.cautious.filter(|_| unseen > 0);
        let is_spared = !care.spared && matches!(reason, Reason::StillLow { .. }) && self.rises_low(turn.judged);
        let spared = care.spared || is_spared;
        self.state.plan.look_at(Check::Low(LowCheck { unseen, cautious, spared, ..care.clone() }));
        turn.tell(What::Look, Condition::RecheckLow, care.id, care.part_of, reason.clone(), false);
        if is_spared {
            return;
        }
        let is_low = turn.judged.is_some_and(|judged| judged.glucose.hundredths() < low);
        let often = is_low && matches!(reason, Reason::StillLow { .. }) && treatments >= TREATED_OFTEN;
        turn.tell(What::Prompt, Condition::RecheckLow, care.id, care.part_of, reason, true);
        if often {
            self.call_for_treatments(turn, treatments, treated.at);
        }
    }

    /// Is it low, and does it rise from where one ring may be spared?
    pub(super) fn rises_low(&self, judged: Option<Judged>) -> bool {
        judged.is_some_and(|judged| {
            let value = judged.glucose.hundredths();
            let rises = judged.rate.is_some_and(|rate| rate.direction().rises());
            rises && (RISES_FROM..self.policy.levels.low.limit.hundredths()).contains(&value)
        })
    }

    /// A finger-prick holds what the sensor says: it is looked at without a word, and again when another finger-prick has
    /// had its time. True when that is so.
    fn look_at_denied_low(&mut self, turn: &mut Turn, care: &LowCheck, treated: Treatment) -> bool {
        let low = self.policy.levels.low.limit;
        let sensor = self.lowest_of_sensors(turn.now).filter(|judged| Side::Low.is_beyond(judged.glucose, low));
        let Some(judged) = sensor else { return false };
        let Some(until) = self.low_held(turn.now, Some(judged.glucose)) else { return false };
        turn.judged = Some(judged);
        let next = until + self.policy.recheck.low_look;
        let treated = self.by_one_signal(treated, turn.judged);
        let treatments = self.times_treated();
        let reason = Reason::StillLow { treated, lowest: self.lowest_told(turn, care, judged), treatments, next };
        turn.tell(What::Look, Condition::RecheckLow, care.id, care.part_of, reason, false);
        self.state.plan.set(Job::LowCheck, next);
        self.state.plan.look_at(Check::Low(care.clone()));
        true
    }

    /// The wearer was told that a low is back: if it is not, the next low reading rings, however soon.
    fn expect_anew(&mut self) {
        let (worse, milder) = Side::Low.levels();
        for condition in [worse, milder] {
            if let Some(facts) = self.state.register.level_mut(condition).filter(|facts| !facts.is_beyond()) {
                facts.expect_anew();
            }
        }
    }
}

fn falls(judged: Judged) -> bool {
    judged.rate.map(Rate::direction).is_some_and(super::trend::Direction::falls)
}

/// So far back that a slow fall is no reason to go on: twenty above the limit.
fn is_well_back(judged: Judged, limit: i32) -> bool {
    judged.glucose.hundredths() >= limit + 2_000
}
