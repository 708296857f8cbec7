//! A rise that nothing was noted for: held against the rule over any life, and nothing else changes by it.

use super::life::{Life, MIDNIGHT, one_sensor};
use super::swings::swings;
use recheck::domain::diary::Kind;
use recheck::domain::local::Zone;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::effect::{Condition, Decision, Priority, What};
use recheck::engine::policy::{Policy, Rings};
use recheck::engine::reason::Reason;
use recheck::wording::Voice;
use recheck::wording::reason::line;
use recheck::wording::text::text;

fn policy(rings: Rings) -> Policy {
    let mut policy = one_sensor();
    policy.unnoted_rise.rings = rings;
    policy
}

/// Five-minute readings; insulin is noted before the readings of these places.
fn live(policy: Policy, values: &[i32], doses: &[usize]) -> Vec<(Timestamp, Decision)> {
    let mut life = Life::new(policy, MIDNIGHT);
    for (place, value) in values.iter().enumerate() {
        if doses.contains(&place) {
            life.notes(Kind::Insulin(None), life.now);
        }
        life.reads([value]);
    }
    life.told
}

fn place(at: Timestamp) -> usize {
    usize::try_from((at - MIDNIGHT).as_minutes() / 5).unwrap()
}

#[test]
fn what_is_asked_is_by_the_rule_and_changes_nothing_else() {
    let (mut asked, mut withheld) = (0, 0);
    for seed in 1..=6 {
        let values = swings(seed, 10 * 288);
        let doses: Vec<usize> = (0..values.len()).filter(|place| place % 97 == 5).collect();
        let told = live(policy(Rings::ByDay), &values, &doses);
        let of_it = |one: &Decision| {
            // Why one that is asked stands in another message is told beside it.
            let beside = matches!(one.reason, Reason::SaidWith { .. } | Reason::RangJustNow { .. } | Reason::WhileLow);
            one.condition == Condition::UnnotedRise && !beside
        };
        let rises: Vec<_> = told.iter().filter(|(_, one)| of_it(one)).collect();
        let mut before: Option<usize> = None;
        for (at, one) in &rises {
            assert_eq!(one.priority, Priority::Information);
            let now = place(*at);
            if let Some(before) = before {
                // Once for each meal: since the last one it came down by 40 from its highest, or four hours are over; or it began
                // after that was asked, two hours ago or more (promise H11).
                let since = &values[before..=now];
                let mut top = 0;
                let came_down = since.iter().any(|value| {
                    top = top.max(*value);
                    top - value >= 40
                });
                let is_another = match one.reason {
                    Reason::UnnotedRise { since, .. } => place(since) > before && now - before >= 24,
                    _ => now - before >= 24,
                };
                assert!(came_down || now - before >= 48 || is_another, "seed {seed}: {at:?}");
            }
            // What was withheld was not asked, and may be (the promise H11).
            if one.rings {
                before = Some(now);
            }
            if let Reason::UnnotedRise { from, since, none_since, by_night, .. } = one.reason {
                let low = *values[now.saturating_sub(24)..=now].iter().min().unwrap();
                let base = from.hundredths() / 100;
                assert!(values[now] - base >= 80 && base >= low, "seed {seed}: {one:?}");
                assert!(*at - since <= Span::hours(2) && values[place(since)] == base);
                assert_eq!(since - none_since, Span::hours(1));
                let noted = |dose: &&usize| (place(since).saturating_sub(12)..=now).contains(*dose);
                assert!(!doses.iter().any(|dose| noted(&dose)), "seed {seed}: {one:?}");
                let night = policy(Rings::ByDay).night.stretch(Zone::UTC, *at).inside;
                // It may be said in the message of something worse (promise O1).
                let with_it = |other: &Decision| other.rings && other.also.iter().any(|also| also.id == one.id);
                let rings = one.rings || told.iter().any(|(_, other)| with_it(other));
                assert_eq!((by_night, rings), (night, !night), "seed {seed}: {one:?}");
                assert_eq!(one.what, if night { What::Withheld } else { What::Prompt });
                asked += usize::from(!night);
            } else {
                assert_eq!((one.what, one.rings), (What::Withheld, false), "{one:?}");
                withheld += 1;
            }
        }
        // Alerts begin and end alike without it, and others are called as often. What rings with it may bring a look
        // forward by two minutes, and stand in one message with it (promise O1).
        let others = |told: Vec<(Timestamp, Decision)>| -> Vec<(Timestamp, What, Condition)> {
            let told = told.into_iter().filter(|(_, one)| {
                let changes = matches!(one.what, What::Raised | What::Ended | What::Called);
                changes && one.condition.side().is_some() && Condition::LEVELS.contains(&one.condition)
            });
            let mut told: Vec<_> = told.map(|(at, one)| (at, one.what, one.condition)).collect();
            told.dedup();
            told
        };
        assert_eq!(others(told), others(live(policy(Rings::Never), &values, &doses)), "seed {seed}");
    }
    assert!(asked > 10 && withheld > 10, "{asked} asked, {withheld} withheld");
}

#[test]
fn its_words_ask_and_suggest_no_dose() {
    let mut values = vec![110; 12 * 12];
    values.extend((1..=16).map(|step| 110 + step * 85 / 16));
    let told = live(policy(Rings::ByDay), &values, &[0]);
    let (at, one) = told.iter().find(|(_, one)| one.condition == Condition::UnnotedRise).unwrap();
    let policy = policy(Rings::ByDay);
    let said = text(one, &policy, *at);
    assert_eq!(said.title, "Up 85 since 11:55: 195, rising, 13:15. Meal without a dose?");
    assert_eq!(
        said.body,
        "If a dose was taken, note it; if that is not sure, follow your plan: a dose taken twice leads to a low. Neither \
         insulin nor food was noted since 10:55."
    );
    assert_eq!(
        line(one, Voice::new(&policy, *at)),
        "unnoted_rise asked on 195 mg/dL at 13:15 (rising): risen from 110 at 11:55, and neither insulin nor food was \
         noted since 10:55"
    );
}

/// Whoever has noted no insulin for a week is asked no more.
#[test]
fn a_week_without_a_note_is_no_longer_somebody_who_notes() {
    let mut day = vec![110; 144];
    day.extend((1..=16).map(|step| 110 + step * 85 / 16));
    day.extend([195; 12]);
    day.extend([110; 288 - 144 - 16 - 12]);
    let values: Vec<i32> = std::iter::repeat_n(day, 10).flatten().collect();
    let told = live(policy(Rings::ByDay), &values, &[0]);
    let days: Vec<usize> = told
        .iter()
        .filter(|(_, one)| one.condition == Condition::UnnotedRise)
        .map(|(at, _)| place(*at) / 288)
        .collect();
    assert_eq!(days, [0, 1, 2, 3, 4, 5, 6]);
}
