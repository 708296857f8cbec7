//! The states of an alert, lived through in every short story: what follows what is what the table says, all of
//! it and nothing else.

use recheck::config::meant::{Purpose, settings};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::alert::alarm::{AlarmState, FOLLOWS};
use recheck::engine::effect::{Condition, Side};
use recheck::engine::event::{Event, Which};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use std::collections::BTreeSet;

/// 2026-03-02 06:40 UTC: the stories run from the night into the day, and through quiet hours.
const START: Timestamp = Timestamp::from_seconds(1_772_433_600);

/// Events in one story.
const LENGTH: u32 = 5;

const LEVELS: [Condition; 4] = [Condition::VeryLow, Condition::Low, Condition::High, Condition::VeryHigh];

#[derive(Clone, Copy, Debug)]
enum Kind {
    Reads(i32),
    Seen,
    Treated(Side),
    Quiet(Condition),
    HourPasses,
    HighOff,
    HighOn,
}

const KINDS: [Kind; 12] = [
    Kind::Reads(50),
    Kind::Reads(62),
    Kind::Reads(120),
    Kind::Reads(200),
    Kind::Reads(300),
    Kind::Seen,
    Kind::Treated(Side::High),
    Kind::Quiet(Condition::Low),
    Kind::Quiet(Condition::High),
    Kind::HourPasses,
    Kind::HighOff,
    Kind::HighOn,
];

/// Quick levels, so that five events are a whole life.
fn policy(high: &str) -> Policy {
    let sets = [
        "level.low.off_delay=0m",
        "level.very_low.off_delay=0m",
        "level.high.on_delay=0m",
        "level.high.off_delay=0m",
        "level.high.again_quiet=0m",
        "level.low.again_quiet=0m",
        "level.very_high.on_delay=0m",
        "level.very_high.off_delay=0m",
        "quiet.hours=07:10-07:30",
        "level.high.because=a week of fever",
        &format!("level.high.rings={high}"),
    ];
    let sets: Vec<String> = sets.iter().map(|set| (*set).to_owned()).collect();
    let read = settings("", None, &sets, Purpose::Replay, Zone::UTC).unwrap_or_else(|problems| panic!("{problems}"));
    Policy { sources: vec![SourcePolicy::new("sensor", SourceKind::Streaming)], ..read.policy }
}

struct Walk {
    followed: BTreeSet<(AlarmState, AlarmState)>,
    on: Policy,
    off: Policy,
}

impl Walk {
    fn states(engine: &Engine) -> [AlarmState; 4] {
        LEVELS.map(|level| engine.alarm_state(level))
    }

    fn handle(&mut self, engine: &mut Engine, event: &Event, now: Timestamp) {
        let before = Self::states(engine);
        engine.handle(event, now);
        for (before, after) in before.into_iter().zip(Self::states(engine)) {
            if before != after {
                self.followed.insert((before, after));
            }
        }
    }

    fn stories(&mut self, engine: &Engine, now: Timestamp, left: u32) {
        if left == 0 {
            return;
        }
        for kind in KINDS {
            let mut engine = engine.clone();
            let span = if matches!(kind, Kind::HourPasses) { Span::hours(1) } else { Span::minutes(5) };
            let now = now + span;
            while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < now) {
                self.handle(&mut engine, &Event::Tick, deadline);
            }
            let event = match kind {
                Kind::Reads(value) => Event::Readings {
                    rows: vec![Reading { source: SourceId(0), measured: now, glucose: Glucose::mg_dl(value) }],
                    first_sight: false,
                },
                Kind::Seen => Event::Seen { which: None, until: None, by: None },
                Kind::Treated(side) => Event::Treated { which: Some(Which::Side(side)), at: now, look: None },
                Kind::Quiet(condition) => Event::Quiet { span: Span::minutes(15), condition: Some(condition) },
                Kind::HourPasses => Event::Tick,
                Kind::HighOff => Event::PolicyChanged(Box::new(self.off.clone())),
                Kind::HighOn => Event::PolicyChanged(Box::new(self.on.clone())),
            };
            self.handle(&mut engine, &event, now);
            self.stories(&engine, now, left - 1);
        }
    }
}

#[test]
fn what_follows_what_is_what_the_table_says() {
    let (on, off) = (policy("by_day"), policy("never"));
    let mut walk = Walk { followed: BTreeSet::new(), on: on.clone(), off };
    walk.stories(&Engine::new(on), START, LENGTH);
    let table: BTreeSet<(AlarmState, AlarmState)> =
        FOLLOWS.iter().flat_map(|(from, to)| to.iter().map(|to| (*from, *to))).collect();
    let names = |pairs: BTreeSet<&(AlarmState, AlarmState)>| -> Vec<String> {
        pairs.into_iter().map(|(from, to)| format!("{} -> {}", from.name(), to.name())).collect()
    };
    let missing = names(table.difference(&walk.followed).collect());
    let more = names(walk.followed.difference(&table).collect());
    assert!(missing.is_empty() && more.is_empty(), "never seen: {missing:#?}\nnot in the table: {more:#?}");
}
