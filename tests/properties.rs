//! Properties over many made-up days: order and doubles change nothing, restarts change nothing, hysteresis
//! never chatters, replay decides what living decides.

use recheck::domain::diary::{Kind, Note};
use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::{Hours, Zone};
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::schedule::Schedule;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::alert::Alert;
use recheck::engine::effect::{Audience, Condition, Decision, Id, Priority, Side, What};
use recheck::engine::event::{Cause, Event, Trusted, Which};
use recheck::engine::policy::{Line, PersonPolicy, Policy, SourceKind, SourcePolicy, StepPolicy, Tells, Ways, Whom};
use recheck::engine::reason::Reason;
use recheck::engine::recheck_low::TREATED_OFTEN;
use recheck::engine::{Engine, State};
use recheck::formats::encoding::Encoding;
use recheck::formats::rows::Row;
use recheck::formats::wanted::Wanted;
use recheck::replay::run::{put_in_order, run};
use recheck::wording::text::text;
use std::collections::BTreeSet;

/// 2026-03-02 00:00 UTC.
const START: Timestamp = Timestamp::from_seconds(1_772_409_600);

/// A small generator, so that a failure can be told by its seed (Knuth's MMIX constants).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn roll(&mut self, sides: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i64::try_from((self.0 >> 33) % u64::try_from(sides).unwrap()).unwrap()
    }

    pub(crate) fn shuffle<T>(&mut self, all: &mut [T]) {
        for place in (1..all.len()).rev() {
            all.swap(place, usize::try_from(self.roll(i64::try_from(place).unwrap() + 1)).unwrap());
        }
    }
}

/// A day of readings that wander through all levels, with gaps.
pub(crate) fn day(seed: u64) -> Vec<Row> {
    let mut dice = Dice(seed);
    let (mut value, mut drift) = (120_i64, 0_i64);
    let mut at = START;
    let mut rows = Vec::new();
    for _ in 0..288 {
        drift = (drift + dice.roll(7) - 3).clamp(-12, 12);
        value = (value + drift).clamp(40, 380);
        at = at + Span::minutes(if dice.roll(60) == 0 { 45 } else { 5 });
        rows.push(Row { measured: at, glucose: Glucose::mg_dl(i32::try_from(value).unwrap()) });
    }
    rows
}

fn policy() -> Policy {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("replay", SourceKind::Streaming)];
    policy
}

fn lived(rows: &[Row]) -> Vec<(Timestamp, Decision)> {
    let mut told = Vec::new();
    run(policy(), rows, |at, decision| told.push((at, decision.clone())));
    told
}

#[test]
fn shuffled_and_doubled_rows_are_the_same_life() {
    for seed in 0..50 {
        let rows = day(seed);
        let mut dice = Dice(seed ^ 0xabcd);
        let mut mixed: Vec<Row> = rows.iter().chain(rows.iter().step_by(3)).copied().collect();
        dice.shuffle(&mut mixed);
        put_in_order(&mut mixed);
        assert_eq!(lived(&mixed), lived(&rows), "seed {seed}");
    }
}

#[test]
fn one_batch_in_any_order_is_the_same_batch() {
    for seed in 0..200 {
        let rows: Vec<Reading> = day(seed)
            .into_iter()
            .map(|row| Reading { source: SourceId(0), measured: row.measured, glucose: row.glucose })
            .collect();
        let now = rows.last().unwrap().measured + Span::minutes(1);
        let mut mixed = rows.clone();
        Dice(seed).shuffle(&mut mixed);
        let mut straight = Engine::new(policy());
        let mut other = Engine::new(policy());
        let said = straight.handle(&Event::Readings { rows, first_sight: false }, now);
        assert_eq!(other.handle(&Event::Readings { rows: mixed, first_sight: false }, now), said, "seed {seed}");
        assert_eq!(straight.snapshot(), other.snapshot(), "seed {seed}");
    }
}

#[test]
fn living_with_restarts_and_extra_ticks_decides_what_replay_decides() {
    for seed in 0..50 {
        let rows = day(seed);
        let mut dice = Dice(seed ^ 0x5eed);
        let mut engine = Engine::new(policy());
        let mut told = Vec::new();
        for row in &rows {
            while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < row.measured) {
                told.extend(engine.handle(&Event::Tick, deadline).into_iter().map(|decision| (deadline, decision)));
            }
            if dice.roll(3) == 0 {
                // An extra tick just before the reading does nothing.
                let early = row.measured - Span::millis(1);
                assert!(engine.handle(&Event::Tick, early).is_empty(), "seed {seed}");
            }
            if dice.roll(4) == 0 {
                let saved = serde_json::to_string(engine.snapshot()).unwrap();
                engine = Engine::restore(policy(), serde_json::from_str(&saved).unwrap());
            }
            let reading = Reading { source: SourceId(0), measured: row.measured, glucose: row.glucose };
            let event = Event::Readings { rows: vec![reading], first_sight: false };
            told.extend(engine.handle(&event, row.measured).into_iter().map(|decision| (row.measured, decision)));
        }
        assert_eq!(told, lived(&rows), "seed {seed}");
    }
}

/// A model much simpler than the engine: between two raisings of one level the values must have been past
/// the deadband for the off-delay.
#[test]
fn hysteresis_never_chatters() {
    let levels = policy().levels;
    let mut raised_twice = 0;
    for seed in 0..200 {
        let rows = day(seed);
        for (condition, low) in
            [(Condition::Low, true), (Condition::VeryLow, true), (Condition::High, false), (Condition::VeryHigh, false)]
        {
            let level = levels.of(condition).unwrap();
            let (limit, deadband) = (level.limit.hundredths(), level.deadband.hundredths());
            let back = |row: &Row| {
                let value = row.glucose.hundredths();
                if low { value >= limit + deadband } else { value <= limit - deadband }
            };
            let raised: Vec<Timestamp> = lived(&rows)
                .iter()
                .filter(|(_, decision)| decision.what == What::Raised && decision.condition == condition)
                .map(|(at, _)| *at)
                .collect();
            for pair in raised.windows(2) {
                raised_twice += 1;
                let between: Vec<&Row> =
                    rows.iter().filter(|row| row.measured > pair[0] && row.measured < pair[1]).collect();
                let calm = between.split(|row| !back(row)).any(|calm| {
                    let (first, last) = (calm.first(), calm.last());
                    first.zip(last).is_some_and(|(first, last)| {
                        last.measured - first.measured + Span::minutes(1) >= level.off_delay
                    })
                });
                assert!(calm, "seed {seed}, {condition:?}: raised at {pair:?} without having been back");
            }
        }
    }
    assert!(raised_twice > 100, "the days hardly ever raise a level twice: {raised_twice}");
}

#[test]
fn any_cut_of_the_text_gives_the_same_rows() {
    for seed in 0..50 {
        let mut text = String::new();
        for row in day(seed) {
            text.push_str(&Zone::UTC.wall(row.measured).format("%Y-%m-%dT%H:%M:%S").to_string());
            text.push(';');
            text.push_str(&row.glucose.shown(Unit::MgDl, None));
            text.push_str(if seed % 2 == 0 { "\n" } else { "\r\n" });
        }
        let headed = format!("time;glucose\n{text}");
        let dialect = Wanted::anything(Zone::UTC).sniff(headed.as_bytes(), Encoding::Utf8, None).unwrap();
        let whole = dialect.rows(text.as_bytes(), 2, None).rows;
        assert_eq!(whole, day(seed), "seed {seed}");
        let mut dice = Dice(seed);
        let (mut rest, mut pieces, mut after) = (text.as_str(), Vec::new(), None);
        while !rest.is_empty() {
            let lines = usize::try_from(dice.roll(20)).unwrap() + 1;
            let cut = rest.match_indices('\n').nth(lines - 1).map_or(rest.len(), |(at, _)| at + 1);
            let found = dialect.rows(&rest.as_bytes()[..cut], 2, after);
            after = found.last.or(after);
            pieces.extend(found.rows);
            rest = &rest[cut..];
        }
        assert_eq!(pieces, whole, "seed {seed}");
    }
}

/// Zones with whole, half and quarter hours, with and without clock changes.
const ZONES: [&str; 6] =
    ["UTC", "Europe/Madrid", "America/New_York", "Asia/Kathmandu", "Australia/Lord_Howe", "America/St_Johns"];

/// 2026-03-27 and 2026-10-23, 00:00 UTC: days before clocks change in most of those zones.
const BEFORE_CHANGES: [i64; 2] = [1_774_569_600, 1_792_713_600];

/// Any settings that may be written: nights of all lengths, one to three sources of any kind.
pub(crate) fn any_policy(dice: &mut Dice) -> Policy {
    let zone = ZONES[usize::try_from(dice.roll(6)).unwrap()];
    let mut policy = Policy::new(Zone::named(zone).unwrap());
    policy.unit = [Unit::MgDl, Unit::MmolL][usize::try_from(dice.roll(2)).unwrap()];
    let from = dice.roll(1_440);
    let length = [1, 1_439, 1 + dice.roll(1_439), 480][usize::try_from(dice.roll(4)).unwrap()];
    let clock = |minute: i64| format!("{:02}:{:02}", minute % 1_440 / 60, minute % 60);
    policy.night = Hours::parse(&format!("{}-{}", clock(from), clock(from + length))).unwrap();
    for place in 0..=dice.roll(3) {
        let kind = [SourceKind::Scanned, SourceKind::Scanned, SourceKind::Streaming, SourceKind::History]
            [usize::try_from(dice.roll(4)).unwrap()];
        let mut source = SourcePolicy::new(&format!("source-{place}"), kind);
        source.sensor.memory = Span::minutes(60 + dice.roll(47 * 60 + 1));
        source.sensor.scan_at_bedtime = dice.roll(2) == 0;
        source.sensor.scan_at_waking = dice.roll(2) == 0;
        source.sensor.warm_up = Span::minutes(dice.roll(24 * 60 + 1));
        source.sensor.life = (dice.roll(2) == 0).then(|| Span::hours(24 + dice.roll(696)));
        policy.sources.push(source);
    }
    for (name, line) in [("sam", Line::First), ("kim", Line::Escalation), ("lee", Line::First)] {
        let hours = (dice.roll(2) == 0).then(|| Schedule::parse("mon-fri 08:00-16:00; sat 22:00-07:00").unwrap());
        let tells = Tells { lows: dice.roll(2) == 0, highs: dice.roll(2) == 0, gaps: dice.roll(2) == 0 };
        policy.people.push(PersonPolicy { name: name.to_owned(), hours, line, tells });
    }
    let all = &mut policy.escalation;
    for steps in [&mut all.high, &mut all.medium, &mut all.low, &mut all.information] {
        (steps.by_day, steps.by_night) = (any_steps(dice), any_steps(dice));
        steps.every = Span::minutes(1 + dice.roll(700));
    }
    if dice.roll(2) == 0 {
        let from = dice.roll(1_440);
        let days = ["mon-fri ", "sat,sun ", ""][usize::try_from(dice.roll(3)).unwrap()];
        let hours = format!("{days}{}-{}", clock(from), clock(from + 1 + dice.roll(600)));
        policy.quiet_hours = Schedule::parse(&hours).unwrap();
    }
    policy
}

fn any_steps(dice: &mut Dice) -> Vec<StepPolicy> {
    let mut after = Span::ZERO;
    (0..dice.roll(4))
        .map(|_| {
            after = after + Span::minutes(1 + dice.roll(40));
            let to = [Whom::Wearer, Whom::Second, Whom::Third][usize::try_from(dice.roll(3)).unwrap()];
            let ways = [Ways::Usual, Ways::All][usize::try_from(dice.roll(2)).unwrap()];
            StepPolicy { after, to, ways, confirmed: dice.roll(2) == 0 }
        })
        .collect()
}

/// Rings that one message may stand for.
fn may_be_of_a_flood(decision: &Decision) -> bool {
    let is_one_already = matches!(
        decision.condition,
        Condition::Morning | Condition::Digest | Condition::OutOfService | Condition::Flood | Condition::Reminder
    ) || matches!(decision.reason, Reason::Answered { .. });
    let asked_for = matches!(decision.reason, Reason::NotComingDown { asked_for: true, .. });
    let by_itself = decision.priority == Priority::High || decision.condition.side() == Some(Side::Low);
    // What a stretch at 250 is owed (the promises H1 to H4, and H7's word) rings whatever keeps others back.
    let is_owed = matches!(decision.reason, Reason::HighStays(_) | Reason::StillHigh { marked: true, .. });
    !is_owed && decision.rings && decision.to.is_wearer() && !is_one_already && !asked_for && !by_itself
}

/// Rings to the wearer of low priority, and information, in quiet hours: only what was asked for, the silence of a
/// sensor, and that somebody else has answered.
fn breaks_quiet_hours(decision: &Decision, policy: &Policy, now: Timestamp) -> bool {
    let all = Schedule::daily(policy.night).with(&policy.quiet_hours);
    let may_ring = match decision.condition {
        Condition::Reminder | Condition::Gap | Condition::Flood => true,
        Condition::RecheckHigh => {
            matches!(decision.reason, Reason::NotComingDown { asked_for: true, .. } | Reason::NoFreshReading { .. })
        }
        _ => false,
    };
    let to_wearer = decision.to.is_wearer() && !matches!(decision.reason, Reason::Answered { .. });
    all.stretch(policy.zone, now).inside && to_wearer && decision.priority <= Priority::Low && !may_ring
}

/// Anything that may happen at an instant.
pub(crate) fn any_event(dice: &mut Dice, policy: &Policy, now: Timestamp) -> Event {
    let number = |dice: &mut Dice| SourceId(u16::try_from(dice.roll(3)).unwrap());
    let value = |dice: &mut Dice| Glucose::mg_dl(i32::try_from(15 + dice.roll(400)).unwrap());
    let name = |dice: &mut Dice| (dice.roll(2) == 0).then(|| format!("source-{}", dice.roll(4)));
    let past = |dice: &mut Dice| {
        now - Span::minutes([0, dice.roll(60), dice.roll(5_000)][usize::try_from(dice.roll(3)).unwrap()])
    };
    let noted = |at: Timestamp, kind: Kind| Event::Noted(Note { at, kind, words: String::new() });
    match dice.roll(20) {
        0..=4 => {
            let source = number(dice);
            let newest = past(dice) + Span::minutes(if dice.roll(9) == 0 { dice.roll(600) } else { 0 });
            let count = [1, 1, 1 + dice.roll(40)][usize::try_from(dice.roll(3)).unwrap()];
            let rows = (0..count)
                .map(|back| Reading { source, measured: newest - Span::minutes(5 * back), glucose: value(dice) })
                .collect();
            Event::Readings { rows, first_sight: dice.roll(9) == 0 }
        }
        5 => noted(past(dice), Kind::Scan),
        6 => noted(past(dice), Kind::SensorStart(name(dice))),
        7 => noted(past(dice), Kind::SensorStop(name(dice))),
        8 => noted(past(dice), Kind::Meter(value(dice))),
        9 => noted(past(dice), Kind::Symptoms),
        10 => Event::Trust(
            [Trusted::Source(number(dice)), Trusted::Near(value(dice)), Trusted::All]
                [usize::try_from(dice.roll(3)).unwrap()],
        ),
        11 => Event::Treated {
            which: [None, Some(Which::Side(Side::Low)), Some(Which::Side(Side::High))]
                [usize::try_from(dice.roll(3)).unwrap()],
            at: past(dice),
            look: (dice.roll(2) == 0).then(|| Span::minutes(1 + dice.roll(300))),
        },
        12 => Event::Seen { which: None, until: None, by: (dice.roll(2) == 0).then(|| "kim".to_owned()) },
        13 => Event::Lost { source: number(dice), words: "gone".to_owned() },
        14 => Event::Refused { source: number(dice), rows: 3, words: "odd".to_owned(), whole_file: dice.roll(2) == 0 },
        15 => Event::PolicyChanged(Box::new(match dice.roll(3) {
            0 => any_policy(dice),
            _ => Policy { zone: Zone::named(ZONES[usize::try_from(dice.roll(6)).unwrap()]).unwrap(), ..policy.clone() },
        })),
        16 => Event::Started,
        17 | 18 => {
            let at = past(dice);
            let said = match dice.roll(3) {
                0 => Event::Treated { which: None, at, look: None },
                1 => Event::Seen { which: None, until: Some(at), by: None },
                _ => noted(
                    at,
                    [Kind::Insulin(None), Kind::SensorStart(name(dice)), Kind::Scan]
                        [usize::try_from(dice.roll(3)).unwrap()]
                    .clone(),
                ),
            };
            Event::Written { said: Box::new(said), whence: "diary.csv: line 2".to_owned() }
        }
        _ => Event::Channels { working: usize::try_from(dice.roll(2)).unwrap(), failing: Vec::new() },
    }
}

/// Weeks of anything, said in either unit: no title is cut but those that tell of a high, a look or a silence
/// that is days old. Every deadline makes progress, what was saved goes on alike, nobody is called for a
/// scan in the night, and one source calls no more than six times a day for one scan.
#[test]
fn any_settings_and_any_weeks_end_every_turn_and_let_everybody_sleep() {
    let (mut called, mut stepped, mut floods) = (0, 0, 0);
    for seed in 0..150 {
        let mut dice = Dice(seed ^ 0x5ca7);
        let mut engine = Engine::new(any_policy(&mut dice));
        let mut now = Timestamp::from_seconds(BEFORE_CHANGES[usize::try_from(dice.roll(2)).unwrap()]);
        // Calls since the last event that may have reset them.
        let mut calls: Vec<Timestamp> = Vec::new();
        // What rang and may be one of a flood, since the clock was last set.
        let mut rang: Vec<(Timestamp, Id, Condition)> = Vec::new();
        let mut turn = |engine: &mut Engine, event: &Event, now: Timestamp| {
            let stored = serde_json::to_string(event).unwrap();
            assert_eq!(serde_json::from_str::<Event>(&stored).unwrap(), *event, "seed {seed}");
            let told = engine.handle(event, now);
            if matches!(event, Event::ClockStepped { .. }) {
                rang.clear();
            }
            rang.extend(told.iter().filter(|one| may_be_of_a_flood(one)).map(|one| (now, one.id, one.condition)));
            let lately = rang.iter().filter(|(at, ..)| now - *at <= Span::minutes(10));
            let lately: BTreeSet<_> = lately.map(|(_, id, condition)| (id, (id.0 == 0).then_some(condition))).collect();
            floods += told.iter().filter(|one| one.condition == Condition::Flood).count();
            let words: Vec<&str> = told.iter().filter(|one| one.rings).map(|one| one.reason.word()).collect();
            assert!(lately.len() <= 3, "seed {seed}: at {now:?} {lately:?} {words:?}");
            let next = engine.next_deadline();
            assert!(next.is_none_or(|next| next > now), "seed {seed}: at {now:?} after {event:?} the next is {next:?}");
            let policy = engine.policy();
            if *event != Event::Tick {
                calls.clear();
            }
            for decision in told.iter().filter(|one| one.rings) {
                let said = text(decision, policy, now);
                let may_be_cut = matches!(
                    decision.reason,
                    Reason::NothingReached { .. }
                        | Reason::StillHigh { .. }
                        | Reason::NightOver { .. }
                        | Reason::QuietHoursOver { .. }
                        | Reason::StillLow { .. }
                        | Reason::NotComingDown { .. }
                        | Reason::ComingDown { .. }
                        | Reason::Back { .. }
                );
                let wrong = said.title.ends_with("...") && !may_be_cut
                    || ["  ", "safe", "all clear"]
                        .iter()
                        .any(|words| said.body.contains(words) || said.title.contains(words));
                assert!(!wrong, "seed {seed}: {said:?}");
                assert!(!breaks_quiet_hours(decision, policy, now), "seed {seed}: at {now:?} {decision:?}");
            }
            // Steps for what is told once ring when these settings say.
            let of_sensor = |one: &&Decision| {
                one.rings
                    && one.what != What::Escalated
                    && one.to.is_wearer()
                    && matches!(one.condition, Condition::Scan | Condition::Sensor)
            };
            for decision in told.iter().filter(of_sensor) {
                let night = policy.night.stretch(policy.zone, now);
                assert!(!night.inside, "seed {seed}: called at {} in {}", policy.zone.rfc3339(now), policy.night);
                if decision.condition == Condition::Scan {
                    calls.push(now);
                    called += 1;
                }
            }
            let day = calls.iter().filter(|at| now - **at < Span::hours(24)).count();
            assert!(day <= 6 * policy.sources.len(), "seed {seed}: {day} calls within a day, at {calls:?}");
            let restored = serde_json::from_str(&serde_json::to_string(engine.snapshot()).unwrap()).unwrap();
            assert_eq!(*engine.snapshot(), restored, "seed {seed}");
        };
        turn(&mut engine, &Event::Started, now);
        for _ in 0..60 {
            let until = now
                + Span::minutes(
                    [dice.roll(10), dice.roll(300), dice.roll(3_000)][usize::try_from(dice.roll(3)).unwrap()],
                );
            if dice.roll(9) == 0 {
                let cause = [Cause::Slept, Cause::Stopped, Cause::Killed][usize::try_from(dice.roll(3)).unwrap()];
                let until = until + Span::minutes(dice.roll(5_000));
                turn(&mut engine, &Event::Unwatched { from: now, to: until, cause }, until);
                now = until;
                continue;
            }
            while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < until) {
                turn(&mut engine, &Event::Tick, deadline);
            }
            now = until;
            if dice.roll(15) == 0 {
                let by = Span::minutes([1, -1][usize::try_from(dice.roll(2)).unwrap()] * (1 + dice.roll(3_000)));
                now = now + by;
                stepped += 1;
                turn(&mut engine, &Event::ClockStepped { by }, now);
            }
            let event = any_event(&mut dice, &engine.policy().clone(), now);
            turn(&mut engine, &event, now);
        }
    }
    assert!(called > 1_000 && stepped > 150 && floods > 50, "{called} calls, {stepped} steps of the clock, {floods}");
}

/// What happens on a day of lows: readings that wander about the limits of the low side with silences, words of
/// the wearer, restarts, sleeps, steps of the clock and other settings. Held at every minute: a level of the
/// low side that is beyond its limit and not answered rings at least every half hour that is watched, however
/// often it is wanted quiet;
/// people are called only where some are set up, never about a value that is back, after an answer only while
/// the value stays, and nobody twice within five minutes.
#[test]
#[expect(clippy::too_many_lines, reason = "one life and all that is held of it")]
fn no_low_that_nobody_answers_falls_silent_and_nobody_is_called_for_nothing() {
    let (mut rings, mut calls, mut after_answers, mut steps) = (0, 0, 0, 0);
    for seed in 0..600 {
        let mut dice = Dice(seed ^ 0x10_0e5);
        let mut settings = policy();
        settings.unit = [Unit::MgDl, Unit::MmolL][usize::try_from(dice.roll(2)).unwrap()];
        settings.name = Some("Maximiliana-Ines".to_owned());
        let people = usize::try_from(dice.roll(3)).unwrap();
        for place in 0..people {
            let hours = (dice.roll(3) == 0).then(|| Schedule::parse("08:00-22:00").unwrap());
            // Some are told at the first ring.
            let line = if seed % 4 == 0 { Line::First } else { Line::Escalation };
            settings.people.push(PersonPolicy { name: format!("p{place}"), hours, line, tells: Tells::default() });
        }
        let mut engine = Engine::new(settings.clone());
        let mut now = START + Span::minutes(dice.roll(1_440));
        engine.handle(&Event::Started, now);
        let (mut value, mut silent_until, mut back_until) = (75_i64, now, now);
        // Since when a ring is owed, in watched time; none while it is not.
        let mut owed: Option<Timestamp> = None;
        let mut called: Vec<(u8, Timestamp)> = Vec::new();
        let mut last: Option<(i64, Timestamp)> = None;
        let mut history: Vec<String> = Vec::new();
        for minute in 0..720 {
            now = now + Span::minutes(1);
            let mut events = Vec::new();
            match dice.roll(if seed % 3 == 0 { 30 } else { 150 }) {
                0 => {
                    let by = (people > 0 && minute % 2 == 0).then(|| "P0".to_owned());
                    events.push(Event::Seen { which: None, until: None, by });
                }
                1 => events.push(Event::Treated { which: Some(Which::Side(Side::Low)), at: now, look: None }),
                2..=4 => events.push(Event::Quiet {
                    span: Span::minutes(1 + dice.roll(30)),
                    condition: [None, Some(Condition::VeryLow), Some(Condition::Low)]
                        [usize::try_from(dice.roll(3)).unwrap()],
                }),
                5 => events.push(Event::QuietOff),
                6 => {
                    let saved = serde_json::to_string(engine.snapshot()).unwrap();
                    engine = Engine::restore(engine.policy().clone(), serde_json::from_str(&saved).unwrap());
                    events.push(Event::Started);
                }
                7 => {
                    let from = now;
                    now = now + Span::minutes(1 + dice.roll(90));
                    // Nobody watched: what is owed then is owed from now on, and a little later after it.
                    owed = owed.map(|_| now + Span::minutes(2));
                    events.insert(0, Event::Unwatched { from, to: now, cause: Cause::Slept });
                }
                8 => {
                    settings.levels.low.limit = Glucose::mg_dl(i32::try_from(65 + dice.roll(10)).unwrap());
                    events.push(Event::PolicyChanged(Box::new(settings.clone())));
                }
                9 => {
                    let by = Span::minutes([1, -1][usize::try_from(dice.roll(2)).unwrap()] * (1 + dice.roll(4)));
                    now = now + by;
                    steps += 1;
                    owed = owed.map(|since| since + by);
                    for (_, at) in &mut called {
                        *at = *at + by;
                    }
                    events.insert(0, Event::ClockStepped { by });
                }
                _ => {}
            }
            if events.is_empty() && minute % 5 == 0 && now >= silent_until {
                // Now and then it is back for a while, and then very low.
                if now >= back_until {
                    value = (value + dice.roll(23) - 11).clamp(40, 95);
                    if dice.roll(40) == 0 {
                        (value, back_until) = (76, now + Span::minutes(20 + dice.roll(40)));
                    }
                } else if back_until - now <= Span::minutes(5) {
                    value = 50;
                }
                let reading = Reading {
                    source: SourceId(0),
                    measured: now,
                    glucose: Glucose::mg_dl(i32::try_from(value).unwrap()),
                };
                events.push(Event::Readings { rows: vec![reading], first_sight: false });
                last = Some((value, now));
                if dice.roll(25) == 0 {
                    silent_until = now + Span::minutes(10 + dice.roll(60));
                }
            }
            events.push(Event::Tick);
            for event in events {
                let told = engine.handle(&event, now);
                if event != Event::Tick || !told.is_empty() {
                    history.push(format!(
                        "{} {event:?} {:?}",
                        Zone::UTC.clock(now),
                        told.iter().map(|one| (one.what, one.condition, one.rings, one.to)).collect::<Vec<_>>()
                    ));
                }
                let from = history.len().saturating_sub(40);
                let tail = || history[from..].join("\n");
                let low = engine.policy().levels.low.limit.hundredths();
                let very_low = engine.policy().levels.very_low.limit.hundredths();
                let of_the_low = |one: &&Decision| matches!(one.condition, Condition::Low | Condition::VeryLow);
                let rang = told.iter().filter(of_the_low).any(|one| one.rings && one.to.is_wearer());
                rings += i32::from(rang);
                for one in told.iter().filter(|one| one.rings && !one.to.is_wearer()) {
                    let said = text(one, engine.policy(), now);
                    assert!(!said.title.ends_with("...") && said.title.chars().count() <= 60, "seed {seed}: {said:?}");
                    let wrong = ["safe", "all clear", " unit", " gram"].iter().any(|words| said.body.contains(words));
                    assert!(!wrong, "seed {seed}: {said:?}");
                }
                for one in told.iter().filter(|one| one.what == What::Called) {
                    let Audience::Person(person) = one.to else { panic!("seed {seed}: called the wearer\n{}", tail()) };
                    assert!(usize::from(person) < people, "seed {seed}: nobody is set up\n{}", tail());
                    let hours = engine.policy().people[usize::from(person)].hours.as_ref();
                    assert!(
                        hours.is_none_or(|hours| hours.stretch(Zone::UTC, now).inside),
                        "seed {seed}: out of hours\n{}",
                        tail()
                    );
                    let before = called.iter().rev().find(|(known, _)| *known == person);
                    assert!(
                        before.is_none_or(|(_, at)| now - *at >= Span::minutes(5)),
                        "seed {seed}: twice\n{}",
                        tail()
                    );
                    called.push((person, now));
                    calls += 1;
                    if one.condition == Condition::Gap {
                        continue;
                    }
                    let known = last.map_or(0, |(value, _)| i32::try_from(value).unwrap() * 100);
                    assert!(known < low, "seed {seed}: called for a value that is back\n{}", tail());
                    let calls = engine.snapshot().register.calls_of_low();
                    if let Some((chain, _)) = calls.filter(|(calls, _)| calls.is_answered()) {
                        after_answers += 1;
                        let rises = one.rate.is_some_and(|rate| rate.direction().rises());
                        let fresh = last.is_some_and(|(_, at)| now - at <= Span::minutes(15));
                        // Whoever was called is called on while it is very low, rising or not, and whoever has it is asked
                        // (promises P1 and P2).
                        let was_called = called.iter().rev().skip(1).any(|(_, at)| *at > chain.since);
                        let goes_on = known < very_low && (was_called || chain.answered_by().is_some());
                        // One that was treated three times and stays calls somebody at its check (promise L3).
                        let often = engine.times_treated() >= TREATED_OFTEN;
                        assert!(!(rises && fresh) || goes_on || often, "seed {seed}: {chain:?} rises\n{}", tail());
                        // That it does not recover is not said before a treatment has its check (promise C1), and whoever
                        // has it is asked first (promise P2).
                        let says = matches!(
                            one.reason,
                            Reason::NotRecovering { .. } | Reason::StillCalled(_) | Reason::HowIsIt { .. }
                        );
                        assert!(says, "seed {seed}\n{}", tail());
                    }
                }
                let state = engine.snapshot();
                let beyond = state.register.of_side(Side::Low).any(Alert::is_beyond);
                let answered = state.register.calls_of_low().is_some_and(|(calls, _)| calls.is_answered());
                // The value that counts is the one beyond the limit there is now.
                let still = last.is_some_and(|(value, _)| i32::try_from(value).unwrap() * 100 < low);
                owed = match owed {
                    _ if !beyond || !still || answered => None,
                    Some(since) if !rang => Some(since),
                    _ => Some(now),
                };
                let waits = owed.map_or(Span::ZERO, |since| now - since);
                assert!(
                    waits <= Span::minutes(30),
                    "seed {seed}: nothing rang for {waits}, {:?}\n{}",
                    state.register.calls,
                    tail()
                );
            }
        }
    }
    assert!(
        rings > 3_000 && calls > 500 && after_answers > 50 && steps > 500,
        "{rings} {calls} {after_answers} {steps}"
    );
}

/// A hundred sources fall silent at the same instant: one turn raises all of them, and the first rings for all.
#[test]
fn as_many_timers_as_there_are_may_fall_due_at_once() {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources =
        (0..100).map(|place| SourcePolicy::new(&format!("source-{place}"), SourceKind::Streaming)).collect();
    let mut engine = Engine::new(policy);
    engine.handle(&Event::Started, START);
    let told = engine.handle(&Event::Tick, START + Span::hours(1));
    let raised = |one: &&Decision| one.condition == Condition::Gap && one.what == What::Raised;
    assert_eq!(told.iter().filter(raised).count(), 100);
    assert_eq!(told.iter().filter(|one| one.rings).count(), 1);
}

/// A clock that was a year ahead when the source was first watched, and is then found: the memory is counted
/// from then all the same, and a start noted by the wrong clock does not put off the alert of a silence.
#[test]
fn a_clock_that_is_set_back_silences_neither_calls_nor_gaps() {
    let mut policy = policy();
    policy.sources.push(SourcePolicy::new("scanned", SourceKind::Scanned));
    let mut engine = Engine::new(policy);
    let noon = START + Span::hours(12);
    let wrong = noon + Span::hours(365 * 24);
    engine.handle(&Event::Started, wrong);
    let note = Note { at: wrong, kind: Kind::SensorStart(Some("replay".to_owned())), words: String::new() };
    engine.handle(&Event::Noted(note), wrong);
    engine.handle(&Event::ClockStepped { by: noon - wrong }, noon);
    let reading = Reading { source: SourceId(0), measured: noon, glucose: Glucose::mg_dl(120) };
    engine.handle(&Event::Readings { rows: vec![reading], first_sight: false }, noon);
    let mut rang = Vec::new();
    while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < noon + Span::hours(9)) {
        let told = engine.handle(&Event::Tick, deadline);
        rang.extend(
            told.into_iter().filter(|one| one.rings).map(|one| (one.condition, (deadline - noon).as_minutes())),
        );
    }
    assert_eq!(rang, [(Condition::Gap, 25), (Condition::Scan, 360), (Condition::Scan, 450)]);
}

/// Fields that the first released form of the state did not have.
const ADDED: [&str; 21] = [
    "off",
    "kept",
    "flood",
    "quiet_hours",
    "because",
    "quiet_longest",
    "two_signals",
    "two_signals_last",
    "trust",
    "good",
    "good_at",
    "judged",
    "echo",
    "arrivals",
    "session",
    "scan",
    "told_at",
    "sensor",
    "until",
    "modes",
    "profiles",
];

fn without_added(value: &mut serde_json::Value) {
    match value {
        serde_json::Value::Object(object) => {
            object.retain(|key, _| !ADDED.contains(&key.as_str()));
            object.values_mut().for_each(without_added);
        }
        serde_json::Value::Array(all) => all.iter_mut().for_each(without_added),
        _ => {}
    }
}

/// A state, its settings and its events as the first released version saved them are read, and go on.
#[test]
fn what_the_first_version_saved_is_read() {
    let file = include_str!("states/v1/27-source-lost-unanswered.json");
    let file: serde_json::Value = serde_json::from_str(file).unwrap();
    let mut saved = serde_json::Value::Array(vec![file["state"].clone(), file["policy"].clone()]);
    let whole = saved.to_string().len();
    without_added(&mut saved);
    assert!(saved.to_string().len() < whole);
    let (state, lived_by) = (saved[0].to_string(), serde_json::from_value(saved[1].take()).unwrap());
    let state = State::read(1, &state).unwrap();
    assert!(state.register.lost(SourceId(0)).is_some(), "the state holds no lost source");
    let mut engine: Engine = Engine::restore(lived_by, state);
    let later = Timestamp::from_millis(file["saved"].as_i64().unwrap());
    let seen: Event = serde_json::from_str(r#"{"seen":{"which":null}}"#).unwrap();
    assert_eq!(engine.handle(&seen, later).len(), 1);
    let reading = Reading { source: SourceId(0), measured: later, glucose: Glucose::mg_dl(50) };
    let told = engine.handle(&Event::Readings { rows: vec![reading], first_sight: false }, later);
    assert!(told.iter().any(|decision| decision.condition == Condition::VeryLow && decision.rings), "{told:?}");
}
