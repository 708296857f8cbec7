//! The lowest value of a low: it is what it was over any life, its words say it with its time, and it moves no look.

use super::life::{Life, MIDNIGHT, one_sensor};
use super::swings::swings;
use recheck::domain::glucose::Glucose;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Audience, Decision, Side, What};
use recheck::engine::event::{Event, Which};
use recheck::engine::nadir::Lowest;
use recheck::engine::reason::Reason;
use recheck::outbox::plan::{Address, Addresses, Order, plan};
use recheck::wording::Voice;
use recheck::wording::reason::line;
use recheck::wording::text::text;

/// Its first reading comes five minutes after that hour.
fn at_hour(hour: i64) -> Life {
    Life::new(one_sensor(), MIDNIGHT + Span::hours(hour) + Span::minutes(5))
}

/// A minute after the last reading.
fn treats(life: &mut Life) -> Timestamp {
    let at = life.now - Span::minutes(4);
    life.happens(&Event::Treated { which: Some(Which::Side(Side::Low)), at, look: None }, at);
    at
}

fn asked(life: &Life) -> Vec<&(Timestamp, Decision)> {
    life.told.iter().filter(|(_, one)| one.what == What::Prompt && one.rings).collect()
}

/// Every look that found it still low, whether it rang or was spared because it rises (promise L2).
fn found(life: &Life) -> Vec<&(Timestamp, Decision)> {
    life.told.iter().filter(|(_, one)| one.what == What::Look && lowest(one).is_some()).collect()
}

fn lowest(decision: &Decision) -> Option<Lowest> {
    if let Reason::StillLow { lowest, .. } = decision.reason { lowest } else { None }
}

/// Each low of wandering lives is treated a few minutes after it began. Every look tells the lowest reading since then
/// or of the episode before it, and asks for a finger-prick where that is below 54; looks come every quarter of an hour
/// whatever it was.
#[test]
fn every_look_tells_the_lowest_reading_of_its_low() {
    let (mut looks, mut pricks, mut plain) = (0, 0, 0);
    for seed in 1..=7 {
        let values = swings(seed, 10 * 288);
        let mut life = at_hour(0);
        let (mut treated, mut episode): (Option<Timestamp>, Option<(Timestamp, Timestamp)>) = (None, None);
        let mut from = MIDNIGHT;
        let mut read: Vec<(Timestamp, i32)> = Vec::new();
        for value in values {
            let (before, now) = (life.told.len(), life.now);
            life.reads([value]);
            read.push((now, value));
            if value < 70 {
                let goes_on = episode.filter(|(_, last)| now - *last < Span::minutes(25));
                episode = Some((goes_on.map_or(now, |(first, _)| first), now));
            }
            for (at, decision) in life.told[before..].iter().filter(|(_, one)| one.what == What::Prompt) {
                let Reason::StillLow { lowest, treated: what, .. } = decision.reason else { continue };
                let Some(lowest) = lowest else { panic!("seed {seed}: {decision:?}") };
                looks += 1;
                // Up to two minutes early, where something else rings then (promise O1).
                assert!([0, 13, 14].contains(&((*at - what.at).as_minutes() % 15)), "seed {seed}: {decision:?}");
                assert_eq!(Some(what.at), treated);
                let of_it = read.iter().filter(|(measured, _)| (from..=*at).contains(measured));
                let least = of_it.map(|(_, value)| *value).min().unwrap();
                assert_eq!(lowest.value.hundredths(), least * 100, "seed {seed}: at {at:?} {decision:?}");
                let is_low = decision.glucose.unwrap().hundredths() < 7_000;
                assert_eq!(lowest.prick, least < 54 && is_low, "seed {seed}: {decision:?}");
                pricks += usize::from(lowest.prick);
                plain += usize::from(!lowest.prick);
                let said = text(decision, life.engine.policy(), *at);
                assert_eq!(said.title.contains("inger-prick"), lowest.prick, "{said:?}");
                assert!(said.title.chars().count() <= 60 && !said.title.ends_with("..."), "{said:?}");
            }
            if life.engine.snapshot().plan.low().is_none() {
                treated = None;
            }
            let open = life.engine.snapshot().register.root(Side::Low).is_some();
            if value < 70 && open && treated.is_none() {
                treated = Some(treats(&mut life));
                from = episode.unwrap().0;
            }
        }
    }
    assert!(looks > 200 && pricks > 50 && plain > 50, "{looks} looks, {pricks} ask for a finger-prick, {plain} do not");
}

fn body(life: &Life, place: usize) -> String {
    let (at, decision) = found(life)[place];
    text(decision, life.engine.policy(), *at).body
}

#[test]
fn a_rise_is_no_order_to_wait_and_its_reason_is_behind_why() {
    let mut day = at_hour(11);
    day.reads([58, 57, 57]);
    treats(&mut day);
    day.reads([56, 62, 69]);
    day.reads([74]);
    assert_eq!(asked(&day).len(), 0, "one ring is spared");
    assert_eq!(
        body(&day, 0),
        "Follow your plan; if it says to treat again, press Treated. Still low, +12 in 15 min; next check 11:46."
    );
    let (at, decision) = found(&day)[0];
    assert_eq!(
        line(decision, Voice::new(day.engine.policy(), *at)),
        "recheck_low looked on 69 mg/dL at 11:30 (slowly rising): still low, lowest 56 at 11:20, 11 min before (lows \
         like it: back after about 12 min); treated at 11:16, next check 11:46"
    );
    // Later than lows like it.
    let mut late = at_hour(11);
    late.reads([60, 58, 56]);
    treats(&mut late);
    late.reads([60, 65, 69, 74]);
    let (at, decision) = found(&late)[0];
    let why = line(decision, Voice::new(late.engine.policy(), *at));
    assert!(why.contains("lowest 56 at 11:15, 16 min before (lows like it: back after about 12 min)"), "{why}");
}

#[test]
fn a_very_low_one_takes_longer_by_night_and_asks_for_a_finger_prick() {
    for (hour, minutes) in [(11, 19), (2, 27)] {
        let mut life = at_hour(hour);
        life.reads([58, 54, 50]);
        treats(&mut life);
        life.reads([52, 58, 66, 74]);
        let (at, decision) = found(&life)[0];
        let said = text(decision, life.engine.policy(), *at);
        assert_eq!(said.title, format!("Rising, still low 66, {hour:02}:30. Finger-prick, by your plan"));
        let why = line(decision, Voice::new(life.engine.policy(), *at));
        let known = format!(
            "lowest 50 at {hour:02}:15, 16 min before (lows like it: back after about {minutes} min); below 54 and not \
             back, so a finger-prick is asked for"
        );
        assert!(why.contains(&known), "{why}");
        assert_eq!(lowest(decision).and_then(|lowest| lowest.usual), Some(Span::minutes(minutes)));
        for word in ["safe", "normal", " g ", "units"] {
            assert!(!said.body.contains(word), "{said:?}");
        }
        // A way that shows no value says what to do.
        let of = Audience::Wearer;
        let channels = vec![Address { name: "wrist".to_owned(), of, later: false, discreet: true }];
        let addresses = Addresses { channels, mark: None, life: String::new() };
        let rings = Decision { what: What::Prompt, rings: true, ..decision.clone() };
        let sent = plan(&rings, 1, &addresses, life.engine.policy(), *at);
        let Some(Order::Send(messages)) = sent else { panic!("{sent:?}") };
        assert_eq!(messages[0].title, "Do a finger-prick");
    }
}

/// What an older version saved holds no lowest value: the looks go on without.
#[test]
fn a_care_without_it_goes_on() {
    let mut life = at_hour(11);
    life.reads([58, 54, 50]);
    treats(&mut life);
    let mut saved = serde_json::to_value(life.engine.snapshot()).unwrap();
    saved["plan"]["checks"][0]["low"].as_object_mut().unwrap().remove("lowest").unwrap();
    saved["last_low"].as_object_mut().unwrap().remove("lowest").unwrap();
    life.engine = Engine::restore(one_sensor(), serde_json::from_value(saved).unwrap());
    life.reads([56, 58, 60]);
    life.reads([62]);
    let (_, decision) = asked(&life)[0];
    assert_eq!(lowest(decision).map(|lowest| lowest.value), Some(Glucose::mg_dl(56)));
}
