//! Floods: more than three distinct alerts that ring within ten minutes become one message, which names the first of
//! them. Process-industry practice speaks of a flood from more than ten alarms in ten minutes for one operator
//! (ANSI/ISA-18.2 and EEMUA 191, seen second-hand); for one person, who may sleep, fewer are too many: ours.
//!
//! What is of high priority, and whatever is about a low, rings by itself. The wearer's own reminders and modes, looks
//! they asked for, and messages that tell several things already are no part of a flood. Nothing that was withheld is
//! lost: what still stands when the flood is over rings then, as one, the worst first.

use super::hours::{Held, Kept};
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Decision, Id, Priority, Side, What};
use crate::engine::plan::Job;
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;
use serde::{Deserialize, Serialize};

/// More distinct alerts than this ...
pub const ALERTS_MAX: usize = 3;

/// ... within this are a flood. It is told of no more often than this, and over when nothing new came for as long.
pub const WITHIN_MIN: i64 = 10;

/// Most alerts that are told apart in one flood.
const RUNG_MAX: usize = 50;

/// What rang lately, and the flood that goes on, if one does.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Flood {
    /// Each alert once, in the order they first rang.
    rung: Vec<Rung>,
    open: Option<Open>,
}

/// One alert that rang.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Rung {
    first: Held,
    last: Timestamp,
}

/// A flood that goes on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Open {
    /// What it began with.
    first: Held,
    /// Distinct alerts so far.
    count: u32,
    /// When the last of them first rang.
    newest: Timestamp,
    /// When the wearer was last told.
    told: Option<Timestamp>,
    /// Something was withheld since.
    news: bool,
    withheld: Kept,
}

impl Flood {
    /// The clock was set: every span keeps its length.
    pub(in crate::engine) fn shift(&mut self, by: Span) {
        for rung in &mut self.rung {
            rung.first.at = rung.first.at + by;
            rung.last = rung.last + by;
        }
        if let Some(open) = &mut self.open {
            open.first.at = open.first.at + by;
            open.newest = open.newest + by;
            open.told = open.told.map(|told| told + by);
        }
    }

    /// One more ring: of an alert that is known by now, or of a new one, which may begin a flood.
    fn note(&mut self, decision: &Decision, now: Timestamp) {
        if self.open.is_none() {
            self.rung.retain(|rung| now - rung.last <= Span::minutes(WITHIN_MIN));
        }
        if let Some(known) = self.rung.iter_mut().find(|rung| is_same(&rung.first.decision, decision)) {
            known.last = now;
            return;
        }
        let ring = Held { at: now, decision: decision.clone() };
        self.rung.push(Rung { first: ring, last: now });
        if self.rung.len() > RUNG_MAX {
            self.rung.remove(0);
        }
        if let Some(open) = &mut self.open {
            (open.count, open.newest) = (open.count.saturating_add(1), now);
        } else if self.rung.len() > ALERTS_MAX
            && let Some(first) = self.rung.iter().map(|rung| &rung.first).min_by_key(|first| first.at)
        {
            let (first, count) = (first.clone(), u32::try_from(self.rung.len()).unwrap_or(u32::MAX));
            let withheld = Kept::default();
            self.open = Some(Open { first, count, newest: now, told: None, news: false, withheld });
        }
    }

    /// When it is to be looked at again, if a flood goes on.
    fn next(&self) -> Option<Timestamp> {
        let within = Span::minutes(WITHIN_MIN);
        let open = self.open.as_ref()?;
        let again = open.told.filter(|_| open.news).map(|told| told + within);
        Some(again.map_or(open.newest + within, |again| again.min(open.newest + within)))
    }
}

/// Two rings of one alert: a number belongs to one alert, whatever is said of it.
fn is_same(a: &Decision, b: &Decision) -> bool {
    a.id == b.id && (a.id != Id(0) || a.condition == b.condition)
}

/// May this ring be one of a flood?
const fn counts(decision: &Decision) -> bool {
    let by_itself = !decision.condition.row().may_flood
        || matches!(decision.reason, Reason::NotComingDown { asked_for: true, .. } | Reason::Answered { .. });
    decision.rings && decision.to.is_wearer() && !by_itself
}

fn may_be_withheld(decision: &Decision) -> bool {
    decision.priority < Priority::High && decision.condition.side() != Some(Side::Low)
}

impl Engine {
    /// After a turn's decisions: in a flood they do not ring one by one.
    pub(in crate::engine) fn hold_flood(&mut self, turn: &mut Turn) {
        let mut withheld = Vec::new();
        let flood = &mut self.state.flood;
        for decision in turn.out.iter_mut().filter(|decision| counts(decision)) {
            flood.note(decision, turn.now);
            let Some(open) = flood.open.as_mut().filter(|_| may_be_withheld(decision)) else { continue };
            open.withheld.add(Held { at: turn.now, decision: decision.clone() });
            open.news = true;
            decision.rings = false;
            let reason = Reason::Flood { since: open.first.at };
            withheld.push(Decision { what: What::Withheld, reason, ..decision.clone() });
        }
        if flood.open.is_some() {
            turn.out.extend(withheld);
            self.tell_flood(turn);
            self.plan_flood(turn.now);
        }
    }

    /// One message for what was withheld and still stands, if there is something new to tell and it is time.
    fn tell_flood(&mut self, turn: &mut Turn) {
        let Some(open) = &self.state.flood.open else { return };
        let is_time = open.told.is_none_or(|told| turn.now - told >= Span::minutes(WITHIN_MIN));
        if !open.news || !is_time {
            return;
        }
        let waiting = &open.withheld;
        let mut held: Vec<Held> = waiting.rings.iter().filter(|held| self.may_ring(turn, held)).cloned().collect();
        for held in &mut held {
            self.as_it_is_now(turn.now, held);
        }
        let more = waiting.more();
        if !held.is_empty() || more > 0 {
            let reason = Reason::FloodTold { count: open.count, first: Box::new(open.first.clone()), held, more };
            turn.judged = None;
            turn.tell(What::Told, Condition::Flood, Id(0), None, reason, true);
        }
        if let Some(open) = &mut self.state.flood.open {
            (open.told, open.news) = (Some(turn.now), false);
        }
    }

    /// It may be over, or may be told again.
    pub(in crate::engine) fn look_at_flood(&mut self, turn: &mut Turn) {
        let over = |open: &mut Open| turn.now - open.newest >= Span::minutes(WITHIN_MIN);
        let Some(Open { withheld, .. }) = self.state.flood.open.take_if(over) else {
            self.tell_flood(turn);
            self.plan_flood(turn.now);
            return;
        };
        self.state.flood = Flood::default();
        let more = withheld.more();
        let stand = withheld.rings.into_iter().filter(|held| self.still_stands(&held.decision));
        let (mut held, wait): (Vec<Held>, Vec<Held>) = stand.partition(|held| self.may_ring(turn, held));
        for Held { decision, .. } in wait {
            let level_waits = decision.condition.side().is_some()
                && !turn.quiet.inside
                && self.wait_for_silence(decision.condition, turn.now);
            if !level_waits {
                self.keep_for_later(turn, decision);
            }
        }
        self.plan_digest(turn);
        for held in &mut held {
            self.as_it_is_now(turn.now, held);
        }
        held.sort_by_key(|held| std::cmp::Reverse(held.decision.priority));
        if !held.is_empty() || more > 0 {
            turn.judged = None;
            turn.tell(What::Told, Condition::Flood, Id(0), None, Reason::FloodOver { held, more }, true);
        }
    }

    /// A level that is told late is told with the value there is then.
    pub(in crate::engine) fn as_it_is_now(&self, now: Timestamp, held: &mut Held) {
        let condition = held.decision.condition;
        let is_open = Condition::LEVELS.contains(&condition) && self.state.register.of(condition).is_some();
        let side = condition.side().filter(|_| is_open);
        let judged = side.and_then(|side| self.of_two_signals(side, now)).or_else(|| self.latest(now));
        if let Some(judged) = judged.filter(|_| side.is_some()) {
            let (glucose, reading_at) = (Some(judged.glucose), Some(judged.at));
            let decision = held.decision.clone();
            let decision = Decision { what: What::Repeated, glucose, reading_at, rate: judged.rate, ..decision };
            *held = Held { at: now, decision };
        }
    }

    /// What fell due while nobody watched is due already, and waits a little.
    fn plan_flood(&mut self, now: Timestamp) {
        match self.state.flood.next() {
            Some(next) if next > now => self.state.plan.set(Job::Flood, next),
            Some(_) => {}
            None => self.state.plan.stop(Job::Flood),
        }
    }

    /// Does it still stand, and do neither quiet hours nor the wearer want it silent now?
    fn may_ring(&self, turn: &Turn, held: &Held) -> bool {
        let decision = &held.decision;
        let waits = turn.quiet.inside && self.can_wait(turn, decision);
        !waits && self.silent_until(decision.condition, turn.now).is_none() && self.still_stands(decision)
    }
}
