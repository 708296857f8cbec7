//! Forecasts: what they change, and what they leave as it is.

use super::life::{Life, NOON, one_sensor};
use super::swings::swings;
use recheck::domain::diary::{Kind, Note};
use recheck::domain::mode::{Mode, Wish};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::effect::{Audience, Condition, Decision, Doubt, Id, Side, What};
use recheck::engine::event::{Event, Which};
use recheck::engine::forecast::Chance;
use recheck::engine::policy::{Policy, Rings};
use recheck::engine::reason::{Likely, Reason};
use recheck::outbox::plan::{Address, Addresses, Order, plan};
use recheck::wording::Voice;
use recheck::wording::reason::line;
use recheck::wording::text::text;

/// A fall that is foreseen: it rings at 74.
const FALL: [i32; 12] = [128, 127, 126, 125, 124, 123, 122, 112, 103, 95, 86, 74];

fn addresses() -> Addresses {
    let channels = vec![Address { name: "phone".to_owned(), of: Audience::default(), later: false, discreet: false }];
    Addresses { channels, mark: None, life: "t".to_owned() }
}

#[test]
fn low_and_very_low_go_on_in_the_thread_of_what_foresaw_them() {
    let mut life = Life::new(one_sensor(), NOON);
    // Below 60 no forecast covers a low (promise L2).
    life.reads(FALL).reads([59, 57, 50]);
    let foreseen = life.first(What::Raised, Condition::ForecastLow).clone();
    assert!(foreseen.rings);
    for level in [Condition::Low, Condition::VeryLow, Condition::ForecastVeryLow] {
        assert_eq!(life.first(What::Raised, level).part_of, Some(foreseen.id), "{level:?}");
    }
    // The message is replaced, not taken down and sent anew.
    let orders = |decision: &Decision| plan(decision, 1, &addresses(), &one_sensor(), NOON);
    assert_eq!(orders(life.first(What::Ended, Condition::ForecastLow)), None);
    for said in [&foreseen, life.first(What::Raised, Condition::Low), life.first(What::Raised, Condition::VeryLow)] {
        let Some(Order::Send(messages)) = orders(said) else { panic!("{said:?}") };
        assert_eq!(messages[0].thread, Some(foreseen.id));
    }
    life.reads([75, 90, 95, 95, 95, 95, 95, 95, 95, 95, 95, 95]);
    let ended = life.first(What::Ended, Condition::Low).clone();
    assert_eq!(plan(&ended, 1, &addresses(), life.engine.policy(), life.now), Some(Order::Withdraw(foreseen.id)));
}

/// A low that falls fast makes a very low likely: it is said once, by the low.
#[test]
fn a_level_that_rings_speaks_for_what_it_may_become() {
    let mut life = Life::new(one_sensor(), NOON);
    life.reads([128, 127, 126, 125, 124, 110, 94, 78, 62, 57]);
    assert!(life.first(What::Raised, Condition::Low).rings);
    assert!(!life.first(What::Raised, Condition::ForecastVeryLow).rings);
    assert_eq!(life.first(What::Withheld, Condition::ForecastVeryLow).reason.word(), "worse_active");
}

#[test]
fn what_has_not_come_is_taken_down() {
    let mut life = Life::new(one_sensor(), NOON);
    life.reads(FALL).reads([76, 80, 84, 88, 90, 92]);
    let foreseen = life.first(What::Raised, Condition::ForecastLow).clone();
    let ended = life.first(What::Ended, Condition::ForecastLow).clone();
    assert!(matches!(ended.reason, Reason::DidNotCome { .. }));
    assert_eq!(plan(&ended, 1, &addresses(), life.engine.policy(), life.now), Some(Order::Withdraw(foreseen.id)));
}

/// Without forecasts highs and their looks are the same, and every very low rings at the same instant. A low that a
/// forecast rang for may ring a quarter of an hour later, and no later (promise L2).
#[test]
fn forecasts_take_nothing_from_levels_but_a_quarter_of_an_hour_from_a_low() {
    let quiet = |mut policy: Policy, rings: Rings, raise: u8| {
        for forecast in [&mut policy.forecasts.low, &mut policy.forecasts.very_low, &mut policy.forecasts.high] {
            (forecast.rings, forecast.raise, forecast.sound) = (rings, Chance::percent(raise), Chance::percent(raise));
        }
        policy
    };
    let (mut rung, mut later) = (0, 0);
    for seed in 0..12 {
        let values = swings(seed, 10 * 288);
        let mut without = Life::new(quiet(one_sensor(), Rings::Never, 30), NOON);
        without.reads(&values);
        let mut life = Life::new(quiet(one_sensor(), Rings::Always, 50), NOON);
        life.reads(&values);
        rung +=
            life.told.iter().filter(|(_, decision)| decision.condition.foreseen().is_some() && decision.rings).count();
        let of_highs = |life: &Life| -> Vec<_> {
            life.others().into_iter().filter(|(_, _, condition, ..)| condition.side() != Some(Side::Low)).collect()
        };
        assert_eq!(of_highs(&life), of_highs(&without), "seed {seed}");
        let very_lows = |life: &Life| -> Vec<Timestamp> {
            let raised =
                |(_, one): &&(Timestamp, Decision)| one.what == What::Raised && one.condition == Condition::VeryLow;
            life.told
                .iter()
                .filter(raised)
                .map(|(at, one)| {
                    assert!(one.rings);
                    *at
                })
                .collect()
        };
        assert_eq!(very_lows(&life), very_lows(&without), "seed {seed}");
        for (at, one) in
            without.told.iter().filter(|(_, one)| one.what == What::Raised && one.condition == Condition::Low)
        {
            let place = usize::try_from((*at - NOON).as_minutes() / 5).unwrap();
            let stays = values.iter().skip(place).take(4).all(|value| *value < 70);
            let about = |one: &Decision| {
                one.rings && one.condition.side() == Some(Side::Low) && one.condition.foreseen().is_none()
            };
            let after = life.told.iter().filter(|(_, one)| about(one)).map(|(rang, _)| *rang - *at);
            let first = after.filter(|after| (Span::ZERO..=Span::minutes(15)).contains(after)).min();
            assert!(!stays || !one.rings || first.is_some(), "seed {seed}: {at:?}");
            later += usize::from(stays && first.is_some_and(|after| after > Span::ZERO));
        }
    }
    assert!(rung > 500 && later > 0, "only {rung} forecasts rang, and {later} lows later");
}

impl Life {
    fn first(&self, what: What, condition: Condition) -> &Decision {
        let found = self.told.iter().find(|(_, decision)| decision.what == what && decision.condition == condition);
        &found.unwrap_or_else(|| panic!("{what:?} {condition:?} is not among {:?}", self.told)).1
    }

    /// What was decided beside forecasts.
    fn others(&self) -> Vec<(Timestamp, What, Condition, bool, &'static str)> {
        let others = self.told.iter().filter(|(_, decision)| decision.condition.foreseen().is_none());
        others
            .map(|(at, decision)| (*at, decision.what, decision.condition, decision.rings, decision.reason.word()))
            .filter(|(_, _, condition, ..)| !matches!(condition, Condition::Morning))
            .collect()
    }

    fn chances(&mut self, values: &[i32]) -> Vec<[Option<Chance>; 3]> {
        let one = |value: &i32| {
            self.reads([*value]);
            Condition::FORECASTS.map(|condition| self.engine.chance(condition))
        };
        values.iter().map(one).collect()
    }
}

/// Nothing later changes what was foreseen before it.
#[test]
fn scores_on_a_part_are_those_on_the_whole() {
    let values = swings(7, 3 * 288);
    let whole = Life::new(one_sensor(), NOON).chances(&values);
    assert!(whole.iter().flatten().flatten().count() > 300);
    for cut in [1, 2, 5, 100, 411, 640] {
        let mut other = values[..cut].to_vec();
        other.extend(swings(cut as u64, 288));
        assert_eq!(Life::new(one_sensor(), NOON).chances(&values[..cut]), whole[..cut], "{cut}");
        assert_eq!(Life::new(one_sensor(), NOON).chances(&other)[..cut], whole[..cut], "{cut}");
    }
}

#[test]
fn one_forecast_rings_at_most_once_in_an_hour() {
    // Soon after a low, and while a high comes down, one may be told sooner: see docs/behaviour/forecast.md.
    let mut policy = one_sensor();
    (policy.forecasts.after_low, policy.forecasts.landing) = (Chance::percent(99), Chance::percent(99));
    for seed in 0..12 {
        let mut life = Life::new(policy.clone(), NOON);
        life.reads(swings(seed, 10 * 288));
        for condition in Condition::FORECASTS {
            let rang: Vec<Timestamp> = life
                .told
                .iter()
                .filter(|(_, decision)| decision.condition == condition && decision.rings)
                .map(|(at, _)| *at)
                .collect();
            assert!(rang.windows(2).all(|pair| pair[1] - pair[0] >= Span::minutes(60)), "seed {seed}");
        }
    }
}

#[test]
fn one_that_rang_can_be_treated_by_its_number_or_by_eating() {
    let ate = |at| Event::Noted(Note { at, kind: Kind::Carbohydrate(None), words: String::new() });
    for how in 0..3 {
        let mut life = Life::new(one_sensor(), NOON);
        life.reads(FALL);
        let id = life.first(What::Raised, Condition::ForecastLow).id;
        let at = life.now;
        let event = match how {
            0 => Event::Treated { which: Some(Which::Alert(id)), at, look: None },
            1 => Event::Treated { which: None, at, look: None },
            _ => ate(at),
        };
        life.happens(&event, life.now);
        let answer = life.first(What::Answer, Condition::RecheckLow);
        assert_eq!(answer.part_of, Some(id));
        assert!(matches!(answer.reason, Reason::LooksPlanned { .. }), "{how}");
        // The low that comes all the same rings, though not at once: the forecast that was answered covers it for a
        // quarter of an hour (promise L2). So does the look.
        life.reads([68, 66, 65, 64, 63]);
        assert!(!life.first(What::Raised, Condition::Low).rings);
        let about = |one: &Decision| one.rings && matches!(one.condition, Condition::Low | Condition::RecheckLow);
        let rang = life.told.iter().find(|(_, one)| about(one)).unwrap().0;
        assert!(rang <= at + Span::minutes(20), "{rang:?}");
        // It may be said in the message of the low, where both are of one moment (promise O1).
        let look = life.first(What::Prompt, Condition::RecheckLow);
        let said_with = life.told.iter().any(|(_, one)| one.rings && one.also.iter().any(|also| also.id == look.id));
        assert!(look.rings || said_with);
    }
    // One that only was recorded is not what "treated" means.
    let mut silent = one_sensor();
    silent.forecasts.low.sound = Chance::percent(99);
    let mut life = Life::new(silent, NOON);
    life.reads(FALL);
    let id = life.first(What::Raised, Condition::ForecastLow).id;
    let at = life.now;
    life.happens(&Event::Treated { which: None, at, look: None }, life.now);
    assert!(matches!(life.first(What::Answer, Condition::Diary).reason, Reason::WhichOne { .. }));
    life.happens(&Event::Seen { which: Some(id), until: None, by: None }, life.now);
    assert!(matches!(life.told.last().unwrap().1.reason, Reason::NoSuchAlert { id: Id(_) }));
}

fn likely(decision: &Decision) -> Option<Likely> {
    if let Reason::Likely(likely) = &decision.reason { Some(*likely) } else { None }
}

/// The threshold follows the person's own rings that come to nothing; here each of three a day does.
#[test]
fn the_chance_it_rings_from_moves_to_the_rings_a_person_bears() {
    // So many times a day it dips to 74 and turns.
    let day = |dips: usize| -> Vec<i32> {
        let value = |place: usize| FALL.get(place).copied().unwrap_or(80 + i32::try_from(place).unwrap() / 9);
        (0..288).map(|place| value(place % (288 / dips))).collect()
    };
    let lived = |false_a_day: Option<u16>, doubted: bool, dips: usize| {
        let day = day(dips);
        let mut policy = one_sensor();
        policy.forecasts.low.rings = Rings::Always;
        policy.forecasts.low.false_a_day = false_a_day;
        let mut life = Life::new(policy, NOON);
        if doubted {
            let wish = Wish::Begin { mode: Mode::Doubted, span: Some(Span::hours(12)) };
            for _ in 0..70 {
                let at = life.now;
                life.happens(&Event::Mode { wish, at }, at);
                life.reads(&day[..144]);
                let at = life.now;
                life.happens(&Event::Mode { wish, at }, at);
                life.reads(&day[144..]);
            }
        } else {
            (0..70).for_each(|_| {
                life.reads(&day);
            });
        }
        life
    };
    let moves = |life: &Life| -> Vec<u16> {
        let mut moves: Vec<u16> = life
            .told
            .iter()
            .filter(|(_, decision)| decision.condition == Condition::ForecastLow)
            .filter_map(|(_, decision)| likely(decision))
            .map(|likely| likely.sounds_from.in_a_hundred())
            .collect();
        moves.dedup();
        moves
    };
    let tuned = lived(Some(50), false, 3);
    let raised: Vec<u16> = moves(&tuned);
    assert_eq!(raised[..4], [40, 45, 50, 55], "{raised:?}");
    assert!(raised.iter().all(|percent| (30..=70).contains(percent)), "{raised:?}");
    let last = tuned.told.iter().rev().find(|(_, decision)| likely(decision).is_some()).unwrap();
    let why = line(&last.1, Voice::new(tuned.engine.policy(), last.0));
    assert!(why.contains("moved there by your own rings that came to nothing"), "{why}");
    assert_eq!(moves(&lived(None, false, 3)), [40], "it does not move unless it is asked to");
    assert_eq!(moves(&lived(Some(50), true, 3)), [40], "what a doubted sensor says moves nothing");
    // A person who never has one is told earlier, down to what is raised.
    let seldom = lived(Some(500), false, 1);
    assert_eq!(moves(&seldom).last(), Some(&30), "{:?}", moves(&seldom));
}

#[test]
fn why_says_how_the_last_ones_came_out() {
    let mut life = Life::new(one_sensor(), NOON);
    for fall in 0..3 {
        life.reads(FALL).reads([if fall == 1 { 80 } else { 68 }; 4]).reads([120; 20]);
    }
    life.reads(FALL);
    let (at, last) = life.told.iter().rev().find(|(_, decision)| likely(decision).is_some()).unwrap();
    let why = line(last, Voice::new(life.engine.policy(), *at));
    let (chance, _) = why.split_once(" in 100 such moments have a reading beyond 70 by").expect(&why);
    assert!(chance.chars().rev().nth(1) == Some('7'), "{why}");
    assert!(why.contains("of your last 3 like it 2 came true"), "{why}");
    // None of this is for the wrist.
    let said = text(last, life.engine.policy(), *at);
    assert!(said.title.chars().count() <= 60, "{said:?}");
    assert!(!said.title.contains("in 100") && !said.body.contains("in 100"), "{said:?}");
    assert!(said.body.contains("A forecast, not a measurement"), "{said:?}");
}

/// A sharp dip, a flat line and a jump change words, and neither time nor priority.
#[test]
fn odd_shapes_soften_words_and_delay_nothing() {
    let steady = [96, 95, 96, 95, 94, 95, 96, 95, 96];
    let mut dip = Life::new(one_sensor(), NOON);
    // Below 60, so that no forecast covers it (promise L2).
    dip.reads(steady).reads([84, 74, 59, 52]);
    let low = dip.first(What::Raised, Condition::Low);
    assert_eq!((low.doubt, low.rings), (Some(Doubt::Dip), true));
    let said = text(low, dip.engine.policy(), NOON);
    assert!(said.title.starts_with("Low 59"), "{said:?}");
    assert!(said.body.contains("If you lie on the sensor, turn over; check with a meter now."), "{said:?}");
    let very_low = dip.first(What::Raised, Condition::VeryLow);
    assert!(very_low.rings && very_low.priority == recheck::engine::effect::Priority::High);
    let (begins, _) = dip.told.iter().find(|(_, decision)| decision.condition == Condition::VeryLow).unwrap();
    assert_eq!(*begins, NOON + Span::minutes(5 * 12), "on its first reading");
    assert!(text(very_low, dip.engine.policy(), NOON).title.starts_with("Very low 52"));

    let mut jump = Life::new(one_sensor(), NOON);
    jump.reads(steady).reads([251, 252, 253, 254, 255]);
    let very_high = jump.first(What::Raised, Condition::VeryHigh);
    assert_eq!(very_high.doubt, None, "the jump is past when it is told");
    let mut flat = Life::new(one_sensor(), NOON);
    flat.reads([188; 16]);
    assert_eq!(flat.first(What::Raised, Condition::High).doubt, None);
    let foreseen = {
        let mut life = Life::new(one_sensor(), NOON);
        life.reads(steady).reads([84, 70]);
        life.first(What::Raised, Condition::ForecastLow).clone()
    };
    let said = text(&foreseen, &one_sensor(), NOON);
    assert!(said.title.ends_with("Check with a meter") && said.title.contains("70 by"), "{said:?}");
}
