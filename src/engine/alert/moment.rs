//! One moment, one ring. What rings for the wearer in one turn is one message, the worst first, and what falls due within
//! the next two minutes is brought forward into it. Two rings are not closer to each other than that, and no more than six
//! come in half an hour. While it is low only what concerns the low rings, and that a high is over is not said then.
//!
//! These always ring: the first ring of a worse level, and whatever is of high priority. Nothing is lost: what does not
//! ring is told in the message that does, or rings later as it is then. Judges no value.

use super::hours::{Held, Kept};
use crate::domain::glucose::Glucose;
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Decision, Id, Priority, Side, What};
use crate::engine::event::Event;
use crate::engine::ketones::reason::KetoneWhy;
use crate::engine::mode::reason::{Asks, Why};
use crate::engine::nadir::VERY_LOW;
use crate::engine::plan::Job;
use crate::engine::reason::Reason;
use crate::engine::recheck_low::TREATED_OFTEN;
use crate::engine::turn::{Judged, Turn};
use serde::{Deserialize, Serialize};

/// What falls due within this is of one moment. Ours, and so are the other two.
pub(in crate::engine) const MOMENT: Span = Span::minutes(2);

/// Who was called within this is not called early. Ours: a step comes five minutes after the one before it.
const CALLED_LATELY: Span = Span::minutes(8);

/// What is no longer of the same moment.
pub(in crate::engine) const NEXT_MOMENT: Span = Span::seconds(121);

/// Without a signal it is low for so long. Ours, as long as the calls of a very low go on.
const LOW_FOR: Span = Span::hours(2);

/// Most rings ...
const RINGS_MAX: usize = 6;

/// ... within this.
const WITHIN: Span = Span::minutes(30);

/// When it rang lately, and what could not.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Moments {
    /// The last ring.
    last: Option<Timestamp>,
    /// What that said.
    said: Option<(What, Condition, Id)>,
    /// Something else than time and readings came since.
    anew: bool,
    /// Those of the last half hour that count.
    rang: Vec<Timestamp>,
    /// What rings later.
    waiting: Kept,
}

impl Moments {
    /// The clock was set: every span keeps its length.
    pub(in crate::engine) fn shift(&mut self, by: Span) {
        self.last = self.last.map(|last| last + by);
        self.rang.iter_mut().for_each(|rang| *rang = *rang + by);
    }

    /// Something else happened than time and readings: what follows from it is a moment of its own.
    pub(in crate::engine) const fn begins(&mut self, event: &Event) {
        self.anew |= !matches!(event, Event::Readings { .. } | Event::Tick);
    }

    /// When the next ring may be that need not be at once; `saying` is what it would say, where that is known.
    fn free_from(&self, now: Timestamp, saying: Option<(What, Condition, Id)>) -> Timestamp {
        // At one and the same instant the same is not said twice, whatever came.
        let twice = saying.is_some() && self.said_at(now) == saying;
        let last = self.last.filter(|_| !self.anew || twice);
        let apart = last.map_or(now, |last| last + NEXT_MOMENT);
        let lately = self.rang.iter().filter(|rang| now - **rang < WITHIN);
        let few =
            if lately.clone().count() < RINGS_MAX { now } else { lately.min().map_or(now, |rang| *rang + WITHIN) };
        apart.max(few)
    }

    /// What rang at this very instant.
    fn said_at(&self, now: Timestamp) -> Option<(What, Condition, Id)> {
        self.said.filter(|_| self.last == Some(now))
    }

    fn note(&mut self, now: Timestamp, said: (What, Condition, Id), counts: bool) {
        (self.last, self.said, self.anew) = (Some(now), Some(said), false);
        self.rang.retain(|rang| now - *rang < WITHIN);
        if counts {
            self.rang.push(now);
        }
    }
}

const fn said(decision: &Decision) -> (What, Condition, Id) {
    (decision.what, decision.condition, decision.id)
}

/// Does it ring for the wearer, where anything can?
fn rings(decision: &Decision) -> bool {
    let none_works = matches!(decision.reason.first(), Reason::ChannelsFail { working: 0, .. });
    decision.rings && decision.to.is_wearer() && !none_works
}

/// Does it ring whatever rang a moment ago: the first ring of a worse level, a very low, an emergency? A low that is
/// none, and rang within the two minutes before, says nothing new.
fn always_rings(decision: &Decision, very_low: Glucose) -> bool {
    let is_worse = matches!(decision.condition, Condition::VeryLow | Condition::Low | Condition::VeryHigh);
    // A low that begins anew, or is there after a silence, is news as the first was.
    let is_news = decision.what == What::Raised
        || decision.condition.side() == Some(Side::Low)
            && matches!(decision.reason, Reason::NewEpisode { .. } | Reason::StillBeyond { .. });
    let is_low = decision.condition.side() == Some(Side::Low);
    let is_very_low = decision.glucose.is_some_and(|glucose| Side::Low.is_beyond(glucose, very_low));
    let is_grave = decision.priority == Priority::High && !is_low && !asks_again(decision);
    is_news && is_worse || is_low && is_very_low || is_grave
}

/// Is the value that it is about very low, in whichever alert or check of it?
fn is_very_low(decision: &Decision) -> bool {
    decision.glucose.is_some_and(|glucose| Side::Low.is_beyond(glucose, VERY_LOW))
}

/// Are ketones to be measured once more?
fn asks_again(decision: &Decision) -> bool {
    matches!(&decision.reason, Reason::Ketones { said: KetoneWhy::Again { .. } })
}

/// The worst of one moment is the largest.
fn gravity(decision: &Decision) -> (u8, Priority, bool, std::cmp::Reverse<u32>) {
    // A question about a rise, or about ketones and pen or set, asks more than that it is high now.
    let stays = matches!(decision.reason, Reason::HighStays(_));
    let asks = decision.condition == Condition::UnnotedRise || stays;
    let priority = if asks { decision.priority.max(Priority::Low) } else { decision.priority };
    // An emergency of ketones is said before a low, but not before a very low; that they are to be measured again is not.
    let danger = match decision.condition {
        Condition::VeryLow => 3,
        condition if condition.side() == Some(Side::Low) && is_very_low(decision) => 3,
        Condition::Ketones if priority == Priority::High && !asks_again(decision) => 2,
        condition if condition.side() == Some(Side::Low) && priority >= Priority::Medium => 1,
        _ => 0,
    };
    let first = asks || Condition::LEVELS.contains(&decision.condition);
    (danger, priority, first, std::cmp::Reverse(if stays { 0 } else { decision.condition.row().order }))
}

/// The place of the worst of those that ring. Of a low its alert says it, and not the check of it, unless that counts
/// treatments.
fn worst(out: &[Decision]) -> Option<usize> {
    let all = || out.iter().enumerate().filter(|(_, one)| rings(one));
    let (place, lead) = all().min_by_key(|(_, one)| std::cmp::Reverse(gravity(one)))?;
    // That it was treated three times is more than that it is low, unless that begins.
    let counts = matches!(lead.reason, Reason::StillLow { treatments, .. } if treatments >= TREATED_OFTEN);
    let is_alert = |one: &Decision| {
        let of_low = matches!(one.condition, Condition::VeryLow | Condition::Low);
        of_low && (!counts || one.what == What::Raised)
    };
    let of_low = all().filter(|(_, one)| lead.condition == Condition::RecheckLow && is_alert(one));
    Some(of_low.min_by_key(|(_, one)| std::cmp::Reverse(gravity(one))).map_or(place, |(place, _)| place))
}

/// Does it concern the low that there is: a low, the signal that shows it, or that nobody hears of it?
fn concerns_low(decision: &Decision) -> bool {
    let of_mode = |said: &Why| {
        matches!(
            said,
            Why::Hold { .. }
                | Why::HoldOver { .. }
                | Why::Look { asks: Asks { driving: true, .. }, .. }
                | Why::Over { mode: Mode::Doubted, .. }
        )
    };
    decision.priority == Priority::High
        || decision.condition.side() == Some(Side::Low)
        || match (decision.condition, decision.reason.first()) {
            (Condition::Gap | Condition::SourceFailed | Condition::TwoSignals | Condition::NotWatching, _)
            | (Condition::ChannelFailed, Reason::ChannelsFail { working: 0, .. })
            | (_, Reason::TreatedBefore { side: Side::Low, .. }) => true,
            (Condition::Mode, Reason::Mode { said }) => of_mode(said),
            (Condition::Ketones, Reason::Ketones { said }) => said.is_grave(),
            _ => false,
        }
}

impl Engine {
    /// Something rings: what falls due within the next two minutes is brought forward, as if its time had come.
    pub(in crate::engine) fn bring_forward(&mut self, turn: &mut Turn) {
        // After a stretch nobody watched, intake catches up before anything is looked at.
        let catches_up = |one: &Decision| one.condition == Condition::NotWatching;
        if !turn.out.iter().any(rings) || turn.out.iter().any(catches_up) {
            return;
        }
        let (now, night, quiet) = (turn.now, turn.night, turn.quiet);
        let mut done: Vec<Job> = Vec::new();
        while let Some((job, due)) = self.state.plan.next_by(now + MOMENT, &done) {
            done.push(job);
            if !self.may_come_early(job, now) {
                continue;
            }
            self.state.plan.stop(job);
            // A check looks at what is fresh now.
            turn.now = if job == Job::LowCheck { now } else { due };
            (turn.night, turn.quiet) = self.hours_around(turn.now);
            self.fire(turn, job);
        }
        (turn.now, turn.night, turn.quiet) = (now, night, quiet);
    }

    /// Deadlines of guarantees are checked when the turn ends; calls for an answered low ring for others alone; and that
    /// nobody answers what rings just now cannot be said yet.
    fn may_come_early(&self, job: Job, now: Timestamp) -> bool {
        let calls = || self.state.register.calls.iter().filter(|calls| !calls.is_answered());
        match job {
            // The last two: until then somebody wants it silent.
            Job::LowLasts
            | Job::HighLasts
            | Job::HighQuestion
            | Job::HighCalls
            | Job::Moment
            | Job::Unmute
            | Job::Digest => false,
            // Nobody else is called twice within minutes for it.
            Job::LowCalls => calls().any(|calls| {
                let lately = calls.called.iter().any(|(_, at)| now - *at < CALLED_LATELY);
                !lately && calls.of_low().is_some_and(|low| !low.rang_within(MOMENT, now))
            }),
            Job::OtherCalls => !calls().any(|calls| calls.of_low().is_none() && now - calls.since < MOMENT),
            _ => true,
        }
    }

    /// What could not ring may now: it does, as it is now, if it still stands.
    pub(in crate::engine) fn ring_what_waited(&mut self, turn: &mut Turn) {
        if self.state.moments.waiting.rings.is_empty() {
            return;
        }
        let free_from = self.state.moments.free_from(turn.now, None);
        if free_from > turn.now {
            return self.state.plan.set(Job::Moment, free_from);
        }
        let low = self.is_low(turn.now);
        let waiting = std::mem::take(&mut self.state.moments.waiting.rings);
        let (may_ring, waits): (Vec<Held>, Vec<Held>) =
            waiting.into_iter().partition(|held| low.is_none() || concerns_low(&held.decision));
        self.state.moments.waiting.rings = waits;
        for held in may_ring {
            let id = held.decision.id;
            let told =
                turn.out.iter().any(|one| rings(one) && one.condition == held.decision.condition && one.id == id);
            if !told && self.still_stands(&held.decision) {
                let decision = self.said_now(turn.now, held);
                turn.out.push(Decision { rings: true, ..decision });
            }
        }
    }

    /// The same, with the value there is now.
    fn said_now(&self, now: Timestamp, mut held: Held) -> Decision {
        let what = held.decision.what;
        self.as_it_is_now(now, &mut held);
        // What rings for the first time is not said as still so.
        let decision = Decision { what, ..held.decision };
        let latest = self.latest_of_sensors(now).or_else(|| self.latest(now));
        match latest.filter(|_| decision.glucose.is_some() && !Condition::LEVELS.contains(&decision.condition)) {
            Some(Judged { glucose, at, rate, .. }) => {
                Decision { glucose: Some(glucose), reading_at: Some(at), rate, ..decision }
            }
            None => decision,
        }
    }

    /// The value of the low there is, if it is one: below the limit, or back and falling while its alert is open.
    fn is_low(&self, now: Timestamp) -> Option<Judged> {
        let limit = self.policy.levels.low.limit;
        let falls = |judged: &Judged| judged.rate.is_some_and(|rate| rate.direction().falls());
        // Until it is back, two readings in a row and not falling, it is low.
        let is_open = self.root(Side::Low).is_some() && self.state.register.began.low_since().is_some();
        let is_low = |judged: &Judged| Side::Low.is_beyond(judged.glucose, limit) || is_open && falls(judged);
        // Nor does it end because nothing has come for a while. One finger-prick that says otherwise ends no low, and no
        // sensor ends at once what a finger-prick says.
        let last = || self.last_known(now).filter(|last| is_open && now - last.at < LOW_FOR);
        self.low_by_meter_now(now)
            .or_else(|| self.lowest_latest(now).filter(is_low))
            .or_else(|| self.lowest_of_sensors(now).filter(is_low))
            .or_else(|| last().filter(is_low))
    }

    /// While it is low the rest waits for its end; that a high is over is not said while a low is looked after.
    pub(in crate::engine) fn wait_for_low(&mut self, turn: &mut Turn) {
        if !turn.out.iter().any(rings) {
            return;
        }
        let is_low_open = self.root(Side::Low).is_some() || self.state.plan.low().is_some();
        if !is_low_open && self.is_low(turn.now).is_none() {
            return;
        }
        let low = self.is_low(turn.now).is_some();
        let ends_high = |one: &Decision| one.what == What::Ended && one.condition.side() == Some(Side::High);
        let mut withheld = Vec::new();
        for decision in turn.out.iter_mut().filter(|one| rings(one)) {
            let (over, waits) = (is_low_open && ends_high(decision), low && !concerns_low(decision));
            if over || waits {
                if !over {
                    self.state.moments.waiting.add(Held { at: turn.now, decision: decision.clone() });
                }
                decision.rings = false;
                withheld.push(Decision { what: What::Withheld, reason: Reason::WhileLow, ..decision.clone() });
            }
        }
        turn.out.extend(withheld);
    }

    /// At the end of a turn: of all that rings the worst does, and says the rest; or all of it waits for its moment.
    pub(in crate::engine) fn ring_once(&mut self, turn: &mut Turn) {
        self.wait_for_low(turn);
        let Some(lead) = worst(&turn.out) else { return };
        let very_low = self.policy.levels.very_low.limit;
        let always = turn.out.iter().any(|one| rings(one) && always_rings(one, very_low));
        let said = said(&turn.out[lead]);
        let free_from = self.state.moments.free_from(turn.now, Some(said));
        let twice = self.state.moments.said_at(turn.now) == Some(said);
        if (!always || twice) && free_from > turn.now {
            return self.wait_for_moment(turn, free_from);
        }
        let (condition, id) = (turn.out[lead].condition, turn.out[lead].id);
        let mut also = Vec::new();
        let others = turn.out.iter_mut().enumerate().filter(|(place, one)| *place != lead && rings(one));
        for (_, other) in others {
            other.rings = false;
            also.push(other.clone());
        }
        let told_with = |one: &Decision| Decision {
            what: What::Withheld,
            reason: Reason::SaidWith { condition, id },
            ..one.clone()
        };
        turn.out.extend(also.iter().map(told_with).collect::<Vec<_>>());
        let graver = also.iter().map(|one| one.priority).max();
        turn.out[lead].priority = turn.out[lead].priority.max(graver.unwrap_or(Priority::Information));
        turn.out[lead].also = also;
        self.state.moments.note(turn.now, said, !always);
        self.remember_rung(&turn.out);
    }

    fn wait_for_moment(&mut self, turn: &mut Turn, until: Timestamp) {
        let mut withheld = Vec::new();
        for decision in turn.out.iter_mut().filter(|one| rings(one)) {
            self.state.moments.waiting.add(Held { at: turn.now, decision: decision.clone() });
            decision.rings = false;
            withheld.push(Decision { what: What::Withheld, reason: Reason::RangJustNow { until }, ..decision.clone() });
        }
        self.high_has_not_rung(turn, until);
        turn.out.extend(withheld);
        self.state.plan.set(Job::Moment, until);
    }
}
