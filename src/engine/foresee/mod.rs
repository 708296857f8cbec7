//! Alerts about what is likely to come: a low, a very low, a high. A forecast is raised from one chance on, and rings
//! from a higher one. It stands for half an hour; then it has come true, or it has not. The level it foresaw rings by
//! its own priority whatever was foreseen, in the same thread. How likely something is stands in [`super::forecast`].

pub mod likely;
mod outlook;
pub mod policy;
pub mod tally;
pub mod watched;

use super::Engine;
use super::alert::priority;
use super::alert::{Alert, Because, Detail, Standing};
use super::effect::{Condition, Id, Side, What};
use super::forecast::Likelihood;
use super::plan::Job;
use super::policy::{Policy, Rings};
use super::reason::{Likely, Reason};
use super::turn::Turn;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
pub(super) use outlook::SELDOM;
use outlook::{Outlook, SELDOM_LOGIT, SPEED_MAX, UNLIKELY, is_far};
use policy::{AFTER_BEYOND, AFTER_LEVEL, LESS_SURE, RINGS_APART, STANDS, horizon};
use serde::{Deserialize, Serialize};
use tally::{Came, Followed, Follows, Tally};
use watched::Watched;

/// All forecasts, and what makes them less sure.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Foreseen {
    very_low: Foresight,
    low: Foresight,
    high: Foresight,
    /// When food or insulin was noted last.
    pub(super) noted: Option<Timestamp>,
    /// When food was noted last.
    #[serde(default)]
    pub(super) ate: Option<Timestamp>,
    #[serde(default)]
    followed: Followed,
}

impl Foreseen {
    /// The clock was set: what was noted keeps its age.
    pub(super) fn shift(&mut self, by: Span) {
        self.noted = self.noted.map(|noted| noted + by);
        self.ate = self.ate.map(|ate| ate + by);
    }
}

/// The forecasts of one condition.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Foresight {
    /// The last reading beyond the limit.
    beyond: Option<Timestamp>,
    /// When one was last raised, and when one last rang.
    raised: Option<Timestamp>,
    rang: Option<Timestamp>,
    /// The thread of one that came true, for the level's own messages.
    thread: Option<Id>,
    /// What came of them.
    tally: Tally,
}

impl Foreseen {
    const fn of(&self, condition: Condition) -> Option<&Foresight> {
        match condition {
            Condition::ForecastVeryLow => Some(&self.very_low),
            Condition::ForecastLow => Some(&self.low),
            Condition::ForecastHigh => Some(&self.high),
            _ => None,
        }
    }

    const fn of_mut(&mut self, condition: Condition) -> Option<&mut Foresight> {
        match condition {
            Condition::ForecastVeryLow => Some(&mut self.very_low),
            Condition::ForecastLow => Some(&mut self.low),
            Condition::ForecastHigh => Some(&mut self.high),
            _ => None,
        }
    }

    /// Is there one of which it is not known yet what came?
    const fn waits(&self) -> bool {
        self.very_low.tally.waits() || self.low.tally.waits() || self.high.tally.waits()
    }

    const fn all_mut(&mut self) -> [(Condition, &mut Foresight); 3] {
        [
            (Condition::ForecastVeryLow, &mut self.very_low),
            (Condition::ForecastLow, &mut self.low),
            (Condition::ForecastHigh, &mut self.high),
        ]
    }

    /// Forecasts of that side, the worse first.
    fn on(&self, side: Side) -> impl Iterator<Item = &Foresight> {
        side.forecasts().iter().filter_map(|condition| self.of(*condition))
    }

    /// The thread of a forecast that came true, for the level it foresaw.
    pub(super) fn thread_that_came(&self, side: Side) -> Option<Id> {
        self.on(side).find_map(|foresight| foresight.thread)
    }
}

impl Engine {
    /// One more reading for what came of forecasts, which counts where the sensor is not doubted.
    pub(super) fn follow_forecasts(&mut self, reading: &Reading, counts: bool) {
        let foreseen = &mut self.state.foreseen;
        let follows = foreseen.followed.follow(reading.measured, counts);
        if follows != Follows::On || foreseen.waits() {
            self.count_forecasts(reading, follows);
        }
    }

    /// Few readings decide anything.
    #[cold]
    fn count_forecasts(&mut self, reading: &Reading, follows: Follows) {
        let Policy { levels, forecasts, .. } = &self.policy;
        for (condition, foresight) in self.state.foreseen.all_mut() {
            let level = condition.foreseen().and_then(|level| levels.of(level));
            let (Some(level), Some(policy), Some(side)) = (level, forecasts.of(condition), condition.side()) else {
                continue;
            };
            let beyond = side.is_beyond(reading.glucose, level.limit);
            foresight.tally.follow(reading.measured, beyond, follows, policy);
        }
    }

    /// What was foreseen on one side is there when a reading is beyond its limit; its level is judged after it.
    pub(super) fn see_what_came(&mut self, turn: &mut Turn, side: Side, reading: &Reading) {
        let milder = match side {
            Side::Low => &self.policy.levels.low,
            Side::High => &self.policy.levels.high,
        };
        if side.is_beyond(reading.glucose, milder.limit) {
            self.what_was_foreseen_came(turn, side, reading);
        }
    }

    #[cold]
    fn what_was_foreseen_came(&mut self, turn: &mut Turn, side: Side, reading: &Reading) {
        for condition in side.forecasts() {
            let Some(outlook) = Outlook::of(&self.policy, *condition, side, reading) else { continue };
            let Some(foresight) = self.state.foreseen.of_mut(*condition) else { continue };
            if side.is_beyond(reading.glucose, outlook.limit) {
                foresight.beyond = Some(reading.measured);
                self.has_come(turn, &outlook);
            }
        }
    }

    /// What the newest reading makes likely on one side of the range; its levels are judged already.
    pub(super) fn foresee(&mut self, turn: &mut Turn, side: Side, reading: &Reading) {
        if self.nothing_in_reach(side, reading) {
            return;
        }
        let moves = self.moves(reading);
        for condition in side.forecasts().iter().copied() {
            let Some(outlook) = self.outlook(condition, side, reading) else { continue };
            let idle = self.nothing_foreseen(condition);
            let far = moves.is_none_or(|moves| outlook.is_far(reading.glucose, moves.speed));
            if idle && far || side.is_beyond(reading.glucose, outlook.limit) {
                continue;
            }
            let raise = outlook.policy.raise;
            let least = if raise >= SELDOM { SELDOM_LOGIT } else { UNLIKELY };
            let chance = moves.and_then(|moves| self.chance_of(&outlook, reading, moves, least));
            let chance = chance.filter(|chance| chance.ranks >= raise);
            if chance.is_some() || !idle {
                self.take_up(turn, &outlook, chance);
            }
        }
    }

    /// Nothing is foreseen on that side, and no speed makes it likely enough; or nothing is to be.
    fn nothing_in_reach(&self, side: Side, reading: &Reading) -> bool {
        let Policy { levels, forecasts, .. } = &self.policy;
        match side {
            Side::High if forecasts.high.rings == Rings::Never => true,
            Side::High => {
                let far = is_far(side, reading.glucose, levels.high.limit, SPEED_MAX);
                far && self.nothing_foreseen(Condition::ForecastHigh) && forecasts.high.raise >= SELDOM
            }
            Side::Low => {
                let far = is_far(side, reading.glucose, levels.low.limit, SPEED_MAX);
                let idle = |condition| self.nothing_foreseen(condition);
                let idle = || idle(Condition::ForecastLow) && idle(Condition::ForecastVeryLow);
                far && idle() && forecasts.low.raise.min(forecasts.very_low.raise) >= SELDOM
            }
        }
    }

    /// No forecast of that condition stands, and nothing is to be tidied up.
    #[inline]
    fn nothing_foreseen(&self, condition: Condition) -> bool {
        let thread = self.state.foreseen.of(condition).is_some_and(|foresight| foresight.thread.is_some());
        !thread && self.state.register.of(condition).is_none()
    }

    /// Few readings make anything likely, or end what was.
    #[cold]
    fn take_up(&mut self, turn: &mut Turn, outlook: &Outlook, chance: Option<Likelihood>) {
        let Some(foresight) = self.state.foreseen.of_mut(outlook.condition) else { return };
        let mut taken = std::mem::take(foresight);
        self.may_come(turn, outlook, &mut taken, chance);
        if let Some(place) = self.state.foreseen.of_mut(outlook.condition) {
            *place = taken;
        }
    }

    /// A reading is beyond the limit: what was foreseen is there.
    fn has_come(&mut self, turn: &mut Turn, outlook: &Outlook) {
        let Some(open) = self.state.register.end_of(outlook.condition) else { return };
        if outlook.side == Side::Low
            && let Some(rang) = open.told_at.filter(|_| open.has_rung())
        {
            let known = self.state.register.story.foretold.filter(|(known, _)| *known >= rang);
            self.state.register.story.foretold = Some(known.unwrap_or((rang, open.is_acknowledged())));
        }
        if let Some(foresight) = self.state.foreseen.of_mut(outlook.condition) {
            foresight.thread = Some(open.thread());
        }
        let reason = Reason::CameTrue { limit: outlook.limit, since: open.since };
        turn.tell(What::Ended, outlook.condition, open.id, open.part_of, reason, false);
    }

    /// No reading beyond the limit: one that stood long enough is over, and another may be raised.
    fn may_come(&mut self, turn: &mut Turn, outlook: &Outlook, foresight: &mut Foresight, chance: Option<Likelihood>) {
        let at = outlook.measured;
        if self.root(outlook.side).is_none() {
            foresight.thread = None;
        }
        // After a clock was set back what lies ahead is as far off as what is long past.
        let apart = |last: Timestamp, span| at < last || at - last >= span;
        // What is watched for is told anew, whatever was foreseen before.
        let told_before = |last: &Timestamp| outlook.watched.is_some_and(|(_, since)| *last < since);
        let long_ago =
            |last: Option<Timestamp>, span| last.filter(|last| !told_before(last)).is_none_or(|last| apart(last, span));
        if let Some(open) = self.state.register.end_if(outlook.condition, |open| apart(open.since, STANDS)) {
            let reason = Reason::DidNotCome { limit: outlook.limit, since: open.since };
            turn.tell(What::Ended, outlook.condition, open.id, open.part_of, reason, false);
        }
        let open = self.state.register.of(outlook.condition).copied();
        let anew = open.is_none() && long_ago(foresight.raised, STANDS) && long_ago(foresight.beyond, AFTER_BEYOND);
        let louder = open.is_some_and(|open| !open.has_rung() && !open.is_acknowledged());
        let Some(chance) = chance.filter(|_| anew || louder) else { return };
        let sounds_from = match outlook.watched {
            Some(_) => outlook.policy.sound,
            None => foresight.tally.sounds_from(&outlook.policy),
        };
        let enough = chance.ranks >= sounds_from && !outlook.is_too_near();
        let silent = if enough { self.why_silent(turn, outlook, foresight) } else { None };
        let rings = enough && silent.is_none();
        let mut open = open.unwrap_or_else(|| self.new_forecast(outlook));
        if anew || rings {
            let reason = Reason::Likely(Likely {
                limit: outlook.limit,
                by: at + horizon(outlook.condition),
                chance: chance.shown,
                sounds_from: chance.beside(sounds_from),
                moved: sounds_from != outlook.policy.sound,
                noted: self.noted_lately(at),
                came: if outlook.watched.is_some() { Came::default() } else { foresight.tally.came(rings) },
                watched: outlook.watched.map(|(watched, _)| watched),
            });
            let what = if anew { What::Raised } else { What::Repeated };
            turn.tell(what, outlook.condition, open.id, open.part_of, reason, rings);
        }
        if anew {
            foresight.raised = Some(at);
        }
        // What is watched for rings at another chance, and tells nothing of the one that moves.
        match outlook.watched {
            None if anew => foresight.tally.wait_for(at, rings),
            None if rings => foresight.tally.rings_now(),
            Some(_) | None => {}
        }
        if let Detail::Forecast { by, silence_told } = &mut open.detail {
            if let Some(reason) = silent.filter(|_| !*silence_told) {
                turn.tell(What::Withheld, outlook.condition, open.id, open.part_of, reason, false);
                *silence_told = true;
            }
            if rings {
                *by = at + horizon(outlook.condition);
            }
        }
        if rings {
            (open.told_at, foresight.rang) = (Some(at), Some(at));
            open.told_as(None);
        }
        self.state.register.replace(open);
    }

    fn new_forecast(&mut self, outlook: &Outlook) -> Alert {
        let (id, part_of) = (self.take_id(), self.foreseen_thread(outlook.side));
        Alert {
            id,
            part_of,
            condition: outlook.condition,
            since: outlook.measured,
            standing: Standing::new(Some(Because::Unsure), false),
            told_at: None,
            detail: Detail::Forecast { by: outlook.measured + horizon(outlook.condition), silence_told: false },
        }
    }

    /// Why one that is sure enough does not ring, if it does not.
    fn why_silent(&self, turn: &Turn, outlook: &Outlook, foresight: &Foresight) -> Option<Reason> {
        let at = outlook.measured;
        let since = outlook.watched.map(|(_, since)| since);
        let counts =
            |rang: &Timestamp| *rang <= at && at - *rang < RINGS_APART && since.is_none_or(|since| *rang >= since);
        if let Some(rang) = foresight.rang.filter(counts) {
            return Some(Reason::RangLately { rang });
        }
        let worse = self.state.register.of(Condition::ForecastVeryLow).filter(|worse| worse.has_rung());
        if outlook.condition == Condition::ForecastLow && worse.is_some() {
            return Some(Reason::WorseActive { worse: Condition::ForecastVeryLow });
        }
        let (_, milder) = outlook.side.levels();
        let rang = |alert: &Alert| alert.has_rung() && alert.told_at.is_some_and(|told| turn.now - told < AFTER_LEVEL);
        // A low that is back has said what it had to say.
        let is_back = matches!(outlook.watched, Some((Watched::AfterLow, _)));
        if !is_back && self.state.register.of(milder).is_some_and(rang) {
            return Some(Reason::WorseActive { worse: milder });
        }
        let looks = match outlook.side {
            Side::Low => self.state.plan.due(Job::LowCheck).filter(|_| self.state.plan.low().is_some()),
            Side::High => self.check_speaks(turn.now, outlook.limit),
        };
        if let Some(next) = looks {
            return Some(Reason::LookComes { next });
        }
        if let Some(reason) = self.fed(turn, outlook.side) {
            return Some(reason);
        }
        match outlook.watched {
            Some(_) => self.watch_waits(turn),
            None => turn.holds(outlook.policy.rings, priority::of_forecast(outlook.condition)),
        }
    }

    fn noted_lately(&self, at: Timestamp) -> Option<Timestamp> {
        self.state.foreseen.noted.filter(|noted| *noted <= at && at - *noted < LESS_SURE)
    }

    /// Stretches are not to be counted, or count again. Nothing that alerts is touched.
    pub(super) fn leave_out(&mut self, turn: &mut Turn, stretches: &[(Timestamp, Timestamp)]) {
        self.state.left_out = stretches.to_vec();
        let today = self.state.foreseen.followed.today();
        for condition in Condition::FORECASTS {
            if let Some(foresight) = self.state.foreseen.of_mut(condition) {
                foresight.tally.leave_out(stretches, today);
            }
        }
        turn.only_noted();
    }

    /// Is an instant not to be counted?
    pub(super) fn is_left_out(&self, at: Timestamp) -> bool {
        self.state.left_out.iter().any(|(from, to)| *from <= at && at < *to)
    }

    /// What was noted last was none, or at another time.
    pub(super) fn forget_what_moves(&mut self, was: Timestamp, last: Option<Timestamp>) {
        let noted = &mut self.state.foreseen.noted;
        *noted = if *noted == Some(was) { last } else { *noted };
    }

    /// The thread that what is said of a side belongs to: that of its alert, or of what was foreseen.
    pub(super) fn foreseen_thread(&self, side: Side) -> Option<Id> {
        let root = self.root(side).map(Alert::thread);
        let came = |condition: &Condition| self.state.foreseen.of(*condition)?.thread;
        let stands = |condition: &Condition| self.state.register.of(*condition).map(Alert::thread);
        root.or_else(|| side.forecasts().iter().find_map(|condition| came(condition).or_else(|| stands(condition))))
    }

    /// The forecast of that condition, if one stands.
    #[must_use]
    pub fn forecast(&self, condition: Condition) -> Option<&Alert> {
        self.state.register.of(condition).filter(|_| condition.foreseen().is_some())
    }

    /// The forecasts that stand and have rung, the worst first.
    pub(super) fn rung_forecasts(&self) -> impl Iterator<Item = &Alert> {
        Condition::FORECASTS.into_iter().filter_map(|condition| self.forecast(condition)).filter(|open| open.has_rung())
    }

    /// The wearer did something about what was foreseen on that side: it rings no more.
    pub(super) fn forecasts_are_treated(&mut self, side: Side) {
        for condition in side.forecasts() {
            if let Some(open) = self.state.register.of_mut(*condition) {
                open.acknowledge();
            }
        }
    }

    /// The settings no longer want them.
    pub(super) fn drop_forecasts_switched_off(&mut self, turn: &mut Turn) {
        for condition in Condition::FORECASTS {
            let off = self.policy.forecasts.of(condition).is_none_or(|policy| policy.rings == Rings::Never);
            if let Some(open) = self.state.register.end_if(condition, |_| off) {
                turn.tell(What::Ended, condition, open.id, open.part_of, Reason::ConditionGone, false);
            }
        }
    }
}
