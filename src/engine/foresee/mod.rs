//! Alerts about what is likely to come: a low, a very low, a high. A forecast is raised from one chance on, and rings
//! from a higher one. It stands for half an hour; then it has come true, or it has not. The level it foresaw rings by
//! its own priority whatever was foreseen, in the same thread. How likely something is stands in [`super::forecast`].

mod outlook;
pub mod policy;
pub mod tally;

use super::Engine;
use super::effect::{Condition, Id, Side, What};
use super::forecast::{Chance, HORIZON};
use super::level::{Active, Told};
use super::policy::{Policy, Rings};
use super::priority;
use super::reason::{Likely, Reason};
use super::timers::Timer;
use super::turn::Turn;
use crate::domain::diary::{Kind, Note};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
pub(super) use outlook::SELDOM;
use outlook::{Outlook, SELDOM_LOGIT, SPEED_MAX, UNLIKELY, is_far};
use policy::{AFTER_BEYOND, AFTER_LEVEL, LESS_SURE, RINGS_APART, STANDS};
use serde::{Deserialize, Serialize};
use tally::{Followed, Follows, Tally};

/// The forecasts of a side, the worse first.
const fn of_side(side: Side) -> &'static [Condition] {
    match side {
        Side::Low => &[Condition::ForecastVeryLow, Condition::ForecastLow],
        Side::High => &[Condition::ForecastHigh],
    }
}

/// All forecasts, and what makes them less sure.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Foreseen {
    very_low: Foresight,
    low: Foresight,
    high: Foresight,
    /// When food or insulin was noted last.
    pub(super) noted: Option<Timestamp>,
    #[serde(default)]
    followed: Followed,
}

impl Foreseen {
    /// The clock was set: what was noted keeps its age.
    pub(super) fn shift(&mut self, by: Span) {
        self.noted = self.noted.map(|noted| noted + by);
    }
}

/// The forecasts of one condition.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Foresight {
    /// The one that stands.
    open: Option<Forecast>,
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

/// A forecast that stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Forecast {
    /// Its number.
    pub id: Id,
    /// The alert it is part of.
    pub part_of: Option<Id>,
    /// The reading it was raised on.
    pub since: Timestamp,
    /// A reading beyond the limit is likely until then.
    pub by: Timestamp,
    /// Did it ring?
    pub rang: bool,
    /// Marked as seen, or treated.
    pub seen: bool,
    /// Why it does not ring was said.
    withheld: bool,
}

impl Forecast {
    fn thread(&self) -> Id {
        self.part_of.unwrap_or(self.id)
    }
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
        of_side(side).iter().filter_map(|condition| self.of(*condition))
    }

    /// The thread of a forecast that came true, for the level it foresaw.
    pub(super) fn thread_that_came(&self, side: Side) -> Option<Id> {
        self.on(side).find_map(|foresight| foresight.thread)
    }

    /// Those that stand and have rung, to be marked as seen.
    pub(super) fn rung_mut(&mut self) -> impl Iterator<Item = (Condition, &mut Forecast, Option<Timestamp>)> {
        self.all_mut().into_iter().filter_map(|(condition, foresight)| {
            let rang = foresight.rang;
            foresight.open.as_mut().filter(|open| open.rang).map(|open| (condition, open, rang))
        })
    }
}

impl Foresight {
    /// Nothing stands, and nothing is to be tidied up.
    const fn is_idle(&self) -> bool {
        self.open.is_none() && self.thread.is_none()
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
        let Self { policy, state, .. } = self;
        for condition in of_side(side).iter().copied() {
            let Some(outlook) = Outlook::of(policy, condition, side, reading) else { continue };
            let Some(foresight) = state.foreseen.of_mut(condition) else { continue };
            if side.is_beyond(reading.glucose, outlook.limit) {
                foresight.beyond = Some(reading.measured);
                Self::has_come(turn, &outlook, foresight);
            }
        }
    }

    /// What the newest reading makes likely on one side of the range; its levels are judged already.
    pub(super) fn foresee(&mut self, turn: &mut Turn, side: Side, reading: &Reading) {
        if self.nothing_in_reach(side, reading) {
            return;
        }
        let moves = self.moves(reading);
        for condition in of_side(side).iter().copied() {
            let Some(outlook) = Outlook::of(&self.policy, condition, side, reading) else { continue };
            let idle = self.state.foreseen.of(condition).is_none_or(Foresight::is_idle);
            let far = moves.is_none_or(|moves| outlook.is_far(reading.glucose, moves.speed));
            if idle && far || side.is_beyond(reading.glucose, outlook.limit) {
                continue;
            }
            let raise = outlook.policy.raise;
            let least = if raise >= SELDOM { SELDOM_LOGIT } else { UNLIKELY };
            let chance = moves.and_then(|moves| self.chance_of(&outlook, reading, moves, least));
            let chance = chance.filter(|chance| *chance >= raise);
            if chance.is_some() || !idle {
                self.take_up(turn, &outlook, chance);
            }
        }
    }

    /// Nothing is foreseen on that side, and no speed makes it likely enough; or nothing is to be.
    fn nothing_in_reach(&self, side: Side, reading: &Reading) -> bool {
        let (Policy { levels, forecasts, .. }, foreseen) = (&self.policy, &self.state.foreseen);
        match side {
            Side::High if forecasts.high.rings == Rings::Never => true,
            Side::High => {
                let far = is_far(side, reading.glucose, levels.high.limit, SPEED_MAX);
                far && foreseen.high.is_idle() && forecasts.high.raise >= SELDOM
            }
            Side::Low => {
                let far = is_far(side, reading.glucose, levels.low.limit, SPEED_MAX);
                let idle = foreseen.low.is_idle() && foreseen.very_low.is_idle();
                far && idle && forecasts.low.raise.min(forecasts.very_low.raise) >= SELDOM
            }
        }
    }

    /// Few readings make anything likely, or end what was.
    #[cold]
    fn take_up(&mut self, turn: &mut Turn, outlook: &Outlook, chance: Option<Chance>) {
        let Some(foresight) = self.state.foreseen.of_mut(outlook.condition) else { return };
        let mut taken = std::mem::take(foresight);
        self.may_come(turn, outlook, &mut taken, chance);
        if let Some(place) = self.state.foreseen.of_mut(outlook.condition) {
            *place = taken;
        }
    }

    /// A reading is beyond the limit: what was foreseen is there.
    fn has_come(turn: &mut Turn, outlook: &Outlook, foresight: &mut Foresight) {
        let Some(open) = foresight.open.take() else { return };
        foresight.thread = Some(open.thread());
        let reason = Reason::CameTrue { limit: outlook.limit, since: open.since };
        turn.tell(What::Ended, outlook.condition, open.id, open.part_of, reason, false);
    }

    /// No reading beyond the limit: one that stood long enough is over, and another may be raised.
    fn may_come(&mut self, turn: &mut Turn, outlook: &Outlook, foresight: &mut Foresight, chance: Option<Chance>) {
        let at = outlook.measured;
        if self.side(outlook.side).root().is_none() {
            foresight.thread = None;
        }
        // After a clock was set back what lies ahead is as far off as what is long past.
        let apart = |last: Timestamp, span| at < last || at - last >= span;
        let long_ago = |last: Option<Timestamp>, span| last.is_none_or(|last| apart(last, span));
        if let Some(open) = foresight.open.take_if(|open| apart(open.since, STANDS)) {
            let reason = Reason::DidNotCome { limit: outlook.limit, since: open.since };
            turn.tell(What::Ended, outlook.condition, open.id, open.part_of, reason, false);
        }
        let anew =
            foresight.open.is_none() && long_ago(foresight.raised, STANDS) && long_ago(foresight.beyond, AFTER_BEYOND);
        let louder = foresight.open.is_some_and(|open| !open.rang && !open.seen);
        let Some(chance) = chance.filter(|_| anew || louder) else { return };
        let sounds_from = foresight.tally.sounds_from(&outlook.policy);
        let silent = if chance >= sounds_from { self.why_silent(turn, outlook, foresight) } else { None };
        let rings = chance >= sounds_from && silent.is_none();
        let mut open = foresight.open.unwrap_or_else(|| self.new_forecast(outlook));
        if anew || rings {
            let reason = Reason::Likely(Likely {
                limit: outlook.limit,
                by: at + HORIZON,
                chance,
                sounds_from,
                moved: sounds_from != outlook.policy.sound,
                noted: self.noted_lately(at),
                came: foresight.tally.came(rings),
            });
            let what = if anew { What::Raised } else { What::Repeated };
            turn.tell(what, outlook.condition, open.id, open.part_of, reason, rings);
        }
        if anew {
            foresight.raised = Some(at);
            foresight.tally.wait_for(at, rings);
        } else if rings {
            foresight.tally.rings_now();
        }
        if let Some(reason) = silent.filter(|_| !open.withheld) {
            turn.tell(What::Withheld, outlook.condition, open.id, open.part_of, reason, false);
            open.withheld = true;
        }
        if rings {
            (open.rang, open.by, foresight.rang) = (true, at + HORIZON, Some(at));
        }
        foresight.open = Some(open);
    }

    fn new_forecast(&mut self, outlook: &Outlook) -> Forecast {
        let (id, part_of) = (self.take_id(), self.foreseen_thread(outlook.side));
        let (since, by) = (outlook.measured, outlook.measured + HORIZON);
        Forecast { id, part_of, since, by, rang: false, seen: false, withheld: false }
    }

    /// Why one that is sure enough does not ring, if it does not.
    fn why_silent(&self, turn: &Turn, outlook: &Outlook, foresight: &Foresight) -> Option<Reason> {
        let at = outlook.measured;
        if let Some(rang) = foresight.rang.filter(|rang| *rang <= at && at - *rang < RINGS_APART) {
            return Some(Reason::RangLately { rang });
        }
        let worse = self.state.foreseen.very_low.open.filter(|worse| worse.rang);
        if outlook.condition == Condition::ForecastLow && worse.is_some() {
            return Some(Reason::WorseActive { worse: Condition::ForecastVeryLow });
        }
        let milder = [Condition::Low, Condition::High].into_iter().find(|level| level.side() == Some(outlook.side));
        let rang = |active: &Active| {
            active.told == Told::Rang && active.told_at.is_some_and(|told| turn.now - told < AFTER_LEVEL)
        };
        if let Some(level) = milder.filter(|level| self.state.active(*level).is_some_and(rang)) {
            return Some(Reason::WorseActive { worse: level });
        }
        let looks = match outlook.side {
            Side::Low => self.state.timers.due(Timer::LowLook).filter(|_| self.state.low_care.is_some()),
            Side::High => None,
        };
        if let Some(next) = looks {
            return Some(Reason::LookComes { next });
        }
        turn.holds(outlook.policy.rings, priority::of_forecast(outlook.condition))
    }

    fn noted_lately(&self, at: Timestamp) -> Option<Timestamp> {
        self.state.foreseen.noted.filter(|noted| *noted <= at && at - *noted < LESS_SURE)
    }

    /// Food and insulin make what is foreseen less sure.
    pub(super) fn remember_what_moves(&mut self, note: &Note) {
        if matches!(note.kind, Kind::Insulin(_) | Kind::Carbohydrate(_)) {
            self.state.foreseen.noted = self.state.foreseen.noted.max(Some(note.at));
        }
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
        let root = self.side(side).root().map(|root| root.part_of.unwrap_or(root.id));
        let mut foreseen = self.state.foreseen.on(side);
        root.or_else(|| foreseen.find_map(|foresight| foresight.thread.or(foresight.open.map(|open| open.thread()))))
    }

    /// The forecast of that condition, if one stands.
    #[must_use]
    pub fn forecast(&self, condition: Condition) -> Option<&Forecast> {
        self.state.foreseen.of(condition).and_then(|foresight| foresight.open.as_ref())
    }

    /// The forecasts that stand and have rung, the worst first.
    pub(super) fn rung_forecasts(&self) -> impl Iterator<Item = (Condition, &Forecast)> {
        let all = Condition::FORECASTS.into_iter();
        all.filter_map(|condition| Some((condition, self.forecast(condition).filter(|open| open.rang)?)))
    }

    /// The wearer did something about what was foreseen on that side: it rings no more.
    pub(super) fn forecasts_are_treated(&mut self, side: Side) {
        for (condition, foresight) in self.state.foreseen.all_mut() {
            if condition.side() == Some(side)
                && let Some(open) = &mut foresight.open
            {
                open.seen = true;
            }
        }
    }

    /// The settings no longer want them.
    pub(super) fn drop_forecasts_switched_off(&mut self, turn: &mut Turn) {
        let forecasts = self.policy.forecasts;
        for (condition, foresight) in self.state.foreseen.all_mut() {
            let off = forecasts.of(condition).is_none_or(|policy| policy.rings == Rings::Never);
            if let Some(open) = foresight.open.take_if(|_| off) {
                turn.tell(What::Ended, condition, open.id, open.part_of, Reason::ConditionGone, false);
            }
        }
    }
}
