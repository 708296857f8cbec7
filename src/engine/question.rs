//! The question about a high that stays: ketones, and pen or set. When it is due hangs on the stretch at the very high
//! limit and on the doses that were noted for it, and on nothing that was answered or muted. It rings here; its
//! words are for others, and how long a measured value answers it is asked in one place.

use super::Engine;
use super::alert::Alert;
use super::effect::{Condition, Decision, Id, Side, What};
use super::mode;
use super::outcome::Found;
use super::plan::Job;
use super::policy::{Rings, Therapy};
use super::reason::{Began, Reason, Treatment};
use super::recheck_high::{HighCheck, Stage};
use super::stretch::Given;
use super::trend::Rate;
use super::turn::{Judged, Turn};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// In pregnancy a high that stays is asked about from here on.
const PREGNANT_FROM: i32 = 18_000;

/// Pens and syringes: check again two hours after a correction; a pump an hour after it, since a failed site is found
/// early (published patient guidance, a pump and an injection sheet). The ninety minutes of what nobody treated are ours.
const WAITS: Span = Span::hours(2);
const WAITS_PUMP: Span = Span::minutes(90);
const FIRST_CHECK_OF_PUMP: Span = Span::minutes(60);

/// Asked again after these, and then after the last for good; with a pump ketones come sooner. Ours.
const AGAIN: [Span; 3] = [Span::hours(2), Span::hours(3), Span::hours(4)];
const AGAIN_PUMP: [Span; 1] = [Span::hours(2)];

/// So long from the first dose without response the care team is to be called: ours.
const CALLS_TEAM: Span = Span::hours(3);

/// A dose with a meal acts upon the meal first: so much later. Ours; of such doses 42 % were no lower after two hours,
/// without a meal 19 %.
const MEAL_TAKES: Span = Span::minutes(30);

/// Lower by less than this is no response, in hundredths of a mg/dL: ours.
const RESPONSE: i32 = 1_000;

/// Falling: its question waits; and rising: a meal is no reason to wait for it.
const FALLS: Rate = Rate(-100);
const RISES: Rate = Rate(100);

/// After a low a high is often its rebound (Acciaroli 2022): for so long nothing is asked.
const AFTER_LOW: Span = Span::hours(2);

/// A check so soon after the question has nothing else to ask. Ours.
const ASKED_LATELY: Span = Span::minutes(90);
const ASKED_SOON: Span = Span::minutes(30);

/// Why it is asked, the graver later.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// It has been very high for so long.
    Lasts,
    /// And still is.
    Again,
    /// A pump's dose did nothing in an hour.
    FirstCheck,
    /// No response in three hours.
    NoResponse,
}

/// What is asked, and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Question {
    /// Why. Its name on the disk is another: a reason has a word of that name already, and is not read back with two.
    #[serde(rename = "asks")]
    pub why: Why,
    /// Very high since then.
    pub since: Timestamp,
    /// The dose without response, if one was noted.
    pub dose: Option<Given>,
    /// Food that was noted beside it.
    pub meal: Option<Timestamp>,
    /// The latest dose.
    pub latest: Option<Timestamp>,
    /// What came of the first dose so far, where one was noted.
    #[serde(default)]
    pub found: Option<Found>,
    /// When it is asked again at the latest, while it stays so.
    pub next: Timestamp,
}

/// What may be due, and when.
type DueQuestions = [Option<(Why, Timestamp)>; 3];

/// Does a mode ask for ketones, and rings?
fn asks_for_ketones(decision: &Decision) -> bool {
    let asks = |said: &mode::reason::Why| matches!(said, mode::reason::Why::Look { asks, .. } if asks.ketones);
    decision.rings && matches!(&decision.reason, Reason::Mode { said } if asks(said))
}

/// Is the value no lower than at a dose, but for so much? What is not known is not lower.
fn no_lower(judged: Option<Judged>, then: &Given, by: i32) -> bool {
    let Some((judged, then)) = judged.zip(then.value) else { return true };
    judged.glucose.hundredths() >= then.hundredths() - by
}

impl Engine {
    /// At the end of a turn: the questions that are due are asked, whatever keeps other rings back.
    pub(super) fn ask_due_questions(&mut self, turn: &mut Turn) {
        if self.state.high.very_high.is_none() {
            return;
        }
        if turn.out.iter().any(asks_for_ketones) {
            // A mode has asked the same.
            self.state.high.ask(turn.now);
        }
        if let Some((why, judged)) = self.question_due(turn) {
            self.ask_question(turn, why, judged);
        }
        match self.next_question(turn.now) {
            Some(due) => self.state.plan.set(Job::HighQuestion, due),
            // What is due and cannot be asked now is asked at a reading.
            None => self.state.plan.stop(Job::HighQuestion),
        }
    }

    /// The question that is due now and can be asked: on a fresh value that is very high and does not fall. What hangs on
    /// no dose waits for two hours after a low, since a high is often its rebound.
    pub(super) fn question_due(&self, turn: &Turn) -> Option<(Why, Judged)> {
        self.state.high.very_high?;
        let judged = self.very_high_now(turn)?;
        if self.speed(&judged).is_some_and(|speed| speed <= FALLS) || !self.follows_highs() {
            return None;
        }
        if self.is_low_beside() || self.state.high.waits_until.is_some_and(|until| turn.now < until) {
            return None;
        }
        // One that was there before the low is no rebound of it.
        let began = self.state.high.very_high.map(|stretch| stretch.since);
        let after_low = self.low_within(turn.now, AFTER_LOW) && self.low_before(began);
        let due = self.due_questions(turn.now, Some(judged)).into_iter().flatten().filter(|(_, due)| *due <= turn.now);
        let may = due.filter(|(why, _)| !after_low || matches!(why, Why::FirstCheck | Why::NoResponse));
        may.map(|(why, _)| why).max().map(|why| (why, judged))
    }

    /// Does another signal say that it is low? While low only what concerns the low rings.
    pub(super) fn is_low_beside(&self) -> bool {
        self.state.register.of_side(Side::Low).any(Alert::is_beyond)
    }

    /// Are highs alerted at all?
    pub(super) fn follows_highs(&self) -> bool {
        let levels = &self.policy.levels;
        [levels.high.rings, levels.very_high.rings].iter().any(|rings| *rings != Rings::Never)
    }

    /// How fast a value changes now: where readings are far apart, by the last two.
    fn speed(&self, judged: &Judged) -> Option<Rate> {
        let newest = self.state.window.newest().filter(|newest| newest.measured == judged.at)?;
        let mut own = self.state.window.newest_first(newest.source);
        let (last, before) = (own.next()?, own.next()?);
        let apart = (last.measured - before.measured).as_minutes();
        if !(10..=20).contains(&apart) {
            return judged.rate;
        }
        let change = last.glucose.hundredths() - before.glucose.hundredths();
        Some(Rate(change / i32::try_from(apart).unwrap_or(i32::MAX)))
    }

    /// The next time at which one falls due, or may be asked that was due before.
    pub(super) fn next_question(&self, now: Timestamp) -> Option<Timestamp> {
        let waits = self.state.high.waits_until;
        let all = self.due_questions(now, None).into_iter().flatten();
        let all = all.map(|(_, due)| waits.map_or(due, |until| due.max(until)));
        all.filter(|due| *due > now).min()
    }

    /// Was it asked a short while ago about a value as high as this, or is it soon?
    pub(super) fn is_asked_around(&self, turn: &Turn) -> bool {
        let lately = self.state.high.last_asked().is_some_and(|asked| turn.now - asked < ASKED_LATELY);
        let soon = self.next_question(turn.now).is_some_and(|next| next - turn.now <= ASKED_SOON);
        (lately || soon) && self.very_high_now(turn).is_some()
    }

    /// The value there is, if it is at the very high limit or above.
    pub(super) fn very_high_now(&self, turn: &Turn) -> Option<Judged> {
        let judged = self.of_two_signals(Side::High, turn.now).or_else(|| self.latest(turn.now))?;
        (judged.glucose.hundredths() >= self.asked_from()).then_some(judged)
    }

    /// From here on a high that stays is asked about: the very high limit; in pregnancy, where ketones rise sooner, 180 (from
    /// memory of guidance on ketones in pregnancy, not read again), in hundredths of a mg/dL.
    pub(super) fn asked_from(&self) -> i32 {
        let very_high = self.policy.levels.very_high.limit.hundredths();
        if self.is_pregnant() { very_high.min(PREGNANT_FROM) } else { very_high }
    }

    /// What falls due when, by all that is known now; of a value that is not known nothing is left out.
    fn due_questions(&self, now: Timestamp, judged: Option<Judged>) -> DueQuestions {
        let Some(stretch) = self.state.high.very_high else { return [None; 3] };
        [
            Some(self.due_by_the_clock(now, stretch.since, judged)),
            self.due_by_a_pump(now)
                .filter(|dose| no_lower(judged, dose, 0))
                .map(|dose| (Why::FirstCheck, dose.at + FIRST_CHECK_OF_PUMP)),
            self.due_in_three_hours(now, judged).map(|due| (Why::NoResponse, due)),
        ]
    }

    /// So long after the earlier of the stretch's start and the first dose for it, and then again and again.
    fn due_by_the_clock(&self, now: Timestamp, start: Timestamp, judged: Option<Judged>) -> (Why, Timestamp) {
        let pump = self.policy.therapy != Therapy::Injections;
        let asked = self.state.high.asked_since(start);
        let (why, due) = if let Some(last) = asked.last() {
            let spans: &[Span] = if pump { &AGAIN_PUMP } else { &AGAIN };
            let span = spans.get(asked.len() - 1).or(spans.last()).copied().unwrap_or(WAITS);
            (Why::Again, *last + span)
        } else {
            let dose = self.state.high.first_dose(now).map(|dose| dose.at);
            let rises = judged.is_some_and(|judged| {
                let beyond = judged.glucose.hundredths() > self.policy.levels.very_high.limit.hundredths();
                beyond && self.speed(&judged).is_some_and(|speed| speed >= RISES)
            });
            let meal = dose.and_then(|dose| self.state.high.meal_beside(dose, now)).filter(|_| !rises);
            let base = dose.map_or(start, |dose| dose.min(start));
            let wait = if pump { WAITS_PUMP } else { WAITS };
            (Why::Lasts, base + wait + if meal.is_some() { MEAL_TAKES } else { Span::ZERO })
        };
        (why, self.question_answered_until(now, judged).map_or(due, |until| due.max(until)))
    }

    /// An hour after a dose from a pump that nothing else was given or eaten beside: a set that fails is found early.
    fn due_by_a_pump(&self, now: Timestamp) -> Option<Given> {
        let story = &self.state.high;
        let dose = story.lone_dose(now, 3).filter(|_| self.policy.therapy == Therapy::Pump)?;
        let due = dose.at + FIRST_CHECK_OF_PUMP;
        let asked = story.with_set.is_some_and(|asked| asked >= due - Span::minutes(5));
        let over = now >= dose.at + WAITS_PUMP;
        (!asked && !over && story.meal_beside(dose.at, now).is_none()).then_some(dose)
    }

    /// Three hours from the first dose without response; a later one without response has three hours of its own, where
    /// the care team was not named since.
    fn due_in_three_hours(&self, now: Timestamp, judged: Option<Judged>) -> Option<Timestamp> {
        let story = &self.state.high;
        let unanswered = |dose: &&Given| {
            let due = dose.at + CALLS_TEAM;
            let told = story.team.is_some_and(|told| told >= due - Span::hours(1));
            !told && now < due + Span::hours(1) && no_lower(judged, dose, RESPONSE)
        };
        story.doses_of_stretch(now).find(unanswered).map(|dose| dose.at + CALLS_TEAM)
    }

    /// Until when the question is answered by what was measured: for the hours of its row, and by night for longer.
    fn question_answered_until(&self, now: Timestamp, judged: Option<Judged>) -> Option<Timestamp> {
        self.ketones_answered_until().max(self.ketones_answered_by_night(now, judged))
    }

    fn ask_question(&mut self, turn: &mut Turn, why: Why, judged: Judged) {
        let Some(since) = self.state.high.very_high.map(|stretch| stretch.since) else { return };
        let HighCheck { id, part_of, stage, since: of_check, .. } = self.check_of_high(turn.now);
        let story = &mut self.state.high;
        story.ask(turn.now);
        story.with_set = Some(turn.now);
        let overdue = |dose: &&Given| turn.now - dose.at >= CALLS_TEAM;
        let dose = story.doses_of_stretch(turn.now).find(overdue).copied();
        if dose.is_some() {
            story.team = Some(turn.now);
        }
        let dose = dose.or_else(|| story.first_dose(turn.now)).or_else(|| story.lone_dose(turn.now, 3));
        let meal = dose.and_then(|dose| story.meal_of(dose.at, turn.now));
        let latest = story.given_by(turn.now).last().map(|given| given.at);
        self.note_ring_about_high(turn);
        self.ketones_question_rang(turn.now);
        if let Stage::Asking { marked, asked } = stage {
            // What would ask about it as about any high has been asked.
            self.ask_later(turn.now, id, part_of, of_check, marked, asked + 1);
        }
        let next = self.next_question(turn.now).unwrap_or(turn.now + WAITS);
        let before = turn.judged.replace(judged);
        let treated =
            dose.map(|Given { at, value }| Treatment { at, value, of: None, alert_since: None, told: Began::Treated });
        let found = treated.map(|treated| self.found(turn, &treated, false));
        let question = Question { why, since, dose, meal, latest, found, next };
        turn.tell(What::Prompt, Condition::RecheckHigh, id, part_of, Reason::HighStays(Box::new(question)), true);
        turn.judged = before;
        self.mark_held_as_rung(turn.now);
        if let Some(check) = self.state.plan.high_mut() {
            check.ketones = true;
        }
    }

    /// The check of the high there is; one whose alert has not begun, because readings are far apart, has one from now on.
    pub(super) fn check_of_high(&mut self, now: Timestamp) -> HighCheck {
        if self.state.plan.high().is_none() {
            let since = self.state.high.since().unwrap_or(now);
            let (id, alert) = (self.take_id(), self.root(Side::High).map(|root| root.id));
            self.ask_later(now, id, alert, since, false, 0);
        }
        let none = HighCheck {
            id: Id(0),
            part_of: None,
            since: now,
            ketones: false,
            stage: Stage::Asking { marked: false, asked: 0 },
        };
        self.state.plan.high().cloned().unwrap_or(none)
    }
}
