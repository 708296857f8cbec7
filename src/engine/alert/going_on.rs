//! Calls to others go on while a low is very low, whatever was answered, and for two hours after its signal was lost;
//! whoever said that they have it is asked first, and a treatment is to have its check before. Whom the first calls
//! reach, and when, is for the steps of [`super::escalation`]; what is said is for others.

use super::calls::{Answered, Calls, LowCalls, StillCalled};
use super::has_it::HasIt;
use super::people::{is_called, was_informed, was_told};
use super::steps::{Step, Ways};
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Decision, Side};
use crate::engine::plan::Job;
use crate::engine::reason::{Began, Reason};
use crate::engine::turn::{Judged, Turn};

/// While it stays very low others are called at least this often, whatever was answered: ours.
const CALLS_GO_ON: Span = Span::minutes(20);

/// A treatment defers a call once, and by no more than this: ours.
const DEFERS: Span = Span::minutes(20);

/// Treatments from longer ago than this defer nothing any more.
const LAST_TREATMENTS: Span = Span::hours(1);

/// After the signal of a very low that nobody treated was lost, calls go on for so long: ours.
const LOST_FOR: Span = Span::hours(2);

/// Then they come no sooner than this one after another: ours.
const SPACED: Span = Span::hours(1);

/// Somebody who could not be called in this minute is called in the next.
const NEXT_MINUTE: Span = Span::minutes(1);

/// What is known of a low: the newest value, or the last there was before the signal was lost.
#[derive(Debug, Clone, Copy)]
struct Known {
    judged: Judged,
    is_fresh: bool,
}

impl Engine {
    /// At the end of a turn: whoever has it is asked, and calls that are due go on.
    pub(in crate::engine) fn keep_calls(&mut self, turn: &mut Turn) {
        if self.state.register.calls.is_empty() {
            return;
        }
        self.ask_who_has_it(turn);
        self.call_on(turn);
        self.call_with_rings_of_lost_signal(turn);
        let next = self.next_of_calls(turn.now, |engine, low, known| {
            let (asks, goes_on) = (engine.asks_at(low, known, turn.now), engine.goes_on_at(low, known, turn.now));
            asks.into_iter().chain(goes_on).min()
        });
        match next {
            Some((at, _)) => self.state.plan.set(Job::CallsLast, at.max(turn.now + NEXT_MINUTE)),
            None => self.state.plan.stop(Job::CallsLast),
        }
    }

    /// When that is of the calls for the low there is, and what is known of it.
    fn next_of_calls(
        &self,
        now: Timestamp,
        next: impl Fn(&Self, &LowCalls, Known) -> Option<Timestamp>,
    ) -> Option<(Timestamp, Known)> {
        let (_, low) = self.state.register.calls_of_low()?;
        let known = self.known_of_low(now)?;
        Some((next(self, low, known)?, known))
    }

    /// Whoever said that they have it is asked how it goes, before anybody else is called.
    pub(in crate::engine) fn ask_who_has_it(&mut self, turn: &mut Turn) {
        let asks = self.next_of_calls(turn.now, |engine, low, known| engine.asks_at(low, known, turn.now));
        let Some((_, known)) = asks.filter(|(at, _)| *at <= turn.now) else { return };
        let Some(mut calls) = self.state.register.calls_of_low().map(|(calls, _)| calls.clone()) else { return };
        let about = self.speaking(calls.id);
        let Some(has_it) = calls.of_low().and_then(|low| low.has_it) else { return };
        if was_told(turn, has_it.person, about)
            || was_informed(&calls.informed, has_it.person, turn.now)
            || !is_called(&mut calls.called, has_it.person, turn.now)
        {
            return;
        }
        let asked = has_it.asked(turn.now);
        if let Some(low) = calls.of_low_mut() {
            low.has_it = Some(asked);
            low.called(turn.now);
        }
        let by = self.policy.people.get(usize::from(has_it.person)).map(|person| person.name.clone());
        let reason = Reason::HowIsIt {
            since: calls.since,
            said: has_it.at,
            by: by.unwrap_or_default(),
            with: has_it.with,
            next: asked.others_from(),
        };
        self.call_for_low(turn, calls, &[(has_it.person, reason)], known.judged);
    }

    /// Others are called once more.
    fn call_on(&mut self, turn: &mut Turn) {
        let goes_on = self.next_of_calls(turn.now, |engine, low, known| engine.goes_on_at(low, known, turn.now));
        if let Some((_, known)) = goes_on.filter(|(at, _)| *at <= turn.now) {
            self.call_all(turn, known.judged);
        }
    }

    /// After the first hours of a lost signal calls are spaced out: they come with the wearer's own rings, at growing spans.
    fn call_with_rings_of_lost_signal(&mut self, turn: &mut Turn) {
        let Some((_, low)) = self.state.register.calls_of_low() else { return };
        let Some((at, last)) = self.spaced_out(low, turn.now).filter(|(at, _)| *at <= turn.now) else { return };
        let rings = |decision: &Decision| {
            let of_it = matches!(decision.condition, Condition::Gap | Condition::SourceFailed)
                || decision.condition.side() == Some(Side::Low);
            decision.rings && decision.to.is_wearer() && of_it
        };
        let is_held = low.has_it.is_some_and(|has_it| has_it.others_from() > at.max(turn.now));
        let is_treated = self.low_treated(turn.now).is_some();
        if !is_held && !is_treated && self.is_very_low(Some(last)) && turn.out.iter().any(rings) {
            self.call_all(turn, last);
        }
    }

    /// Since a signal has been lost for hours, the time that is left between two calls grows with it; with the last value.
    fn spaced_out(&self, low: &LowCalls, now: Timestamp) -> Option<(Timestamp, Judged)> {
        let last = self.state.window.newest().and_then(|last| self.latest_of(last.source))?;
        if now - last.at < LOST_FOR || self.lowest_of_sensors(now).is_some() {
            return None;
        }
        let called = low.called_at?;
        Some((called + SPACED.max((called - last.at).times(1, 2)), last))
    }

    /// All who were called before, and may be at this hour, are called once more; the first who may be, where none was.
    fn call_all(&mut self, turn: &mut Turn, judged: Judged) {
        let Some(mut calls) = self.state.register.calls_of_low().map(|(calls, _)| calls.clone()) else { return };
        let about = self.speaking(calls.id);
        let before = calls.told();
        let mut people: Vec<u8> = self.reachable(turn.now).collect();
        let second = people.first().copied();
        people.retain(|person| calls.called.iter().any(|(known, _)| known == person));
        people.extend(second.filter(|_| people.is_empty()));
        let knows = |person: &u8| was_told(turn, *person, about) || was_informed(&calls.informed, *person, turn.now);
        people.retain(|person| !knows(person) && is_called(&mut calls.called, *person, turn.now));
        if people.is_empty() {
            return;
        }
        let reason = self.why_called(turn.now, &calls, Some(judged), Step::Again, before, Ways::All);
        // What goes on by the steps goes on from here: nobody is called twice within minutes.
        calls.made.last = calls.made.last.map(|_| turn.now);
        if let Some(low) = calls.of_low_mut() {
            low.called(turn.now);
        }
        let people: Vec<(u8, Reason)> = people.into_iter().map(|person| (person, reason.clone())).collect();
        self.call_for_low(turn, calls, &people, judged);
    }

    /// Whoever is to be called on as well where a step calls somebody: one moment, one call each.
    pub(super) fn call_on_with(&self, turn: &Turn, calls: &mut Calls, people: &mut Vec<(u8, Ways)>) {
        let goes_on = self.next_of_calls(turn.now, |engine, low, known| engine.goes_on_at(low, known, turn.now));
        if people.is_empty() || goes_on.is_none_or(|(at, _)| at > turn.now) {
            return;
        }
        for person in self.reachable(turn.now) {
            let knows = calls.called.iter().any(|(known, _)| *known == person);
            if knows && is_called(&mut calls.called, person, turn.now) {
                people.push((person, Ways::All));
            }
        }
        people.sort_by_key(|(person, _)| *person);
    }

    fn call_for_low(&mut self, turn: &mut Turn, calls: Calls, people: &[(u8, Reason)], judged: Judged) {
        let about = self.speaking(calls.id);
        let before = turn.judged.replace(judged);
        for (person, reason) in people {
            turn.call(*person, about, reason.clone());
        }
        turn.judged = before;
        if let Some(known) = self.state.register.calls_of_low_mut() {
            *known = calls;
        }
    }

    /// Why somebody is called for a low: nobody answers, or it stays although somebody did. That it does not recover is
    /// said of a fresh value, and after a treatment only by its check.
    pub(super) fn why_called(
        &self,
        now: Timestamp,
        calls: &Calls,
        judged: Option<Judged>,
        step: Step,
        told: Vec<(u8, Timestamp)>,
        ways: Ways,
    ) -> Reason {
        let Some(Answered { at: answered, by }) = calls.answer.clone() else {
            return Reason::Unanswered { since: calls.unanswered_since(), step, told, ways };
        };
        let is_of = |fresh: Option<Judged>| fresh.zip(judged).is_some_and(|(fresh, judged)| fresh.at == judged.at);
        let is_fresh = is_of(self.lowest_of_sensors(now)) || is_of(self.lowest_latest(now));
        let treated = calls.of_low().map_or(self.low_treated(now), |low| self.last_treated(low, now));
        let is_checked = treated.is_none_or(|treated| {
            now >= treated + self.policy.recheck.low_look && judged.is_some_and(|judged| judged.at > treated)
        });
        if is_fresh && is_checked {
            return Reason::NotRecovering { since: calls.since, answered, by, told };
        }
        let meter = self.state.meter.filter(|(at, _)| judged.is_some_and(|judged| *at > judged.at));
        Reason::StillCalled(StillCalled { since: calls.since, answered, by, treated, meter, told })
    }

    /// When whoever has it is to be asked: it is still very low, or low and not rising. Of somebody who is with the
    /// wearer it is very low alone. None when they were asked, or may not be called at this hour.
    fn asks_at(&self, low: &LowCalls, known: Known, now: Timestamp) -> Option<Timestamp> {
        let has_it = low.has_it.filter(|has_it| has_it.asked.is_none())?;
        let person = self.policy.people.get(usize::from(has_it.person))?;
        let stays = self.is_very_low(Some(known.judged))
            || !has_it.with && !self.is_back(Some(known.judged)) && {
                let rises = known.judged.rate.is_some_and(|rate| rate.direction().rises());
                !(known.is_fresh && rises)
            };
        let may_be_called = person.may_be_reached(self.policy.zone, now);
        (stays && may_be_called).then(|| self.after_check(low, known, has_it.asks_at(), now))
    }

    /// When calls go on: from the first that was due, while it is very low, or was before its signal was lost and nobody
    /// has treated it; of what was very low until it is back.
    fn goes_on_at(&self, low: &LowCalls, known: Known, now: Timestamp) -> Option<Timestamp> {
        let called = low.called_at?;
        let goes_on = match (self.is_very_low(Some(known.judged)), known.is_fresh) {
            (true, true) => true,
            (true, false) => self.low_treated(now).is_none(),
            // One that was very low goes on until it is back, unless it rises.
            (false, true) => low.very_low.is_some() && self.stays(low, now, Some(known.judged)),
            (false, false) => false,
        };
        if !goes_on {
            return None;
        }
        let held = low.has_it.map_or(called, HasIt::others_from);
        let at = self.after_check(low, known, (called + CALLS_GO_ON).max(held), now);
        let at = if self.reachable(now).next().is_some() { at } else { at.max(self.next_reachable(now)?) };
        (known.is_fresh || at - known.judged.at < LOST_FOR).then_some(at)
    }

    /// Not before that, and not before the check after a treatment, on a value from after it: that defers a call once, and
    /// not for long. While a treatment has no value after it, its check is waited for in any case.
    fn after_check(&self, low: &LowCalls, known: Known, at: Timestamp, now: Timestamp) -> Timestamp {
        let Some(treated) = self.last_treated(low, now) else { return at };
        let ready = treated + self.policy.recheck.low_look;
        // Of two signals the lower may be the older.
        let newest = self.state.window.newest().map(|newest| newest.measured).max(Some(known.judged.at));
        let has_value = newest > Some(treated);
        let latest = low.waits_until.unwrap_or(treated + DEFERS);
        at.max(if has_value { ready.min(latest) } else { ready })
    }

    /// Is the check after the latest treatment still to come?
    pub(super) fn is_before_check(&self, low: &LowCalls, now: Timestamp) -> bool {
        self.known_of_low(now).is_some_and(|known| self.after_check(low, known, now, now) > now)
    }

    /// When it was last treated, in whatever order that was said.
    fn last_treated(&self, low: &LowCalls, now: Timestamp) -> Option<Timestamp> {
        self.low_treated(now).max(low.treated_at)
    }

    /// Until when a step that calls somebody is put off, if it is: somebody has it, or a treatment is to be checked.
    pub(super) fn call_waits_until(&self, low: &LowCalls, now: Timestamp) -> Option<Timestamp> {
        let held = low.has_it.map(HasIt::others_from);
        let checked = self.known_of_low(now).map(|known| self.after_check(low, known, now, now));
        let spaced = self.spaced_out(low, now).map(|(at, _)| at);
        held.into_iter().chain(checked).chain(spaced).max().filter(|at| *at > now)
    }

    /// A low was treated: the call that is due next waits for the check.
    pub(in crate::engine) fn treatment_defers_calls(&mut self, at: Timestamp) {
        let Some(low) = self.state.register.calls_of_low_mut().and_then(Calls::of_low_mut) else { return };
        low.treated_at = low.treated_at.max(Some(at));
        // It defers a call once: what is said later of an earlier treatment makes the wait no longer.
        if low.called_at.is_none_or(|called| at >= called) {
            let until = at + DEFERS;
            low.waits_until = Some(low.waits_until.map_or(until, |known| known.min(until)));
        }
    }

    /// The diary was changed: only the treatments that stand in it defer anything.
    pub(in crate::engine) fn only_these_defer_calls(
        &mut self,
        now: Timestamp,
        treated: impl Iterator<Item = Timestamp>,
    ) {
        let Some(low) = self.state.register.calls_of_low_mut().and_then(Calls::of_low_mut) else { return };
        (low.waits_until, low.treated_at) = (None, None);
        for at in treated.filter(|at| *at <= now && now - *at < LAST_TREATMENTS) {
            self.treatment_defers_calls(at);
        }
    }

    /// When the low there is was last treated; symptoms and finger-pricks begin the same checks and are no treatment.
    pub(super) fn low_treated(&self, now: Timestamp) -> Option<Timestamp> {
        let treated = self.state.plan.low()?.treated?;
        (treated.told == Began::Treated && treated.at <= now).then_some(treated.at)
    }

    /// The lowest value the sensors say now, whatever a meter said since; the last there was for two hours after its
    /// signal was lost.
    fn known_of_low(&self, now: Timestamp) -> Option<Known> {
        if let Some(judged) = self.lowest_of_sensors(now) {
            return Some(Known { judged, is_fresh: true });
        }
        let judged = self.state.window.newest().and_then(|last| self.latest_of(last.source))?;
        (now - judged.at < LOST_FOR).then_some(Known { judged, is_fresh: false })
    }

    /// Are others called on for a low, whether its signal is there or lost?
    pub(super) fn calls_go_on(&self, now: Timestamp) -> bool {
        self.next_of_calls(now, |engine, low, known| engine.goes_on_at(low, known, now)).is_some()
    }

    /// By night a person is called once for what comes and goes: a silence, a source or a way that fails. A very low whose
    /// signal was lost has its two hours of calls all the same.
    pub(super) fn was_called_tonight(&mut self, turn: &Turn, person: u8, of: Condition) -> bool {
        let comes_and_goes = matches!(of, Condition::Gap | Condition::SourceFailed | Condition::ChannelFailed);
        let very_low = self.known_of_low(turn.now).is_some_and(|known| self.is_very_low(Some(known.judged)));
        if !comes_and_goes || !turn.night.inside || very_low {
            return false;
        }
        let tonight = &mut self.state.register.called_tonight;
        tonight.retain(|(_, until)| *until > turn.now);
        let was_called = tonight.iter().any(|(known, _)| *known == person);
        if !was_called {
            tonight.push((person, turn.night.until));
        }
        was_called
    }

    /// From the first call due calls go on while the newest value is very low: is the next one planned?
    pub(in crate::engine) fn is_called_on(&self, now: Timestamp) -> bool {
        let called = self.state.register.calls_of_low().is_some_and(|(_, low)| low.called_at.is_some());
        let goes_on = called && self.is_very_low(self.lowest_of_sensors(now)) && self.reachable(now).next().is_some();
        !goes_on || self.state.plan.due(Job::CallsLast).is_some()
    }
}

impl LowCalls {
    /// Others are called now, or would be if anybody could be.
    pub(super) const fn called(&mut self, now: Timestamp) {
        (self.called_at, self.waits_until) = (Some(now), None);
    }
}
