//! `recheck burden`: stories with known numbers, what must always add up, and the command on a store.

use super::properties::{Dice, day};
use super::real::{Recheck, webhook};
use recheck::config::meant::{Purpose, settings};
use recheck::domain::diary::{Kind, Note};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::domain::travel::WallClock;
use recheck::domain::written::{Entry, Written};
use recheck::engine::Engine;
use recheck::engine::effect::{Audience, Condition, Decision, Id, Priority, Side, What};
use recheck::engine::event::{Cause, Which};
use recheck::engine::mode::reason::Why;
use recheck::engine::policy::{Levels, Policy};
use recheck::engine::reason::{PastSpan, Reason};
use recheck::outbox::plan::Addresses;
use recheck::replay::answers::{Act, Action};
use recheck::replay::burden::{Burden, OfCondition};
use recheck::replay::run::run;
use recheck::replay::story::Story;
use recheck::store::Store;
use recheck::store::commit::{Intake, Turn};
use recheck::store::inbox::Said;
use serde_json::Value;

/// A story to be told: readings of 100 every five minutes, if nothing else is said.
struct Tale {
    from: Timestamp,
    until: Timestamp,
    zone: Zone,
    decisions: Vec<(Timestamp, Decision)>,
    actions: Vec<Action>,
    readings: Vec<Reading>,
}

fn at(text: &str) -> Timestamp {
    let whole = if text.len() == 17 { format!("{}:00Z", &text[..16]) } else { text.to_owned() };
    Timestamp::from_millis(chrono::DateTime::parse_from_rfc3339(&whole).unwrap().timestamp_millis())
}

fn reading(measured: Timestamp, mg_dl: i32) -> Reading {
    Reading { source: SourceId(0), measured, glucose: Glucose::mg_dl(mg_dl) }
}

impl Tale {
    fn new(zone: &str, from: &str, until: &str) -> Self {
        let (from, until) = (at(from), at(until));
        let steps = (until - from).as_minutes() / 5;
        let readings = (0..=steps).map(|step| reading(from + Span::minutes(step * 5), 100)).collect();
        let zone = Zone::named(zone).unwrap();
        Self { from, until, zone, decisions: Vec::new(), actions: Vec::new(), readings }
    }

    /// Values from a time on, five minutes apart.
    fn reads(&mut self, from: &str, values: &[i32]) {
        for (step, value) in (0..).zip(values) {
            let measured = at(from) + Span::minutes(5 * step);
            let place = self.readings.partition_point(|reading| reading.measured < measured);
            self.readings[place] = reading(measured, *value);
        }
    }

    fn decides(&mut self, when: &str, what: What, condition: Condition, id: u64) -> &mut Decision {
        let limit = Glucose::mg_dl(if condition == Condition::VeryLow { 54 } else { 70 });
        let reason = match (condition, what) {
            (_, What::Ended) => Reason::BackWithin { since: at(when) },
            (Condition::Gap, _) => Reason::NothingReached { since: None, grave: false },
            (Condition::High, _) => Reason::BeyondLimit { limit: Glucose::mg_dl(180), since: at(when) },
            (_, _) => Reason::BeyondLimit { limit, since: at(when) },
        };
        let decision = Decision {
            what,
            id: Id(id),
            part_of: None,
            condition,
            priority: Priority::Medium,
            rings: what != What::Ended,
            glucose: None,
            reading_at: None,
            rate: None,
            to: Audience::Wearer,
            doubt: None,
            after_low: None,
            insulin: None,
            mode: None,
            also: Vec::new(),
            reason,
        };
        let place = self.decisions.partition_point(|(known, _)| *known <= at(when));
        self.decisions.insert(place, (at(when), decision));
        &mut self.decisions[place].1
    }

    fn acts(&mut self, when: &str, act: Act) {
        self.actions.push(Action { at: at(when), act });
        self.actions.sort_by_key(|action| action.at);
    }

    fn burden(&self) -> Burden {
        self.burden_between(self.from, self.until)
    }

    fn burden_between(&self, from: Timestamp, until: Timestamp) -> Burden {
        let policy = Policy::new(self.zone);
        let mut burden = Burden::default();
        burden.add(&Story {
            from,
            until,
            decisions: &self.decisions,
            actions: &self.actions,
            readings: &self.readings,
            clock: &WallClock::at_home(self.zone),
            night: policy.night,
            levels: &Levels::default(),
        });
        burden
    }
}

fn of(burden: &Burden, condition: Condition) -> OfCondition {
    burden.conditions.get(&condition).cloned().unwrap_or_default()
}

/// By the wearer's clock, an hour ahead of UTC, the night is 23:00 to 07:00. A ring at 23:00 is by night; two
/// within two minutes are one interruption, of the time of the first.
#[test]
fn a_night_goes_over_midnight() {
    let mut tale = Tale::new("Europe/Madrid", "2026-03-10T11:00Z", "2026-03-12T11:00Z");
    for (id, when) in (1..).zip(["2026-03-10T21:59Z", "2026-03-10T22:00Z", "2026-03-11T05:59Z", "2026-03-11T06:00Z"]) {
        tale.decides(when, What::Raised, Condition::Gap, id);
    }
    let burden = tale.burden();
    let gap = of(&burden, Condition::Gap);
    assert_eq!((gap.day, gap.night), (2, 2));
    assert_eq!((burden.day.all, burden.night.all), (1, 1));
    // Of two nights and three days the first and the last day are cut by the period.
    assert_eq!((burden.day.parts(), burden.night.parts()), (1, 2));
    assert_eq!((burden.night.percentile(50), burden.night.percentile(95)), (Some(0), Some(1)));
    assert_eq!((burden.day.percentile(50), burden.day.counted()), (Some(0), 0));
    assert_eq!(burden.watched, Span::hours(48));
}

/// The autumn night is nine hours long and shows 02:30 twice; the spring night is seven.
#[test]
fn a_clock_change_moves_the_night() {
    for (from, until, night, day) in [
        (
            "2026-10-24T11:00Z",
            "2026-10-25T11:00Z",
            &["2026-10-24T21:00Z", "2026-10-25T00:30Z", "2026-10-25T01:30Z", "2026-10-25T05:59Z"][..],
            &["2026-10-24T20:55Z", "2026-10-25T06:05Z"],
        ),
        (
            "2026-03-28T11:00Z",
            "2026-03-29T11:00Z",
            &["2026-03-28T22:00Z", "2026-03-29T04:59Z"][..],
            &["2026-03-28T21:55Z", "2026-03-29T05:05Z"],
        ),
    ] {
        let mut tale = Tale::new("Europe/Madrid", from, until);
        for (id, when) in (1..).zip(night.iter().chain(day)) {
            tale.decides(when, What::Raised, Condition::Gap, id);
        }
        let burden = tale.burden();
        let gap = of(&burden, Condition::Gap);
        let nights = u64::try_from(night.len()).unwrap();
        assert_eq!((gap.night, gap.day), (nights, 2), "{from}");
        assert_eq!((burden.night.parts(), burden.night.counted(), burden.day.all), (1, nights, 2), "{from}");
    }
}

/// A night of which more than half was not watched is no quiet night.
#[test]
fn a_night_that_nobody_watched_does_not_count() {
    let mut tale = Tale::new("UTC", "2026-03-10T12:00Z", "2026-03-12T12:00Z");
    let (from, to) = (at("2026-03-10T23:00Z"), at("2026-03-11T03:00Z"));
    let told = tale.decides("2026-03-11T03:01Z", What::Told, Condition::NotWatching, 0);
    told.reason = Reason::Unwatched { from, to, cause: Cause::Slept };
    assert_eq!(tale.burden().night.parts(), 2, "half of it was watched");
    tale.decisions[0].1.reason = Reason::Unwatched { from, to: to + Span::minutes(5), cause: Cause::Slept };
    let burden = tale.burden();
    assert_eq!(burden.night.parts(), 1);
    assert_eq!(burden.watched, Span::minutes(44 * 60 - 5));
    // No reading between 23:00 and 03:00 is the same as nobody watching.
    tale.decisions.clear();
    tale.readings.retain(|reading| reading.measured <= from || reading.measured > to);
    assert_eq!(tale.burden().night.parts(), 1);
}

#[test]
fn alerts_open_at_the_end_are_counted_as_what_they_are() {
    let mut tale = Tale::new("UTC", "2026-03-10T00:00Z", "2026-03-12T00:00Z");
    tale.decides("2026-03-09T20:00Z", What::Raised, Condition::High, 1);
    tale.decides("2026-03-11T20:00Z", What::Raised, Condition::Gap, 2);
    tale.decides("2026-03-11T19:59Z", What::Raised, Condition::Gap, 3);
    tale.decides("2026-03-11T12:00Z", What::Raised, Condition::Low, 4);
    // The engine began anew: nobody knows when the last low ended.
    tale.decides("2026-03-11T18:00Z", What::Raised, Condition::Low, 5);
    // Ended before the period: none of it.
    tale.decides("2026-03-09T10:00Z", What::Raised, Condition::VeryLow, 6);
    tale.decides("2026-03-09T23:00Z", What::Ended, Condition::VeryLow, 6);
    let burden = tale.burden();
    let counts = |condition| {
        let of = of(&burden, condition);
        [of.open_before, of.raised, of.ended, of.open, of.end_unknown, of.standing, of.stale, of.returned]
    };
    assert_eq!(counts(Condition::High), [1, 0, 0, 1, 0, 1, 1, 0]);
    // Four hours to the minute is not more than four hours.
    assert_eq!(counts(Condition::Gap), [0, 2, 0, 2, 0, 1, 0, 0]);
    assert_eq!(counts(Condition::Low), [0, 2, 0, 1, 1, 2, 0, 0]);
    assert_eq!(counts(Condition::VeryLow), [0; 8]);
    assert_eq!(burden.rings(), 4, "what rang before the period does not count");
}

#[test]
fn an_answer_is_counted_for_what_it_answers() {
    let mut tale = Tale::new("UTC", "2026-03-10T00:00Z", "2026-03-11T00:00Z");
    for (id, when) in (1..).zip([8, 10, 12, 16, 18]) {
        tale.decides(&format!("2026-03-10T{when:02}:00Z"), What::Raised, Condition::Low, id);
        tale.decides(&format!("2026-03-10T{when:02}:50Z"), What::Ended, Condition::Low, id);
    }
    tale.decides("2026-03-10T23:45Z", What::Raised, Condition::Low, 6);
    tale.acts("2026-03-10T08:05Z", Act::Treated(Some(Which::Side(Side::Low))));
    tale.acts("2026-03-10T10:21Z", Act::Carbohydrate);
    // Neither of these is about the low of 12:00, and what is about it comes after four hours.
    tale.acts("2026-03-10T12:05Z", Act::Treated(Some(Which::Side(Side::High))));
    tale.acts("2026-03-10T12:06Z", Act::Seen(Some(Id(99))));
    tale.acts("2026-03-10T12:07Z", Act::Sensor);
    tale.acts("2026-03-10T16:20Z", Act::Seen(Some(Id(4))));
    tale.acts("2026-03-10T18:00Z", Act::Meter);
    let burden = tale.burden();
    let low = of(&burden, Condition::Low);
    // 5, 21, none, 20 and 0 minutes; the ring of 23:45 is too fresh.
    assert_eq!((low.asked, low.acted, low.fresh), (5, 3, 1));
    assert_eq!(low.answered_within(40), Some(Span::minutes(5)));
    assert_eq!(low.answered_within(50), Some(Span::minutes(20)));
    assert_eq!(low.answered_within(80), Some(Span::minutes(21)));
    assert_eq!(low.answered_within(95), None);
    // A meter check treats nothing, and the low of 12:00 returned before anybody said a word about it.
    assert_eq!((low.returned, low.returned_unacknowledged), (5, 2));
}

#[test]
fn what_only_tells_asks_for_no_answer() {
    let mut tale = Tale::new("UTC", "2026-03-10T00:00Z", "2026-03-11T00:00Z");
    let span = PastSpan {
        condition: Condition::Low,
        limit: Glucose::mg_dl(70),
        from: at("2026-03-10T01:00Z"),
        to: at("2026-03-10T02:00Z"),
    };
    tale.decides("2026-03-10T12:00Z", What::Told, Condition::WhileAway, 0).reason =
        Reason::Past { spans: vec![span], more: 0 };
    tale.decides("2026-03-10T13:00Z", What::Ended, Condition::RecheckLow, 2).rings = true;
    // The log says it, no way was left to ring by.
    tale.decides("2026-03-10T14:00Z", What::Raised, Condition::ChannelFailed, 3).reason =
        Reason::ChannelsFail { working: 0, words: Vec::new() };
    let burden = tale.burden();
    assert_eq!(burden.rings(), 2);
    assert!(burden.conditions.values().all(|of| of.asked + of.fresh == 0));
}

#[test]
fn raised_again_within_half_an_hour_and_cleared_at_once() {
    let mut tale = Tale::new("UTC", "2026-03-10T00:00Z", "2026-03-11T00:00Z");
    tale.decides("2026-03-10T08:00Z", What::Raised, Condition::Low, 1);
    tale.decides("2026-03-10T09:00Z", What::Ended, Condition::Low, 1);
    tale.decides("2026-03-10T09:30Z", What::Raised, Condition::Low, 2);
    tale.decides("2026-03-10T10:30Z", What::Ended, Condition::Low, 2);
    tale.decides("2026-03-10T11:01Z", What::Raised, Condition::Low, 3);
    tale.decides("2026-03-10T11:00Z", What::Raised, Condition::VeryLow, 4);
    tale.decides("2026-03-10T12:00Z", What::Raised, Condition::Gap, 5);
    tale.decides("2026-03-10T12:10Z", What::Ended, Condition::Gap, 5);
    tale.decides("2026-03-10T14:00Z", What::Raised, Condition::Gap, 6);
    tale.decides("2026-03-10T14:11Z", What::Ended, Condition::Gap, 6);
    tale.reads("2026-03-10T08:00Z", &[69, 70]);
    tale.reads("2026-03-10T09:30Z", &[65, 69]);
    // The next reading comes after a silence.
    tale.reads("2026-03-10T11:00Z", &[53]);
    let silent = at("2026-03-10T11:01Z")..at("2026-03-10T11:25Z");
    tale.readings.retain(|reading| !silent.contains(&reading.measured));
    let burden = tale.burden();
    let low = of(&burden, Condition::Low);
    assert_eq!((low.raised, low.re_raised, low.cleared_at_next), (3, 1, 1));
    assert_eq!(of(&burden, Condition::VeryLow).cleared_at_next, 0);
    let gap = of(&burden, Condition::Gap);
    assert_eq!((gap.raised, gap.re_raised, gap.cleared_at_next), (2, 0, 1));
}

#[test]
fn a_wake_is_needless_when_all_came_right_by_itself() {
    let mut tale = Tale::new("UTC", "2026-03-10T00:00Z", "2026-03-11T00:00Z");
    let lows = [
        // Back after ten minutes, and for good.
        ("2026-03-10T00:00Z", &[65, 68, 70][..], true),
        // Back only after twenty.
        ("2026-03-10T01:00Z", &[65, 66, 67, 68, 72], false),
        // Back, and low again within three quarters of an hour.
        ("2026-03-10T02:00Z", &[65, 72, 75, 75, 75, 75, 75, 75, 75, 69], false),
        // Back, and the wearer had done something.
        ("2026-03-10T03:00Z", &[65, 72], false),
        // Back by day: no wake.
        ("2026-03-10T07:00Z", &[65, 72], false),
    ];
    for (id, (when, values, _)) in (1..).zip(lows) {
        tale.decides(when, What::Raised, Condition::Low, id);
        tale.reads(when, values);
    }
    tale.acts("2026-03-10T03:15Z", Act::Carbohydrate);
    // Above 54 again is not back within range.
    tale.decides("2026-03-10T04:00Z", What::Raised, Condition::VeryLow, 20);
    tale.reads("2026-03-10T04:00Z", &[53, 60, 60, 60, 72]);
    tale.decides("2026-03-10T05:00Z", What::Raised, Condition::Gap, 21);
    tale.decides("2026-03-10T05:15Z", What::Ended, Condition::Gap, 21);
    // One interruption with two rings, of which one was needed.
    tale.decides("2026-03-10T06:00Z", What::Told, Condition::NotWatching, 0);
    tale.decides("2026-03-10T06:01Z", What::Raised, Condition::Gap, 22);
    let burden = tale.burden();
    let needless = u64::try_from(lows.iter().filter(|(.., needless)| *needless).count()).unwrap();
    assert_eq!(of(&burden, Condition::Low).needless, needless);
    assert_eq!(of(&burden, Condition::VeryLow).needless, 0);
    assert_eq!(of(&burden, Condition::Gap).needless, 1);
    assert_eq!(of(&burden, Condition::NotWatching).needless, 1);
    assert_eq!((burden.night.all, burden.needless_wakes), (7, 2));
}

#[test]
fn more_than_three_alerts_in_ten_minutes_are_a_flood() {
    let mut tale = Tale::new("UTC", "2026-03-10T00:00Z", "2026-03-11T00:00Z");
    for (id, minute) in [(1, 0), (2, 3), (3, 6), (4, 10), (5, 13)] {
        tale.decides(&format!("2026-03-10T12:{minute:02}Z"), What::Raised, Condition::Gap, id);
    }
    // Four rings about three alerts; four alerts in eleven minutes.
    for (id, minute) in [(1, 0), (1, 3), (2, 6), (3, 10)] {
        tale.decides(&format!("2026-03-10T14:{minute:02}Z"), What::Repeated, Condition::Gap, id);
    }
    for (id, minute) in [(1, 0), (2, 3), (3, 6), (4, 11)] {
        tale.decides(&format!("2026-03-10T16:{minute:02}Z"), What::Repeated, Condition::Gap, id);
    }
    let burden = tale.burden();
    assert_eq!((burden.floods, burden.in_flood, burden.rings()), (1, 5, 13));
}

/// Over made-up days with made-up answers: every sum holds, and a period cut in two rings as often as the whole.
#[test]
fn counts_add_up() {
    let mut seen = OfCondition::default();
    for seed in 0..100 {
        let rows = day(seed);
        let mut tale = Tale::new("UTC", "2026-03-02T00:00Z", "2026-03-03T00:00Z");
        tale.until = rows.last().unwrap().measured + Span::millis(1);
        tale.readings = rows.iter().map(|row| Reading { measured: row.measured, ..reading(tale.from, 0) }).collect();
        for (reading, row) in tale.readings.iter_mut().zip(&rows) {
            reading.glucose = row.glucose;
        }
        run(Policy::new(Zone::UTC), &rows, |at, decision| tale.decisions.push((at, decision.clone())));
        let mut dice = Dice(seed);
        let acts = [Act::Seen(None), Act::Treated(None), Act::Insulin, Act::Carbohydrate, Act::Meter, Act::Sensor];
        for _ in 0..dice.roll(40) {
            let at = tale.from + Span::minutes(dice.roll(1_440));
            let act = acts[usize::try_from(dice.roll(6)).unwrap()];
            tale.actions.push(Action { at, act });
        }
        tale.actions.sort_by_key(|action| action.at);
        let burden = tale.burden();
        let rang = tale.decisions.iter().filter(|(_, decision)| decision.rings).count();
        assert_eq!(burden.rings(), u64::try_from(rang).unwrap(), "seed {seed}");
        assert_eq!(burden.conditions.values().map(|of| of.day + of.night).sum::<u64>(), burden.rings());
        for (condition, of) in &burden.conditions {
            let held = [
                of.asked + of.fresh <= of.day + of.night,
                of.acted <= of.asked,
                of.needless <= of.night,
                of.open_before + of.raised == of.ended + of.open + of.end_unknown,
                of.end_unknown == 0,
                of.re_raised <= of.raised && of.cleared_at_next <= of.raised,
                of.stale <= of.standing && of.standing <= of.open_before + of.raised,
                of.returned <= of.ended && of.returned_unacknowledged <= of.returned,
            ];
            assert_eq!(held, [true; 8], "seed {seed}: {condition:?} {of:?}");
            seen.acted += of.acted;
            seen.needless += of.needless;
            seen.returned_unacknowledged += of.returned_unacknowledged;
            seen.standing += of.standing;
            seen.cleared_at_next += of.cleared_at_next;
        }
        for interruptions in [&burden.day, &burden.night] {
            assert_eq!(interruptions.by_priority.iter().sum::<u64>(), interruptions.counted(), "seed {seed}");
            assert!(interruptions.counted() <= interruptions.all, "seed {seed}");
        }
        assert!(burden.day.all + burden.night.all <= burden.rings(), "seed {seed}");
        assert!(burden.needless_wakes <= burden.night.all, "seed {seed}");
        assert!(burden.floods * 4 <= burden.in_flood && burden.in_flood <= burden.rings(), "seed {seed}");
        let middle = tale.from + Span::minutes(dice.roll(1_440));
        let halves = [tale.burden_between(tale.from, middle), tale.burden_between(middle, tale.until)];
        let sum = |count: &dyn Fn(&OfCondition) -> u64| {
            halves.iter().flat_map(|half| half.conditions.values()).map(count).sum::<u64>()
        };
        let whole = |count: &dyn Fn(&OfCondition) -> u64| burden.conditions.values().map(count).sum::<u64>();
        let counts: [&dyn Fn(&OfCondition) -> u64; 7] = [
            &|of| of.day,
            &|of| of.night,
            &|of| of.needless,
            &|of| of.raised,
            &|of| of.re_raised,
            &|of| of.ended,
            &|of| of.returned_unacknowledged,
        ];
        for (place, count) in counts.iter().enumerate() {
            assert_eq!(sum(count), whole(count), "seed {seed}: count {place} of two halves");
        }
    }
    let all = [seen.acted, seen.needless, seen.returned_unacknowledged, seen.standing, seen.cleared_at_next];
    assert!(all.iter().all(|n| *n > 0), "the days hold too little: {all:?}");
}

/// A store as a daemon leaves it, and what the command says of it.
#[test]
fn the_command_counts_what_the_store_holds() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let refused = recheck.say(&["burden"]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("hint: start watching"), "{refused:?}");

    std::fs::create_dir_all(recheck.state()).unwrap();
    let mut store = Store::open(&recheck.state()).unwrap();
    let engine = Engine::new(settings("", None, &[], Purpose::Replay, Zone::UTC).unwrap().policy);
    let addresses = Addresses { channels: Vec::new(), mark: None, life: "life".to_owned() };
    let mut tale = Tale::new("UTC", "2026-03-02T00:00Z", "2026-03-12T00:00Z");
    // Before the ten days that are asked for: open until within them.
    tale.decides("2026-03-01T20:00Z", What::Raised, Condition::High, 1);
    tale.decides("2026-03-02T03:00Z", What::Ended, Condition::High, 1);
    tale.decides("2026-03-04T12:00Z", What::Raised, Condition::Low, 2);
    tale.decides("2026-03-04T13:00Z", What::Ended, Condition::Low, 2);
    tale.decides("2026-03-06T02:00Z", What::Raised, Condition::VeryLow, 3).priority = Priority::High;
    tale.decides("2026-03-06T03:00Z", What::Ended, Condition::VeryLow, 3);
    tale.decides("2026-03-08T12:00:30Z", What::Raised, Condition::Low, 4);
    tale.reads("2026-03-06T02:00Z", &[50; 12]);
    let last = reading(tale.until - Span::millis(1), 100);
    let mut commit = |at: Timestamp, decisions: &[Decision], readings: Vec<Reading>| {
        let intake = Intake { readings, source: Some(SourceId(0)), ..Intake::default() };
        let turn = Turn {
            at,
            event: None,
            state: engine.snapshot(),
            policy: engine.policy(),
            decisions,
            intake: Some(&intake),
            answer: None,
        };
        store.commit(&turn, &addresses).unwrap();
    };
    commit(tale.from - Span::hours(24), &[], vec![reading(tale.from - Span::hours(24), 100)]);
    for (at, decision) in &tale.decisions {
        commit(*at, std::slice::from_ref(decision), Vec::new());
    }
    tale.readings.push(last);
    commit(last.measured, &[], tale.readings.clone());
    let note = Note { at: at("2026-03-04T12:10:30Z"), kind: Kind::Carbohydrate(None), words: String::new() };
    store.say(at("2026-03-04T12:40:00Z"), &Said::Noted(note)).unwrap();
    // Written without seconds, in the minute of the ring: an answer to it.
    let line = Written { at: at("2026-03-08T12:00Z"), what: Entry::Seen };
    let whence = "diary.csv: line 2".to_owned();
    store.say(at("2026-03-08T12:02:00Z"), &Said::Written { line, whence }).unwrap();
    drop(store);

    let said = |arguments: &[&str]| {
        let done = recheck.say(arguments);
        assert!(done.status.success(), "{done:?}");
        String::from_utf8(done.stdout).unwrap()
    };
    let zone = ["burden", "--days", "10", "--json"];
    let all: Value = serde_json::from_str(&said(&zone)).unwrap();
    assert_eq!(all["hours"], 240.0);
    assert_eq!((&all["hours_watched"], &all["too_little_data"]), (&Value::from(240.0), &Value::from(false)));
    assert_eq!((all["rings"].as_u64(), all["rings_by_priority"]["high"].as_u64()), (Some(3), Some(1)));
    let low = &all["conditions"]["low"];
    assert_eq!((low["asked"].as_u64(), low["acted"].as_u64(), low["open"].as_u64()), (Some(2), Some(2), Some(1)));
    assert_eq!((low["answer_s_p50"].as_u64(), low["answer_s_p95"].as_u64()), (Some(29), Some(630)));
    let very_low = &all["conditions"]["very_low"];
    assert_eq!((very_low["rings_by_night"].as_u64(), very_low["answer_s_p50"].as_u64()), (Some(1), None));
    assert_eq!(very_low["returned_unacknowledged"], 1);
    let high = &all["conditions"]["high"];
    assert_eq!([&high["open_before"], &high["ended"], &high["raised"], &high["standing"]], [1, 1, 0, 1]);

    let text = said(&["burden", "--days", "10"]);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    for line in [
        "low                   2        0        0        2    100 %        0       11\n",
        "very_low              0        1        0        1      0 %     none     none\n",
        "High priority: 1 of 3 rings, 33 %: more than 5 %\n",
        "10.0 days, of which 10.0 were watched; night 23:00-07:00\n",
    ] {
        assert!(text.contains(line), "{line}{text}");
    }
    assert!(!text.contains("too little data"), "{text}");
    // Documented keys are the keys there are.
    let document = include_str!("../docs/burden.md");
    let keys = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    for key in [keys(&all), keys(low), keys(&all["interruptions_by_day"])].concat() {
        assert!(document.contains(&format!("| `{key}` |")), "docs/burden.md lacks {key}");
    }
    let little = said(&["burden", "--days", "2"]);
    assert!(little.contains("too little data: fewer than 3 watched days\n"), "{little}");
    assert_eq!(recheck.say(&["burden", "--days", "0"]).status.code(), Some(2));
}

/// A caution is back above the limit that it rang for, not above low; one that ended because nothing asks for it any
/// more has not returned. What is told of modes asks for nothing.
#[test]
fn a_caution_is_counted_by_its_own_limit() {
    let mut tale = Tale::new("UTC", "2026-03-09T12:00Z", "2026-03-10T12:00Z");
    let limit = Glucose::mg_dl(80);
    for (id, when, values) in
        [(1, "2026-03-10T01:00Z", &[78, 79, 79, 79, 79, 84][..]), (2, "2026-03-10T03:00Z", &[78, 79, 84])]
    {
        let raised = tale.decides(when, What::Raised, Condition::Caution, id);
        raised.reason = Reason::BeyondLimit { limit, since: at(when) };
        tale.reads(when, values);
    }
    tale.decides("2026-03-10T02:00Z", What::Ended, Condition::Caution, 1);
    let ended = tale.decides("2026-03-10T04:00Z", What::Ended, Condition::Caution, 2);
    ended.reason = Reason::Mode { said: Why::NothingAsks };
    let until = Some(at("2026-03-10T10:45Z"));
    let told = tale.decides("2026-03-10T10:00Z", What::Told, Condition::Mode, 3);
    told.reason = Reason::Mode { said: Why::Hold { limit, until } };
    let burden = tale.burden();
    let caution = of(&burden, Condition::Caution);
    assert_eq!((caution.night, caution.needless), (2, 1));
    assert_eq!((caution.ended, caution.returned), (2, 1));
    assert_eq!((of(&burden, Condition::Mode).day, of(&burden, Condition::Mode).asked), (1, 0));
}
