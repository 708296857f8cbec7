//! Properties over many made-up days: order and doubles change nothing, restarts change nothing, hysteresis
//! never chatters, replay decides what living decides.

use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision, What};
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::formats::encoding::Encoding;
use recheck::formats::rows::Row;
use recheck::formats::wanted::Wanted;
use recheck::replay::run::{put_in_order, run};

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
