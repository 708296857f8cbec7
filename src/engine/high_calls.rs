//! When somebody else is called for a high: two questions about ketones that nobody answered, or a pump at 300 or more
//! for two hours without an answer. Whoever was called is told what came of it; what they are told in words is for others.

use super::Engine;
use super::alert::people::{Answer, is_called};
use super::effect::{Condition, Id};
use super::plan::Job;
use super::policy::{Therapy, Whom};
use super::reason::Reason;
use super::stretch::HighStory;
use super::turn::Turn;
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A question that nobody has answered in this time is unanswered: ours.
const UNANSWERED: Span = Span::minutes(30);

/// While it stays so somebody is called again after this: ours.
const CALLED_AGAIN: Span = Span::hours(1);

/// A pump without insulin leads to ketoacidosis within hours: from here on for so long somebody is called. Both are ours.
pub(super) const PUMP_FROM: Glucose = Glucose::mg_dl(300);
const PUMP_LASTS: Span = Span::hours(2);

/// One call is for both reasons that are due within this: nobody is called twice within it.
const SAME_CALL: Span = Span::minutes(5);

/// Most answers kept.
const ANSWERS_MAX: usize = 8;

/// An answer of any kind: seen, treated, a note that treats, ketones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct HighAnswer {
    /// When it came.
    at: Timestamp,
    /// The time of the line that it was, if it was one.
    line: Option<Timestamp>,
}

/// What is known of the calls for a high.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct HighCalls {
    answers: Vec<HighAnswer>,
    /// When each person was called.
    called: Vec<(u8, Timestamp)>,
    /// When somebody was called last.
    last: Option<Timestamp>,
    /// The same for a pump's high that lasts.
    #[serde(default)]
    for_pump: Option<Timestamp>,
}

impl HighCalls {
    fn answered_since(&self, since: Timestamp) -> bool {
        self.answers.iter().any(|answer| answer.at >= since)
    }

    /// The line of that time is none any more.
    pub(super) fn forget_line(&mut self, line: Timestamp) {
        self.answers.retain(|answer| answer.line != Some(line));
    }

    /// The people of the settings have other places.
    pub(super) fn move_people(&mut self, to: &impl Fn(u8) -> Option<u8>) {
        super::alert::people::moved(&mut self.called, to);
    }

    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        let answers = self.answers.iter_mut().flat_map(|answer| [Some(&mut answer.at), answer.line.as_mut()]).flatten();
        let called = self.called.iter_mut().map(|(_, at)| at);
        answers.chain(called).chain(&mut self.last).chain(&mut self.for_pump).for_each(|at| *at = *at + by);
    }
}

impl HighStory {
    /// When somebody is to be called because two questions went unanswered, and since when nobody answers.
    fn call_for_questions(&self) -> Option<(Timestamp, Timestamp)> {
        let since = self.very_high?.since;
        let open = |asked: &&Timestamp| !self.calls.answered_since(**asked);
        let mut unanswered = self.asked_since(since).iter().filter(open);
        let (first, second) = (unanswered.next()?, unanswered.next()?);
        let again = self.calls.last.filter(|last| last >= first).map(|last| last + CALLED_AGAIN);
        Some((again.unwrap_or(*second + UNANSWERED), *first))
    }

    /// The same because a pump's high lasts.
    fn call_for_pump(&self) -> Option<(Timestamp, Timestamp)> {
        let since = self.far_above?.0;
        let first = since + PUMP_LASTS;
        let again = self.calls.for_pump.filter(|last| *last >= first).map(|last| last + CALLED_AGAIN);
        (!self.calls.answered_since(since)).then_some((again.unwrap_or(first), since))
    }
}

impl Engine {
    /// Somebody answered, whatever it was about: by a line of the diary of that time, or otherwise. Whoever was called for a
    /// high is told, once.
    pub(super) fn high_answered(&mut self, turn: &mut Turn, line: Option<Timestamp>, by: Option<&String>) {
        let calls = &self.state.high.calls;
        let is_news = calls.last.is_some_and(|last| !calls.answered_since(last));
        if let Some(check) = self.state.plan.high().filter(|_| is_news) {
            let about = (Condition::RecheckHigh, check.id, check.part_of);
            self.tell_answered(turn, about, &calls.called, Answer { at: turn.now, by });
        }
        let answers = &mut self.state.high.calls.answers;
        answers.push(HighAnswer { at: turn.now, line });
        let over = answers.len().saturating_sub(ANSWERS_MAX);
        answers.drain(..over);
    }

    /// At the end of a turn: somebody is called, or told that it is over.
    pub(super) fn call_for_high(&mut self, turn: &mut Turn) {
        if self.state.high.very_high.is_none() {
            return self.tell_high_over(turn);
        }
        let pump = self.policy.therapy == Therapy::Pump;
        let very_high = self.policy.levels.very_high.limit.hundredths();
        let value = self.very_high_now(turn).filter(|judged| judged.glucose.hundredths() >= very_high);
        let far = value.is_some_and(|judged| judged.glucose.hundredths() >= PUMP_FROM.hundredths());
        let story = &self.state.high;
        let questions = story.call_for_questions();
        let lasts = story.call_for_pump().filter(|_| pump && far);
        let due = questions.into_iter().chain(lasts).min();
        match (due, value) {
            (Some((due, since)), Some(judged)) if due <= turn.now => {
                let before = turn.judged.replace(judged);
                if let Some((due, _)) = lasts.filter(|(due, _)| *due <= turn.now + SAME_CALL) {
                    self.state.high.calls.for_pump = Some(due.max(turn.now));
                }
                let next = self.call_second(turn, since);
                turn.judged = before;
                self.state.plan.set(Job::HighCalls, next);
            }
            (Some((due, _)), _) if due > turn.now => self.state.plan.set(Job::HighCalls, due),
            // Without a value that is still there the next reading tells.
            _ => self.state.plan.stop(Job::HighCalls),
        }
    }

    /// Calls the first who may be called at this hour. Says when the next call is due.
    fn call_second(&mut self, turn: &mut Turn, since: Timestamp) -> Timestamp {
        let check = self.check_of_high(turn.now);
        let again = turn.now + CALLED_AGAIN;
        let Some(person) = self.person(Whom::Second, &[], turn.now) else {
            return self.next_reachable(turn.now).unwrap_or(again).max(turn.now + Span::minutes(1));
        };
        let told = self.state.high.calls.called.clone();
        let calls = &mut self.state.high.calls;
        calls.last = Some(turn.now);
        if is_called(&mut calls.called, person, turn.now) {
            let began = self.state.high.since().unwrap_or(since);
            let reason = Reason::HighUnanswered { began, since, told };
            turn.call(person, (Condition::RecheckHigh, check.id, check.part_of), reason);
        }
        again
    }

    fn tell_high_over(&mut self, turn: &mut Turn) {
        if self.state.high.calls == HighCalls::default() {
            return;
        }
        let HighCalls { called, .. } = std::mem::take(&mut self.state.high.calls);
        let judged = self.latest(turn.now);
        let before = std::mem::replace(&mut turn.judged, judged);
        for (person, _) in called {
            let reason = Reason::BackWithin { since: turn.now };
            turn.tell_on(person, (Condition::RecheckHigh, Id(0), None), reason);
        }
        turn.judged = before;
    }
}
