//! A scanned sensor with a small memory: when to ask for a scan, so that nothing is lost and nobody wakes
//! for it, and what was lost when none came.

use super::Engine;
use super::bedtime::{LATE_MAX_MIN, Memory};
use super::effect::{Condition, Id, What};
use super::plan::Job;
use super::policy::SourceKind;
use super::reason::{Call, Reason};
use super::source::SourceState;
use super::turn::Turn;
use crate::domain::local::Stretch;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// The last call comes this long before the memory is full.
const LAST_CALL_MIN: i64 = 30;

/// Ahead of the night: the first call, and the last.
const BEFORE_NIGHT_MIN: i64 = 30;
const LAST_BEFORE_NIGHT_MIN: i64 = 5;

/// A scan younger than this is not asked for again only because the night comes.
const JUST_SCANNED_MIN: i64 = 60;

/// A scan that was noted should be exported within this.
const EXPORT_MIN: i64 = 30;

/// Values this much older than a noted scan may be all that it read: they are stored every 15 minutes.
const OF_SCAN_MIN: i64 = 20;

/// A break between two stored values longer than this is a hole.
const HOLE_MIN: i64 = 35;

/// The calls for one scan.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Scan {
    /// Watched since then; the memory is counted from it until something is read.
    from: Option<Timestamp>,
    /// A scan the wearer noted, and whose values have not come yet.
    noted: Option<Timestamp>,
    /// The number of the calls for it, once there was one.
    id: Option<Id>,
    /// When it was last called for.
    asked: Option<Timestamp>,
    /// When the line before sleep asked for it.
    #[serde(default)]
    before_sleep: Option<Timestamp>,
}

impl SourceState {
    /// Is a scan called for under that number?
    pub(super) fn is_called_for(&self, id: Id) -> bool {
        self.scan.id == Some(id)
    }
}

impl Scan {
    /// The clock was set: spans since what was seen on it keep their length.
    pub(super) fn shift(&mut self, by: Span) {
        for at in [&mut self.from, &mut self.noted, &mut self.asked, &mut self.before_sleep].into_iter().flatten() {
            *at = *at + by;
        }
    }
}

/// What is known of the next scan.
struct Calls {
    /// The last scan, or what stands for it.
    last: Timestamp,
    /// When the memory is full.
    full: Timestamp,
    /// All calls, in no order.
    due: Vec<(Timestamp, Call)>,
}

impl Engine {
    /// Plans the next call; none for a source that needs none.
    pub(super) fn plan_scan(&mut self, now: Timestamp, source: SourceId) {
        let next = self.scan_calls(now, source).map(|calls| calls.due);
        let after = self.source(source).scan.asked;
        let next = next.and_then(|calls| {
            calls.into_iter().map(|(at, _)| at).filter(|at| after.is_none_or(|after| *at > after)).min()
        });
        match next {
            Some(at) => self.state.plan.set(Job::Scan(source), at.max(now)),
            None => self.state.plan.stop(Job::Scan(source)),
        }
    }

    /// Watching begins: what was never read is counted from now.
    pub(super) fn watch_memory(&mut self, now: Timestamp, source: SourceId) {
        self.source(source).scan.from.get_or_insert(now);
        self.plan_scan(now, source);
    }

    /// A call is due.
    pub(super) fn call_for_scan(&mut self, turn: &mut Turn, source: SourceId) {
        let Some(Calls { last, full, due }) = self.scan_calls(turn.now, source) else { return };
        if turn.night.inside {
            // Put off by sleep or a clock that was set: nobody wakes to scan.
            self.state.plan.set(Job::Scan(source), turn.night.until);
            return;
        }
        let after = self.source(source).scan.asked;
        let due = due.into_iter().filter(|(at, _)| *at <= turn.now && after.is_none_or(|after| *at > after));
        if let Some((_, call)) = due.max_by_key(|(_, call)| *call) {
            let id = match self.source(source).scan.id {
                Some(id) => id,
                None => self.take_id(),
            };
            let scan = &mut self.source(source).scan;
            (scan.id, scan.asked) = (Some(id), Some(turn.now));
            turn.judged = None;
            turn.tell(What::Prompt, Condition::Scan, id, None, Reason::ScanDue { call, last, full }, true);
        }
        self.plan_scan(turn.now, source);
    }

    /// Values came, the newest measured then. A scan noted well after it is still to be exported.
    pub(super) fn values_of_scan(&mut self, turn: &mut Turn, source: SourceId, newest: Timestamp) {
        let noted = self.source(source).scan.noted.filter(|noted| *noted - newest > Span::minutes(OF_SCAN_MIN));
        self.scan_is_done(turn, source, noted);
    }

    /// Values came, or a scan was noted: the calls for it are over.
    pub(super) fn scan_is_done(&mut self, turn: &mut Turn, source: SourceId, noted: Option<Timestamp>) {
        if self.kind(source) != SourceKind::Scanned {
            return;
        }
        let scan = &mut self.source(source).scan;
        scan.noted = noted;
        (scan.asked, scan.before_sleep) = (None, None);
        if let Some(id) = scan.id.take() {
            turn.tell(What::Ended, Condition::Scan, id, None, Reason::Scanned, false);
        }
        self.plan_scan(turn.now, source);
    }

    /// The wearer scanned; the values come with the next export.
    pub(super) fn scan_noted(&mut self, turn: &mut Turn, at: Timestamp) {
        for source in self.numbers() {
            if self.source(source).newest.is_none_or(|newest| newest < at) {
                self.scan_is_done(turn, source, Some(at));
            }
        }
    }

    /// Holes that a scan after a full memory left. `rows` are new and in order; `known` is the last before.
    pub(super) fn record_lost(
        &mut self,
        turn: &mut Turn,
        source: SourceId,
        known: Option<Timestamp>,
        rows: &[Reading],
    ) {
        if self.kind(source) != SourceKind::Scanned {
            return;
        }
        let (Some(known), Some(newest)) = (known, rows.last()) else { return };
        let memory = self.sensor(source).memory;
        let hole = Span::minutes(HOLE_MIN).max(self.source(source).cadence().times(5, 2));
        let mut before = known;
        for reading in rows.iter().filter(|reading| reading.measured > known) {
            // What the memory still held at the scan is not lost: it was not measured.
            let out_of_memory = newest.measured - before > memory;
            if out_of_memory && reading.measured - before > hole {
                turn.judged = None;
                let reason = Reason::Lost { from: before, to: reading.measured };
                turn.tell(What::Told, Condition::Scan, Id(0), None, reason, false);
            }
            before = reading.measured;
        }
    }

    /// The last scan, when the memory is full, and all calls for the next one in no order.
    fn scan_calls(&mut self, now: Timestamp, source: SourceId) -> Option<Calls> {
        if self.kind(source) != SourceKind::Scanned || self.source(source).session.is_stopped() {
            return None;
        }
        let sensor = self.sensor(source);
        let state = self.source(source);
        let warm = state.session.started().map(|started| started + sensor.warm_up);
        let Scan { noted, asked, before_sleep, .. } = state.scan;
        let newest = state.newest;
        let last = [state.scan.from.filter(|_| newest.is_none()), newest, noted, warm].into_iter().flatten().max()?;
        let full = last + sensor.memory;
        let night = |at: Timestamp| self.policy.night.stretch(self.policy.zone, at);
        let just_scanned = last + Span::minutes(JUST_SCANNED_MIN);
        // By night nobody is called: before it when the memory does not last until the morning, else after it.
        let by_day = |at: Timestamp, lead: i64| match night(at) {
            Stretch { inside: false, .. } => Some(at),
            Stretch { until, .. } if full >= until => Some(until),
            Stretch { from, .. } => Some(from - Span::minutes(lead)).filter(|moved| *moved >= just_scanned),
        };
        let mut calls = Vec::new();
        let mut add = |at: Option<Timestamp>, call| calls.extend(at.map(|at| (at, call)));
        add(by_day(last + sensor.memory.times(3, 4), BEFORE_NIGHT_MIN), Call::Soon);
        add(by_day(full - Span::minutes(LAST_CALL_MIN), LAST_BEFORE_NIGHT_MIN), Call::Last);
        let since = asked.unwrap_or(last).max(last);
        // The last call was the last for the day; after that once a day, when the wearer wakes.
        add(Some(end_of_night(night, full.max(since))), Call::Full);
        if sensor.scan_at_waking {
            add(Some(end_of_night(night, since)), Call::Waking);
        }
        if sensor.scan_at_bedtime {
            let mut bedtime = start_of_night(night, since) - Span::minutes(BEFORE_NIGHT_MIN);
            if bedtime < just_scanned.max(since) {
                bedtime = start_of_night(night, start_of_night(night, since)) - Span::minutes(BEFORE_NIGHT_MIN);
            }
            add(Some(bedtime), Call::Bedtime);
        }
        if let Some(noted) = noted.filter(|noted| asked.is_none() && newest.is_none_or(|newest| newest < *noted)) {
            add(by_day(noted + Span::minutes(EXPORT_MIN), 0), Call::Export);
        }
        // With a bedtime in the settings, what would be asked about then is asked by the line before sleep.
        calls.retain(|(at, call)| {
            let about_the_night = matches!(call, Call::Soon | Call::Last | Call::Bedtime);
            let just_asked = before_sleep.is_some_and(|asked| *at - asked <= Span::minutes(LATE_MAX_MIN));
            let comes = || self.next_bedtime(*at).filter(|bedtime| *bedtime - *at <= Span::minutes(LATE_MAX_MIN));
            let is_missed = |bedtime: Timestamp| now - bedtime > Span::minutes(LATE_MAX_MIN);
            let left_to_it = |bedtime| full > bedtime && just_scanned <= bedtime && !is_missed(bedtime);
            !about_the_night || !just_asked && !comes().is_some_and(left_to_it)
        });
        Some(Calls { last, full, due: calls })
    }

    /// What the line before sleep says of a sensor's memory. Where that does not last the night, no fresh value
    /// is there, or the wearer wants it so, it asks for a scan as a call does, unless one was just made.
    pub(super) fn memory_before_sleep(&mut self, turn: &Turn) -> Option<Memory> {
        let morning = end_of_night(|at| self.policy.night.stretch(self.policy.zone, at), turn.now);
        let mut found: Option<Memory> = None;
        for source in self.numbers() {
            let Some(Calls { last, full, .. }) = self.scan_calls(turn.now, source) else { continue };
            let wanted = full < morning || turn.judged.is_none() || self.sensor(source).scan_at_bedtime;
            let scan_now = wanted && turn.now - last >= Span::minutes(JUST_SCANNED_MIN);
            if scan_now {
                let scan = &mut self.source(source).scan;
                (scan.asked, scan.before_sleep) = (Some(turn.now), Some(turn.now));
                self.plan_scan(turn.now, source);
            }
            let memory = Memory { full, scan_now };
            if found.is_none_or(|found| (!memory.scan_now, memory.full) < (!found.scan_now, found.full)) {
                found = Some(memory);
            }
        }
        found
    }
}

/// When the night that comes next, or the one it is now, ends.
pub(super) fn end_of_night(night: impl Fn(Timestamp) -> Stretch, at: Timestamp) -> Timestamp {
    let now = night(at);
    if now.inside { now.until } else { night(now.until).until }
}

/// When the next night begins.
fn start_of_night(night: impl Fn(Timestamp) -> Stretch, at: Timestamp) -> Timestamp {
    let now = night(at);
    if now.inside { night(now.until).until } else { now.until }
}
