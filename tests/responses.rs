//! `recheck responses`: stories with known numbers, what must always hold, medians and slopes of a general library, the
//! command on files and on a store, and the same readings looked at by another program's rules.

use super::properties::Dice;
use super::real::{Recheck, webhook};
use super::swings::swings;
use recheck::config::meant::{Purpose, settings};
use recheck::domain::diary::{Amount, Kind, Note};
use recheck::domain::glucose::{Glucose, Measured, Unit};
use recheck::domain::local::Zone;
use recheck::domain::mode::Mode;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::spread::Spread;
use recheck::domain::time::{Span, Timestamp};
use recheck::domain::travel::{Travel, WallClock};
use recheck::domain::written::{Entry, Excursion, Written};
use recheck::engine::Engine;
use recheck::engine::effect::{Audience, Condition, Decision, Id, Priority, What};
use recheck::engine::event::Which;
use recheck::engine::mode::reason::Why;
use recheck::engine::reason::Reason;
use recheck::formats::rows::Row;
use recheck::outbox::plan::Addresses;
use recheck::responses::course::Of;
use recheck::responses::low::Depth;
use recheck::responses::part::Part;
use recheck::responses::{Limits, NoRow, Past, Responses, Treated};
use recheck::store::Store;
use recheck::store::commit::{Intake, Turn};
use recheck::store::inbox::Said;
use serde_json::Value;
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// 2026-03-02 00:00 UTC, a Monday.
const START: Timestamp = Timestamp::from_seconds(1_772_409_600);

fn minute(minute: i64) -> Timestamp {
    START + Span::minutes(minute)
}

fn reading(at: i64, mg_dl: i32) -> Reading {
    Reading { source: SourceId(0), measured: minute(at), glucose: Glucose::mg_dl(mg_dl) }
}

fn note(at: i64, kind: Kind) -> Note {
    Note { at: minute(at), kind, words: String::new() }
}

fn insulin(at: i64, units: i32) -> Note {
    note(at, Kind::Insulin(Some(Amount(units * 100))))
}

fn food(at: i64, grams: i32) -> Note {
    note(at, Kind::Carbohydrate(Some(Amount(grams * 100))))
}

/// A life: readings every five minutes on straight lines between points, and what was noted.
#[derive(Clone)]
struct Life {
    readings: Vec<Reading>,
    notes: Vec<Note>,
    treated: Vec<Treated>,
    left_out: Vec<(Timestamp, Timestamp)>,
    clock: WallClock,
}

impl Life {
    fn through(points: &[(i64, i32)]) -> Self {
        let mut readings = Vec::new();
        for pair in points.windows(2) {
            let [(begin, from), (end, to)] = [pair[0], pair[1]];
            readings.extend((begin..end).step_by(5).map(|at| {
                let part = i64::from(to - from) * (at - begin) / (end - begin);
                reading(at, from + i32::try_from(part).unwrap())
            }));
        }
        readings.extend(points.last().map(|(at, value)| reading(*at, *value)));
        Self {
            readings,
            notes: Vec::new(),
            treated: Vec::new(),
            left_out: Vec::new(),
            clock: WallClock::at_home(Zone::UTC),
        }
    }

    fn with(mut self, notes: &[Note]) -> Self {
        self.notes.extend_from_slice(notes);
        self
    }

    fn treats(mut self, at: i64, which: Option<Excursion>) -> Self {
        self.treated.push(Treated { at: minute(at), which });
        self
    }

    fn between(&self, from: Timestamp, until: Timestamp) -> Responses {
        Responses::of(&Past {
            readings: &self.readings,
            notes: &self.notes,
            treated: &self.treated,
            left_out: &self.left_out,
            limits: Limits::default(),
            clock: &self.clock,
            from,
            until,
        })
    }

    fn responses(&self) -> Responses {
        self.between(START, START + Span::hours(24 * 400))
    }
}

fn mg_dl(reading: Option<Reading>) -> Option<i32> {
    reading.map(|reading| reading.glucose.hundredths() / 100)
}

fn minutes(span: Option<Span>) -> Option<i64> {
    span.map(Span::as_minutes)
}

/// From 260 at the dose by 1 mg/dL a minute to 120, then flat: 200, 140, 120; at 180 after 80 minutes.
#[test]
fn a_correction_alone() {
    let life = Life::through(&[(0, 260), (60, 260), (200, 120), (600, 120)]).with(&[insulin(60, 2)]);
    let responses = life.responses();
    let [correction] = &responses.corrections[..] else { panic!("{responses:?}") };
    let course = &correction.course;
    assert_eq!((mg_dl(Some(course.before)), course.before.measured), (Some(260), minute(60)));
    assert_eq!(course.hours.map(mg_dl), [Some(200), Some(140), Some(120)]);
    assert_eq!([0, 1, 2].map(|hour| course.change(hour)), [Some(-6_000), Some(-12_000), Some(-14_000)]);
    assert_eq!((mg_dl(course.lowest), course.lowest_alone()), (Some(120), Some(12_000)));
    assert_eq!((minutes(correction.in_range), correction.in_range_counts), (Some(80), true));
    assert_eq!((correction.second, correction.earlier, course.mixed, course.gap), (None, None, None, None));
    assert_eq!((course.part, &course.amounts[..]), (Part::Night, &[Amount(200)][..]));
    assert_eq!(responses.no_row, NoRow::default());
    assert!(responses.meals.is_empty() && responses.lows.is_empty());
    assert_eq!(responses.drops.at_age(Span::minutes(60)), Spread { n: 1, median: None, quartiles: None });
}

/// What comes after a second dose, or after food, is shown and does not count.
#[test]
fn what_comes_in_between_makes_the_rest_mixed() {
    let falls = [(0, 260), (60, 260), (300, 212), (600, 152)];
    let life = Life::through(&falls).with(&[insulin(60, 2), insulin(160, 1)]);
    let responses = life.responses();
    let [first, second] = &responses.corrections[..] else { panic!("{responses:?}") };
    assert_eq!((minutes(first.second), minutes(second.second)), (Some(100), None));
    assert_eq!((minutes(first.earlier), minutes(second.earlier)), (None, Some(100)));
    assert_eq!(first.course.hours.map(mg_dl), [Some(248), Some(236), Some(224)]);
    assert_eq!([0, 1, 2].map(|hour| first.course.change(hour)), [Some(-1_200), None, None]);
    assert_eq!(first.course.mixed.map(|between| (between.at, between.of)), Some((minute(160), Of::Insulin)));
    assert_eq!((first.in_range, first.in_range_counts), (None, false));
    let all = responses.of_corrections(None);
    assert_eq!((all.rows, all.mixed, all.second, all.earlier), (2, 1, 1, 1));
    // The second one ends at 192 after its four hours, alone.
    assert_eq!((all.in_range.n, all.not_in_range), (0, 1));
    assert_eq!(all.changes.map(|spread| spread.n), [2, 1, 1]);
    // Food that comes 61 minutes after a dose is not its meal, and is in between.
    let eaten = Life::through(&falls).with(&[insulin(60, 2), food(121, 30)]).responses();
    assert_eq!(eaten.corrections[0].course.mixed.map(|between| between.of), Some(Of::Food));
    assert_eq!((eaten.meals.len(), eaten.meals[0].doses.len()), (1, 0));
    // One minute earlier it is, and the dose is no correction.
    let meal = Life::through(&falls).with(&[insulin(60, 2), food(120, 30)]).responses();
    assert_eq!((meal.corrections.len(), minutes(Some(meal.meals[0].doses[0].after))), (0, Some(-60)));
}

/// A second dose that was not a correction came in between, and is no second one.
#[test]
fn the_dose_of_a_meal_is_no_second_correction() {
    let life = Life::through(&[(0, 260), (600, 200)]).with(&[insulin(60, 2), insulin(170, 4), food(180, 50)]);
    let responses = life.responses();
    let [correction] = &responses.corrections[..] else { panic!("{responses:?}") };
    assert_eq!(correction.second, None);
    assert_eq!(correction.course.mixed.map(|between| between.at), Some(minute(170)));
}

#[test]
fn what_cannot_be_placed_is_counted() {
    let mut life = Life::through(&[(0, 120), (300, 120)]).with(&[
        // At 120 without food: nobody knows what for.
        insulin(60, 12),
        // Without a reading: from 321 on.
        insulin(321, 2),
        food(400, 20),
        // Before the readings begin, and before the period: not counted.
        insulin(-60, 2),
    ]);
    life = life.treats(100, None);
    let no_row = life.responses().no_row;
    let expected = NoRow {
        left_out: 0,
        insulin_for_other: 1,
        insulin_without_reading: 1,
        food_without_reading: 1,
        treated_unclear: 1,
    };
    assert_eq!(no_row, expected);
    life.left_out = vec![(minute(50), minute(70))];
    let expected = NoRow { left_out: 1, insulin_for_other: 0, ..expected };
    assert_eq!(life.responses().no_row, expected);
}

/// What is said by `treated` is a row as well: which it is of, or the value then, tells.
#[test]
fn what_was_said_to_be_treated_has_a_row() {
    let high = Life::through(&[(0, 240), (600, 150)]);
    for which in [None, Some(Excursion::High)] {
        let responses = high.clone().treats(60, which).responses();
        assert_eq!((responses.corrections.len(), responses.corrections[0].course.said), (1, true));
        assert!(responses.corrections[0].course.amounts.is_empty());
    }
    let both = high.treats(65, Some(Excursion::High)).with(&[insulin(60, 2)]).responses();
    assert_eq!((both.corrections.len(), both.corrections[0].course.amounts.len()), (1, 1), "one treatment");
    let low = Life::through(&[(0, 62), (60, 100), (300, 100)]);
    for which in [None, Some(Excursion::Low)] {
        assert_eq!(low.clone().treats(5, which).responses().lows.len(), 1);
    }
    // A low that was treated before the sensor read it, and one that it never read.
    let ahead = Life::through(&[(0, 78), (20, 66), (40, 90), (300, 90)]).treats(0, Some(Excursion::Low)).responses();
    assert_eq!((ahead.lows[0].depth, mg_dl(ahead.lows[0].lowest)), (Depth::Low, Some(66)));
    let never = Life::through(&[(0, 78), (300, 78)]).treats(0, Some(Excursion::Low)).responses();
    assert_eq!(
        (never.lows[0].depth, never.lows[0].in_range, never.lows[0].in_range_counts),
        (Depth::NotBelow, None, false)
    );
}

/// Insulin ten minutes before; from 100 up to 220 in an hour and a half, and back: above 180 from 60 on (180 is in), at
/// 180 again at 150.
#[test]
fn a_meal_with_its_insulin() {
    let points = [(0, 100), (60, 100), (150, 220), (240, 140), (600, 140)];
    let life = Life::through(&points).with(&[food(60, 45), insulin(50, 4), insulin(250, 1)]);
    let responses = life.responses();
    let [meal] = &responses.meals[..] else { panic!("{responses:?}") };
    assert_eq!(meal.course.hours.map(mg_dl), [Some(180), Some(194), Some(140)]);
    assert_eq!((mg_dl(meal.peak), meal.rise(), minutes(meal.to_peak())), (Some(220), Some(12_000), Some(90)));
    assert_eq!((meal.was_high, minutes(meal.in_range), meal.in_range_counts), (true, Some(135), true));
    let doses: Vec<_> = meal.doses.iter().map(|dose| (dose.after.as_minutes(), dose.amounts[0])).collect();
    assert_eq!(doses, [(-10, Amount(400))]);
    // Insulin 190 minutes after the meal is no second one within three hours; and no correction at 140.
    assert_eq!((meal.second, responses.no_row.insulin_for_other), (None, 1));
    assert_eq!(meal.course.mixed.map(|between| between.at), Some(minute(250)));
    assert_eq!((meal.peak_counts, meal.course.lowest_alone()), (true, None));
    let further = Life::through(&points).with(&[food(60, 45), insulin(240, 1)]).responses();
    assert_eq!((minutes(further.meals[0].second), further.meals[0].doses.len()), (Some(180), 0));
    assert_eq!(further.meals[0].rise(), None, "a dose at the third hour is within it");
    let of = further.of_meals(None);
    assert_eq!((of.rows, of.without_insulin, of.second, of.mixed), (1, 1, 1, 1));
}

/// Two meals within the reach of one dose: it is of the nearer, and the other meal is in between.
#[test]
fn a_dose_is_of_the_nearer_meal() {
    let life = Life::through(&[(0, 100), (600, 100)]).with(&[food(60, 40), food(110, 20), insulin(90, 3)]);
    let meals = life.responses().meals;
    assert_eq!(meals.iter().map(|meal| meal.doses.len()).collect::<Vec<_>>(), [0, 1]);
    assert_eq!(meals[0].course.mixed.map(|between| between.at), Some(minute(90)));
}

/// Down to 48 ten minutes after the first treatment, treated again fifteen minutes after it, back at 70 for good at 40,
/// above 180 at 115, and below 70 again at 150.
#[test]
fn a_low_that_was_treated_twice_rebounded_and_came_again() {
    let points = [(0, 80), (20, 60), (30, 48), (60, 70), (110, 180), (115, 185), (170, 65), (300, 65)];
    let life = Life::through(&points).with(&[food(20, 15), food(35, 15)]);
    let responses = life.responses();
    let [low] = &responses.lows[..] else { panic!("{responses:?}") };
    assert_eq!((low.depth, mg_dl(low.lowest), mg_dl(Some(low.course.before))), (Depth::VeryLow, Some(48), Some(60)));
    assert_eq!((minutes(low.in_range), minutes(low.from_lowest), low.in_range_counts), (Some(40), Some(30), true));
    assert_eq!((low.further, minutes(low.second)), (1, Some(15)));
    // From the last reading below, at 55: 185 at 115.
    assert_eq!(minutes(low.high_after), Some(60));
    // 185 at 115 to 65 at 170: below 70 from 170 on, by steps of five minutes.
    assert_eq!(minutes(low.low_again), Some(110));
    assert!(low.high_after_counts && low.low_again_counts);
    assert!(low.course.mixed.is_none(), "its second treatment belongs to it");
    let of = responses.of_lows_as_deep(Depth::VeryLow);
    assert_eq!((of.rows, of.second, of.high_after, of.low_again), (1, 1, 1, 1));
    assert_eq!(responses.of_lows_as_deep(Depth::Low).rows, 0);
    // A third treatment, of the second low, is a row of its own, and comes in between.
    let third = life.with(&[food(172, 15)]).responses();
    assert_eq!(third.lows.len(), 2);
    assert_eq!(third.lows[0].course.mixed.map(|between| between.at), Some(minute(172)));
}

/// The nadir may come before the treatment; 54 is not very low, 53.9 is.
#[test]
fn the_depth_of_a_low_is_that_of_its_lowest_reading() {
    for (lowest, depth) in [(5_400, Depth::Low), (5_390, Depth::VeryLow)] {
        let mut life = Life::through(&[(0, 90), (30, 60), (60, 60), (90, 100), (400, 100)]).with(&[food(60, 10)]);
        life.readings[7].glucose = Glucose::from_hundredths(lowest, Unit::MgDl, Measured::Number);
        let low = life.responses().lows.remove(0);
        assert_eq!((low.depth, low.lowest.unwrap().measured), (depth, minute(35)), "{lowest}");
        assert_eq!(minutes(low.from_lowest), Some(25 + minutes(low.in_range).unwrap()));
    }
}

/// A dip of less than fifteen minutes above the limit is not back, by the consensus on when an episode ends.
#[test]
fn a_low_is_back_when_it_stays() {
    let mut life = Life::through(&[(0, 60), (300, 60)]).with(&[food(0, 15)]);
    for (at, value) in [(10, 72), (15, 71), (20, 68), (25, 71), (30, 75), (35, 74), (40, 70), (45, 90)] {
        life.readings[at / 5] = reading(i64::try_from(at).unwrap(), value);
    }
    let low = life.responses().lows.remove(0);
    assert_eq!((minutes(low.in_range), minutes(low.low_again)), (Some(25), Some(25)));
}

/// Earlier insulin counts for three hours, the first of several is in between, and the memory of drops ends with it.
#[test]
fn what_is_near_a_correction_is_found() {
    let slow = Life::through(&[(0, 300), (1_000, 200)]);
    for (before, earlier) in [(180, Some(180)), (181, None)] {
        let responses = slow.clone().with(&[insulin(400 - before, 2), insulin(400, 2)]).responses();
        assert_eq!(minutes(responses.corrections[1].earlier), earlier);
    }
    let both = slow.with(&[insulin(100, 2), insulin(290, 1), food(190, 20)]).responses();
    assert_eq!(both.corrections[0].course.mixed.map(|between| (between.at, between.of)), Some((minute(190), Of::Food)));
    let known = [60, 75, 90, 105].map(|age| both.drops.at_age(Span::minutes(age)).n);
    assert_eq!(known, [2, 2, 1, 1], "of the second correction more is known");
}

/// The insulin of an hour after a meal is the meal's; one that was high before it is high from the start, and one that
/// never was has no way back; of a flat top the first reading is the peak.
#[test]
fn the_edges_of_a_meal() {
    let flat = Life::through(&[(0, 100), (60, 100), (150, 170), (170, 170), (240, 110), (600, 110)]);
    let responses = flat.clone().with(&[food(60, 40), insulin(120, 4)]).responses();
    let meal = &responses.meals[0];
    assert_eq!((meal.doses.len(), meal.second, minutes(meal.to_peak())), (1, None, Some(90)));
    let of = responses.of_meals(None);
    assert_eq!((meal.was_high, of.in_range.n, of.not_in_range), (false, 0, 0));
    let high = Life::through(&[(0, 240), (60, 240), (120, 150), (600, 150)]).with(&[food(60, 40)]).responses();
    assert_eq!((high.meals[0].was_high, minutes(high.meals[0].in_range)), (true, Some(40)));
    let at_once = Life::through(&[(0, 185), (60, 185), (65, 175), (600, 175)]).with(&[food(60, 40)]).responses();
    assert_eq!((at_once.meals[0].was_high, minutes(at_once.meals[0].in_range)), (true, Some(5)));
    let mut gap = flat.with(&[food(60, 40)]);
    gap.readings.retain(|reading| !(minute(140)..minute(180)).contains(&reading.measured));
    let meal = gap.responses().meals.remove(0);
    assert_eq!((meal.peak_counts, meal.rise(), mg_dl(meal.peak)), (false, None, Some(162)));
}

/// What follows a low is looked for during two hours, and known when readings came in them and nothing was noted.
#[test]
fn what_follows_a_low_is_known_or_not() {
    let points = |high: i64| [(0, 60), (10, 60), (15, 80), (high - 5, 150), (high, 200), (high + 5, 100), (400, 100)];
    let low = |life: &Life| life.responses().lows.remove(0);
    // The last below is at 10.
    for (high, found) in [(130, Some(120)), (135, None)] {
        let life = Life::through(&points(high)).with(&[food(0, 15)]);
        let low = low(&life);
        assert_eq!((minutes(low.high_after), low.high_after_counts), (found, true), "{high}");
    }
    let life = Life::through(&points(100)).with(&[food(0, 15)]);
    // Insulin after the high takes nothing from it; whether a low came again, nobody knows then. Before it nothing is
    // known.
    let noted = life.clone().with(&[insulin(101, 1)]);
    let of = noted.responses().of_lows(None);
    assert_eq!((of.high_after, of.not_high_after, of.low_again, of.not_low_again), (1, 0, 0, 0));
    let sooner = life.clone().with(&[insulin(99, 1)]).responses().of_lows(None);
    assert_eq!((sooner.high_after, sooner.not_high_after), (0, 0));
    let alone = life.responses().of_lows(None);
    assert_eq!((alone.high_after, alone.low_again, alone.not_low_again), (1, 0, 1));
    let mut gap = life;
    gap.readings.retain(|reading| !(minute(30)..minute(70)).contains(&reading.measured));
    assert!(!low(&gap).high_after_counts && !low(&gap).low_again_counts);
    assert!(low(&gap).in_range_counts);
    // A value below the limit before a gap is of another low.
    let mut other =
        Life::through(&[(0, 50), (20, 50), (60, 65), (80, 65), (90, 100), (400, 100)]).with(&[food(75, 15)]);
    other.readings.retain(|reading| !(minute(25)..minute(60)).contains(&reading.measured));
    assert_eq!(low(&other).depth, Depth::Low);
    // What is said to be treated when glucose is back is another low, or none.
    let again = Life::through(&[(0, 60), (10, 60), (15, 80), (300, 80)]).with(&[food(0, 15)]);
    let rows = |at: i64| again.clone().treats(at, Some(Excursion::Low)).responses().lows.len();
    assert_eq!((rows(14), rows(15)), (1, 2));
    // A sensor of one-minute cadence reads a low that was said 18 minutes later: it was not back before.
    let mut ahead = Life::through(&[(0, 71), (400, 71)]).treats(0, Some(Excursion::Low));
    ahead.readings = (0..300).map(|at| reading(at, if (18..25).contains(&at) { 68 } else { 71 })).collect();
    assert_eq!(minutes(low(&ahead).in_range), Some(25));
}

/// A drift needs four readings, all of them numbers, and counts for what of it lies within the period.
#[test]
fn a_drift_needs_four_numbers_of_the_period() {
    let mut life = Life::through(&[(0, 200), (600, 140)]).with(&[insulin(0, 4), food(330, 40)]);
    let drifts = |life: &Life| life.responses().background.drifts.len();
    let sparse = |step: usize| life.readings.iter().copied().step_by(step).collect::<Vec<_>>();
    for (step, known) in [(1, 1), (5, 1), (6, 0)] {
        // From 240 to before 330: every 25 minutes 4, every 30 minutes 3.
        let life = Life { readings: sparse(step), ..life.clone() };
        assert_eq!(drifts(&life), known, "{step}");
    }
    let of_period = |from: i64, until: i64| life.between(minute(from), minute(until)).background.drifts;
    let cut = of_period(250, 320);
    assert_eq!((cut[0].from.measured, cut[0].until.measured), (minute(250), minute(315)));
    assert_eq!((of_period(250, 310).len(), of_period(340, 400).len()), (0, 0));
    life.readings[50].glucose = Glucose::beyond_range(Measured::BelowRange, Unit::MgDl);
    assert_eq!(drifts(&life), 0);
}

/// Nothing near an hour is no reading; a gap of more than 35 minutes keeps the lowest and the way to range out.
#[test]
fn gaps_are_said_and_keep_out_what_may_lie_in_them() {
    let mut life = Life::through(&[(0, 260), (60, 260), (200, 120), (600, 120)]).with(&[insulin(60, 2)]);
    life.readings.retain(|reading| !(minute(105)..minute(145)).contains(&reading.measured));
    let responses = life.responses();
    let course = &responses.corrections[0].course;
    assert_eq!(course.hours.map(mg_dl), [None, Some(140), Some(120)]);
    assert_eq!((minutes(course.gap), course.lowest_alone()), (Some(45), None));
    assert_eq!(
        (minutes(responses.corrections[0].in_range), responses.corrections[0].in_range_counts),
        (Some(85), false)
    );
    assert_eq!(responses.of_corrections(None).in_range.n, 0);
    // Readings that end before the four hours are over leave the rest open.
    let mut cut = Life::through(&[(0, 260), (60, 260), (200, 220)]).with(&[insulin(60, 2)]);
    cut.readings.retain(|reading| reading.measured <= minute(200));
    let correction = cut.responses().corrections.remove(0);
    assert_eq!((correction.in_range, correction.in_range_counts), (None, false));
    assert_eq!(minutes(correction.course.gap), Some(100));
}

/// A word for beyond the sensor's range is shown, and is no number to take a difference from.
#[test]
fn beyond_the_sensors_range_is_no_number() {
    let mut life = Life::through(&[(0, 390), (600, 200)]).with(&[insulin(60, 2)]);
    life.readings[12].glucose = Glucose::beyond_range(Measured::AboveRange, Unit::MgDl);
    let responses = life.responses();
    assert_eq!(responses.corrections[0].course.change(0), None);
    assert!(responses.corrections[0].course.hours[0].is_some());
    assert_eq!(responses.of_corrections(None).changes[0].n, 0);
}

/// The part of the day is by the clock that the wearer had then.
#[test]
fn parts_of_the_day_go_by_the_clock_there() {
    let mut life = Life::through(&[(0, 260), (600, 200)]).with(&[insulin(60, 2)]);
    let part = |life: &Life| life.responses().corrections[0].course.part;
    assert_eq!(part(&life), Part::Night);
    let tokyo = Zone::named("Asia/Tokyo").unwrap();
    // 01:00 UTC is 10:00 there.
    life.clock = WallClock::new(Zone::UTC, &[Travel { zone: tokyo, from: minute(30), until: minute(90) }]);
    assert_eq!(part(&life), Part::Morning);
    let hours = |from: i64| Part::at(&WallClock::at_home(Zone::UTC), minute(from * 60));
    let parts: Vec<Part> = [0, 5, 6, 10, 11, 14, 15, 18, 19, 23].map(hours).to_vec();
    let each = Part::ALL.iter().flat_map(|part| [*part, *part]).collect::<Vec<_>>();
    assert_eq!(parts, each);
}

/// An hour, and ten corrections with values after it: numpy 2.4.6 and scipy 1.17.1 print the changes' quartiles, and
/// the slope of a night, by
///
///     python3 -c 'import numpy as np; from scipy.stats import linregress
///     before = [250, 243, 301, 222, 265, 199, 278, 240, 233, 290]; after = [210, 228, 240, 190, 262, 188, 201, 251, 197, 226]
///     d = np.array(after) - np.array(before); print(np.percentile(d, [25, 50, 75]).tolist())
///     y = [110, 108, 111, 105, 104, 106, 101, 99, 100, 97, 95, 96, 92]; print(linregress(np.arange(13) * 5, y).slope * 60)'
///
/// `[-55.75, -34.0, -12.0]` and `-17.868131868131872`.
#[test]
fn medians_and_slopes_are_those_of_a_general_library() {
    let before = [250, 243, 301, 222, 265, 199, 278, 240, 233, 290];
    let after = [210, 228, 240, 190, 262, 188, 201, 251, 197, 226];
    let (mut readings, mut notes) = (Vec::new(), Vec::new());
    for (day, (before, after)) in (0..).zip(before.iter().zip(after)) {
        let at = day * 1_440 + 120;
        notes.push(insulin(at, 2));
        readings.extend([reading(at, *before), reading(at + 60, after)]);
    }
    let night = [110, 108, 111, 105, 104, 106, 101, 99, 100, 97, 95, 96, 92];
    let begin = 9 * 1_440 + 120 + 240;
    readings.extend((0..).zip(night).map(|(step, value)| reading(begin + step * 5, value)));
    let mut life = Life::through(&[(0, 100)]).with(&notes);
    life.readings = readings;
    let responses = life.responses();
    let change = responses.of_corrections(Some(Part::Night)).changes[0];
    assert_eq!(change, Spread { n: 10, median: Some(-3_400), quartiles: Some((-5_575, -1_200)) });
    assert_eq!(responses.of_corrections(Some(Part::Morning)).rows, 0);
    let past = responses.drops.at_age(Span::hours(1));
    assert_eq!(past, Spread { n: 10, median: Some(3_400), quartiles: Some((1_200, 5_575)) });
    let [drift] = &responses.background.drifts[..] else { panic!("{:?}", responses.background) };
    assert_eq!((drift.per_hour, drift.readings, drift.part), (-1_787, 13, Part::Morning));
    assert_eq!(responses.of_background(Some(Part::Morning)), Spread { n: 1, median: None, quartiles: None });
}

#[test]
fn too_few_have_no_median() {
    let life = |corrections: i64| {
        let days = corrections * 1_440;
        let notes: Vec<Note> = (0..corrections).map(|day| insulin(day * 1_440 + 60, 2)).collect();
        Life::through(&[(0, 240), (days, 240)]).with(&notes).responses().of_corrections(None).changes[1]
    };
    assert_eq!(life(4), Spread { n: 4, median: None, quartiles: None });
    assert_eq!(life(5), Spread { n: 5, median: Some(0), quartiles: None });
    assert_eq!(life(8), Spread { n: 8, median: Some(0), quartiles: Some((0, 0)) });
}

/// From four hours after the last note to the next one, cut where the part of the day changes; 6 mg/dL an hour.
#[test]
fn background_begins_four_hours_after_the_last_note() {
    let life = Life::through(&[(0, 200), (960, 104)]).with(&[insulin(0, 4), food(720, 40)]);
    let drifts = life.responses().background.drifts;
    let found: Vec<_> = drifts
        .iter()
        .map(|drift| {
            ((drift.from.measured - START).as_minutes(), (drift.until.measured - START).as_minutes(), drift.part)
        })
        .collect();
    assert_eq!(found, [(240, 355, Part::Night), (360, 655, Part::Morning)]);
    assert!(drifts.iter().all(|drift| (drift.per_hour + 600).abs() <= 5), "{drifts:?}");
    // What was said to be treated counts as noted; and after 16 hours without a note nothing is known.
    let treated = life.clone().treats(300, Some(Excursion::Low)).responses().background.drifts;
    assert_eq!((treated[0].from.measured, treated.len()), (minute(540), 1));
    let unnoted = Life::through(&[(0, 120), (2_000, 120)]).with(&[insulin(0, 4), food(961, 40)]).responses();
    assert_eq!((unnoted.background.drifts.len(), unnoted.background.unnoted), (0, 2));
    assert_eq!(Life::through(&[(0, 120), (900, 120)]).responses().background.drifts.len(), 0, "before the first note");
    // A gap cuts, and less than an hour tells nothing.
    let mut cut = life;
    cut.readings.retain(|reading| !(minute(300)..minute(400)).contains(&reading.measured));
    let found: Vec<_> = cut.responses().background.drifts.iter().map(|drift| drift.from.measured).collect();
    assert_eq!(found, [minute(400)]);
}

/// Days with notes here and there, by seed.
fn any_life(seed: u64) -> Life {
    let mut dice = Dice(seed);
    let days = 3;
    let values = swings(seed, days * 288);
    let mut life = Life::through(&[(0, 100)]);
    life.readings = (0..).zip(&values).map(|(step, value)| reading(step * 5, *value)).collect();
    life.readings.retain(|_| dice.roll(20) > 0);
    for _ in 0..dice.roll(40) {
        let at = dice.roll(i64::try_from(days).unwrap() * 1_440);
        let kind = match dice.roll(4) {
            0 => Kind::Carbohydrate(Some(Amount(1_000))),
            1 => Kind::Carbohydrate(None),
            2 => Kind::Symptoms,
            _ => Kind::Insulin(Some(Amount(200))),
        };
        life.notes.push(note(at, kind));
    }
    for _ in 0..dice.roll(5) {
        let which = [None, Some(Excursion::High), Some(Excursion::Low)][usize::try_from(dice.roll(3)).unwrap()];
        life.treated.push(Treated { at: minute(dice.roll(4_320)), which });
    }
    life
}

/// The order of what comes in changes nothing, nor do doubles, nor readings and notes out of reach of the period; no
/// note is lost: each is in a row, in another's row, or counted.
#[test]
fn order_and_what_is_far_away_change_nothing() {
    let (mut corrections, mut meals, mut lows, mut drifts) = (0, 0, 0, 0);
    for seed in 0..150 {
        let life = any_life(seed);
        let responses = life.responses();
        let mut other = life.clone();
        let mut dice = Dice(seed + 1_000);
        dice.shuffle(&mut other.readings);
        dice.shuffle(&mut other.notes);
        dice.shuffle(&mut other.treated);
        other.readings.push(other.readings[0]);
        assert_eq!(other.responses(), responses, "seed {seed}");

        let (from, until) = (minute(1_440), minute(2_880));
        let day = life.between(from, until);
        let mut far = life.clone();
        far.readings.retain(|reading| (from - Span::hours(4)..=until + Span::hours(7)).contains(&reading.measured));
        let near = far.between(from, until);
        assert_eq!((&near.corrections, &near.meals), (&day.corrections, &day.meals), "seed {seed}");
        let rows = |responses: &Responses| {
            (responses.corrections.len(), responses.meals.len(), responses.lows.len(), responses.no_row)
        };
        let parts = [life.between(START, from), day, life.between(until, minute(4_320))].map(|part| rows(&part));
        let sum = parts.iter().fold((0, 0, 0), |sum, part| (sum.0 + part.0, sum.1 + part.1, sum.2 + part.2));
        let whole = rows(&responses);
        assert_eq!(sum, (whole.0, whole.1, whole.2), "seed {seed}: three days are the whole");

        let placed = responses.meals.iter().map(|meal| 1 + meal.doses.len()).sum::<usize>()
            + responses.lows.iter().map(|low| 1 + low.further).sum::<usize>()
            + responses.corrections.len();
        let no_row = responses.no_row;
        let counted = no_row.insulin_for_other + no_row.insulin_without_reading + no_row.food_without_reading;
        let mut noted = [Vec::new(), Vec::new()];
        for one in &life.notes {
            match one.kind {
                Kind::Insulin(_) => noted[0].push(one.at),
                Kind::Carbohydrate(_) => noted[1].push(one.at),
                _ => {}
            }
        }
        if life.treated.is_empty() {
            let groups: usize = noted.into_iter().map(groups).sum();
            // A meal without a reading before it may have taken its insulin with it.
            assert!(placed + counted <= groups, "seed {seed}");
            assert!(no_row.food_without_reading > 0 || placed + counted == groups, "seed {seed}");
        }
        corrections += responses.corrections.len();
        meals += responses.meals.len();
        lows += responses.lows.len();
        drifts += responses.background.drifts.len();
    }
    let seen = [corrections, meals, lows, drifts];
    assert!(seen.iter().all(|n| *n > 50), "the lives hold too little: {seen:?}");
}

/// How many there are, those within ten minutes of the first taken as one.
fn groups(mut all: Vec<Timestamp>) -> usize {
    all.sort();
    let mut groups = 0;
    let mut first: Option<Timestamp> = None;
    for at in all {
        if first.is_none_or(|first| at - first > Span::minutes(10)) {
            first = Some(at);
            groups += 1;
        }
    }
    groups
}

/// A stretch that is left out takes its rows with it, and the values that lie in it; nothing else changes.
#[test]
fn a_stretch_that_is_left_out_takes_its_rows_away() {
    let mut removed = 0;
    for seed in 0..60 {
        let life = any_life(seed);
        let whole = life.responses();
        let (from, until) = (minute(1_500), minute(2_000));
        let mut other = life.clone();
        other.left_out = vec![(from, until)];
        let less = other.responses();
        let within = |at: Timestamp| from <= at && at < until;
        for course in less.corrections.iter().map(|row| &row.course).chain(less.meals.iter().map(|row| &row.course)) {
            assert!(!within(course.at), "seed {seed}");
            let readings = course.hours.iter().flatten().chain(&course.lowest).chain([&course.before]);
            assert!(readings.clone().all(|reading| !within(reading.measured)), "seed {seed}");
        }
        assert!(less.background.drifts.iter().all(|drift| !within(drift.from.measured)), "seed {seed}");
        let gone = |row: &&Timestamp| within(**row);
        let at: Vec<Timestamp> = whole.corrections.iter().map(|row| row.course.at).collect();
        removed += at.iter().filter(gone).count();
        // Rows far from the stretch are as they were.
        let far = |at: Timestamp| at < from - Span::hours(5) || at > until + Span::hours(5);
        let of = |responses: &Responses| -> Vec<_> {
            responses.corrections.iter().filter(|row| far(row.course.at)).cloned().collect()
        };
        assert_eq!(of(&less), of(&whole), "seed {seed}");
    }
    assert!(removed > 10, "{removed}");
}

/// Between fences of that name in the document.
fn fenced(name: &str) -> String {
    let document = include_str!("../docs/responses.md");
    let (_, rest) = document.split_once(&format!("```{name}\n")).unwrap();
    rest.split_once("```").unwrap().0.to_owned()
}

/// A name for what is written to a folder of the program's own.
fn files(recheck: &Recheck, all: &[(&str, &str)]) -> Vec<String> {
    let path = |name: &str| recheck.exports().join(name);
    for (name, text) in all {
        std::fs::write(path(name), text).unwrap();
    }
    all.iter().map(|(name, _)| path(name).display().to_string()).collect()
}

fn said(recheck: &Recheck, arguments: &[&str]) -> String {
    let done = recheck.say(&[&["responses"], arguments].concat());
    assert!(done.status.success(), "{done:?}");
    String::from_utf8(done.stdout).unwrap()
}

/// The lines of the tables, which come before what is said in sentences.
fn tables(text: &str) -> &str {
    text.split_once("\nFOR A TALK").unwrap().0
}

/// The night in the document, in both units.
#[test]
fn the_night_in_the_document_is_shown_as_it_says() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let (readings, diary) = (fenced("readings"), fenced("diary"));
    let paths = files(&recheck, &[("night.csv", &readings), ("diary.csv", &diary)]);
    let zone = ["--set", "wearer.timezone=Europe/Madrid", &paths[0], &paths[1]];
    let text = said(&recheck, &zone);
    assert_eq!(text, fenced("shown"), "\n{text}");
    // A line that stands in two files is one.
    let copy = &files(&recheck, &[("again.csv", &diary)])[0];
    assert_eq!(tables(&said(&recheck, &[&zone[..], &[copy]].concat())), tables(&text));
    let mmol = said(&recheck, &[&zone[..], &["--set", "wearer.unit=mmol/L"]].concat());
    for text in [&text, &mmol] {
        assert!(tables(text).lines().all(|line| line.chars().count() <= 80), "{text}");
    }
    // 243 and 110 mg/dL, and 133 between them.
    for value in ["13.5", "6.1", "mmol/L"] {
        assert!(tables(&mmol).contains(value), "{mmol}");
    }
    // The order of the files, and files that are cut, change nothing.
    let (first, second) = readings.split_at(readings.match_indices('\n').nth(20).unwrap().0 + 1);
    let header = readings.lines().next().unwrap();
    let cut = files(&recheck, &[("1.csv", first), ("2.csv", &format!("{header}\n{second}"))]);
    let arguments = ["--set", "wearer.timezone=Europe/Madrid", &paths[1], &cut[1], &cut[0]];
    assert_eq!(said(&recheck, &arguments), text);
}

/// Weeks of the baker: every line fits, what is documented is what is there, and the object says what the tables say.
#[test]
fn the_tables_and_the_object_say_the_same() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let (mut readings, mut diary) = ("timestamp,glucose\n".to_owned(), "time,kind,amount,unit,note\n".to_owned());
    let stamp = |minute_of: i64| Zone::UTC.wall(minute(minute_of)).format("%Y-%m-%d %H:%M").to_string();
    for (step, value) in (0..).zip(swings(7, 30 * 288)) {
        writeln!(readings, "{},{value}", stamp(step * 5)).unwrap();
        // Something every four and a half hours, or so; and nothing on every fifth day.
        if step % 53 == 0 && step / 288 % 5 > 0 {
            let (at, turn) = (step * 5, step / 53);
            match turn % 3 {
                0 => {
                    writeln!(diary, "{},insulin,2,U,", stamp(at)).unwrap();
                    if turn % 4 == 0 {
                        writeln!(diary, "{},insulin,\"1,5\",U,", stamp(at + 110)).unwrap();
                    }
                }
                1 => {
                    writeln!(diary, "{},carbohydrate,30,g,", stamp(at)).unwrap();
                    if turn % 2 == 0 {
                        writeln!(diary, "{},insulin,3,U,", stamp(at - 10)).unwrap();
                    }
                }
                _ => writeln!(diary, "{},treated,,,", stamp(at)).unwrap(),
            }
        }
    }
    let paths = files(&recheck, &[("readings.csv", &readings), ("diary.csv", &diary)]);
    let zone = ["--set", "wearer.timezone=UTC", &paths[0], &paths[1]];
    for unit in ["wearer.unit=mg/dL", "wearer.unit=mmol/L"] {
        let text = said(&recheck, &[&zone[..], &["--set", unit]].concat());
        assert!(tables(&text).lines().all(|line| line.chars().count() <= 80), "{text}");
        for word in ["CORRECTIONS", "MEALS", "LOWS TREATED", "BACKGROUND", "no advice", "care team", "too little data"]
        {
            assert!(text.contains(word), "{word}\n{text}");
        }
        let forbidden = ["safe", "all clear", "bad", "failed", "poor", "should take", "per unit", "ratio", "factor"];
        assert!(forbidden.iter().all(|word| !text.contains(word)), "{text}");
    }
    let text = said(&recheck, &zone);
    let object: Value = serde_json::from_str(&said(&recheck, &[&zone[..], &["--json"]].concat())).unwrap();
    assert_eq!(object["too_little_data"], false);
    for kind in ["corrections", "meals", "lows"] {
        let rows = object[kind]["rows"].as_array().unwrap();
        let of_part = |part: &str| object[kind]["by_part"][part]["rows"].as_u64().unwrap();
        assert_eq!(of_part("all"), u64::try_from(rows.len()).unwrap());
        assert_eq!(Part::ALL.iter().map(|part| of_part(part.name())).sum::<u64>(), of_part("all"), "{kind}");
        assert!(rows.len() >= 5, "{kind}: {}", rows.len());
        for row in rows {
            let at = row["at"].as_str().unwrap()[..16].replace('T', " ");
            let line = text.lines().find(|line| line.starts_with(&at)).unwrap_or_else(|| panic!("{at}\n{text}"));
            let before = row["before"]["mg_dl"].as_f64().unwrap();
            assert!(line[16..].split_whitespace().next() == Some(&format!("{before:.0}")), "{line} {row}");
        }
    }
    // Half of the changes at one hour that count are no higher than their median, and half no lower.
    let alone = |row: &&Value| row["mixed_after_min"].as_i64().is_none_or(|after| after > 60);
    let number = |row: &Value| Some(row["at_1_2_3_h"][0]["mg_dl"].as_f64()? - row["before"]["mg_dl"].as_f64()?);
    let rows = object["corrections"]["rows"].as_array().unwrap();
    let changes: Vec<f64> = rows.iter().filter(alone).filter_map(number).collect();
    let of = &object["corrections"]["by_part"]["all"]["change_mg_dl"][0];
    assert_eq!(of["n"].as_u64(), Some(u64::try_from(changes.len()).unwrap()));
    let below = changes.iter().filter(|change| **change < of["median"].as_f64().unwrap()).count();
    let above = changes.iter().filter(|change| **change > of["median"].as_f64().unwrap()).count();
    assert!(below <= changes.len() / 2 && above <= changes.len() / 2, "{changes:?} {of}");

    let mut keys = BTreeSet::new();
    all_keys(&object, &mut keys);
    let document = include_str!("../docs/responses.md");
    let (_, documented) = document.split_once("## `--json`").unwrap();
    let documented: BTreeSet<String> = documented
        .lines()
        .filter_map(|line| line.strip_prefix("| `"))
        .map(|line| line.split_once('`').unwrap().0.to_owned())
        .collect();
    assert_eq!(documented, keys);
}

fn all_keys(value: &Value, into: &mut BTreeSet<String>) {
    match value {
        Value::Object(object) => {
            for (key, value) in object {
                into.insert(key.clone());
                all_keys(value, into);
            }
        }
        Value::Array(all) => {
            for value in all {
                all_keys(value, into);
            }
        }
        _ => {}
    }
}

#[test]
fn what_lacks_is_said_with_a_hint() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let refused = |arguments: &[&str], words: [&str; 2]| {
        let done = recheck.say(&[&["responses"], arguments].concat());
        assert_eq!(done.status.code(), Some(1), "{done:?}");
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(words.iter().all(|word| said.contains(word)), "{said}");
    };
    refused(&[], ["error: there is no history yet", "hint: start watching"]);
    let paths = files(&recheck, &[("diary.csv", &fenced("diary"))]);
    refused(&[&paths[0]], ["error: there is no reading in the files", "hint: name files with readings"]);
}

/// A store as a daemon leaves it: the source that gave most, a stretch in which it was doubted, a note at a keyboard, a
/// line of a file, and treatments named by their alert.
#[test]
fn the_command_looks_at_ones_own_history() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    std::fs::create_dir_all(recheck.state()).unwrap();
    let mut store = Store::open(&recheck.state()).unwrap();
    let engine = Engine::new(settings("", None, &[], Purpose::Replay, Zone::UTC).unwrap().policy);
    let addresses = Addresses { channels: Vec::new(), mark: None, life: "life".to_owned() };
    let day = 1_440;
    let mut readings = Life::through(&[(0, 250), (day, 250), (2 * day, 60), (3 * day, 60)]).readings;
    readings.extend((0..20).map(|step| Reading { source: SourceId(1), ..reading(step * 60, 90) }));
    let decision = |condition, reason| Decision {
        what: What::Raised,
        id: Id(4),
        part_of: None,
        condition,
        priority: Priority::Medium,
        rings: true,
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
    let low = decision(Condition::Low, Reason::BeyondLimit { limit: Glucose::mg_dl(70), since: minute(2 * day) });
    let why = Why::Set {
        mode: Mode::Doubted,
        until: minute(600),
        after: None,
        limit: None,
        capped: None,
        waits: false,
        hold: None,
    };
    let doubted = decision(Condition::Mode, Reason::Mode { said: why });
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
    commit(minute(500), &[doubted], Vec::new());
    commit(minute(2 * day), &[low], Vec::new());
    commit(minute(3 * day), &[], readings);
    // Three corrections, one of them while the sensor was doubted, by keyboard and by file; and a low by its number.
    store.say(minute(61), &Said::Noted(insulin(60, 2))).unwrap();
    store.say(minute(551), &Said::Noted(insulin(550, 2))).unwrap();
    let line = Written { at: minute(900), what: Entry::Noted { kind: Kind::Insulin(None), words: String::new() } };
    store.say(minute(905), &Said::Written { line, whence: "diary.csv: line 2".to_owned() }).unwrap();
    let which = Some(Which::Alert(Id(4)));
    store.say(minute(2 * day + 5), &Said::Treated { which, at: minute(2 * day + 5), look: None }).unwrap();
    drop(store);
    let object = |days: &str| -> Value { serde_json::from_str(&said(&recheck, &["--days", days, "--json"])).unwrap() };
    let whole = object("28");
    let rows = |object: &Value, kind: &str| object[kind]["rows"].as_array().unwrap().len();
    assert_eq!((rows(&whole, "corrections"), rows(&whole, "lows"), rows(&whole, "meals")), (2, 1, 0));
    assert_eq!(whole["no_row"]["left_out"], 1);
    assert_eq!(whole["corrections"]["rows"][0]["before"]["mg_dl"], 250.0, "the source that gave most");
    let amounts = |row: usize| whole["corrections"]["rows"][row]["amounts"].as_array().unwrap().clone();
    assert_eq!((amounts(0), amounts(1)), (vec![Value::from(2.0)], Vec::new()));
    let low = &whole["lows"]["rows"][0];
    assert_eq!(
        (&low["said_treated"], &low["in_range_min"], &low["depth"]),
        (&true.into(), &Value::Null, &"low".into())
    );
    let last = object("1");
    assert_eq!((rows(&last, "corrections"), rows(&last, "lows")), (0, 1));
    let text = said(&recheck, &[]);
    assert!(text.contains("too little data for more than a hint"), "{text}");
    assert!(text.contains("No food was noted"), "{text}");
}

/// Real readings with invented notes: the open traces hold readings alone, so that what follows on a note there tells
/// nothing of insulin or food. What is checked is that gaps, doubles and odd cadences of real sensors are met, and that
/// each value is the one that a plain search through all readings finds.
#[test]
fn invented_notes_on_open_data() {
    let Some(folder) = super::open_data::folder("invented_notes_on_open_data") else { return };
    let (mut rows, mut lacking, mut with_gap, mut drifts) = (0, 0, 0, 0);
    for (name, readings) in super::open_data::people(&folder.join("t1d-uom")) {
        let mut life = Life::through(&[(0, 100)]);
        let reading = |row: &Row| Reading { source: SourceId(0), measured: row.measured, glucose: row.glucose };
        life.readings = readings.iter().map(reading).collect();
        let (first, last) = (readings[0].measured, readings[readings.len() - 1].measured);
        let mut day = first;
        while day < last {
            for (minutes, kind) in [
                (70, Kind::Insulin(None)),
                (430, Kind::Insulin(None)),
                (435, Kind::Carbohydrate(None)),
                (760, Kind::Carbohydrate(None)),
                (1_100, Kind::Insulin(None)),
            ] {
                life.notes.push(Note { at: day + Span::minutes(minutes), kind, words: String::new() });
            }
            day = day + Span::hours(24 * 5);
        }
        let responses = life.between(first, last);
        let limits = Limits::default();
        let courses = responses.corrections.iter().map(|row| &row.course);
        for course in courses.chain(responses.meals.iter().map(|row| &row.course)) {
            rows += 1;
            let age = |reading: &Reading| (reading.measured - course.at).as_millis();
            let before = life.readings.iter().rfind(|reading| age(reading) <= 0).unwrap();
            assert_eq!(before, &course.before, "{name}");
            assert!(age(before) >= -20 * 60_000, "{name}");
            for (hour, found) in (1..).zip(course.hours) {
                let apart = |reading: &&Reading| (age(reading) - hour * 3_600_000).abs();
                let nearest = life.readings.iter().min_by_key(apart).filter(|reading| apart(reading) <= 600_000);
                assert_eq!(nearest, found.as_ref(), "{name}");
                lacking += usize::from(found.is_none());
            }
            let following = life.readings.iter().filter(|reading| (1..=4 * 3_600_000).contains(&age(reading)));
            let lowest = following.map(|reading| reading.glucose.hundredths()).min();
            assert_eq!(lowest, course.lowest.map(|reading| reading.glucose.hundredths()), "{name}");
            with_gap += usize::from(course.gap.is_some());
        }
        for correction in &responses.corrections {
            let high = |reading: &Reading| reading.glucose.hundredths() > limits.high.hundredths();
            let at = correction.course.at;
            let after = |from: Timestamp, until: Timestamp| {
                life.readings.iter().filter(move |reading| from < reading.measured && reading.measured <= until)
            };
            let mut back = after(at, at + Span::hours(4)).filter(|reading| {
                !high(reading) && !after(reading.measured, reading.measured + Span::minutes(15)).any(high)
            });
            assert_eq!(back.next().map(|reading| reading.measured - at), correction.in_range, "{name}");
        }
        drifts += responses.background.drifts.len();
    }
    eprintln!("{rows} rows with invented notes; {lacking} values lack, {with_gap} rows with a gap; {drifts} stretches");
    assert!(rows > 300 && lacking > 0 && with_gap > 0 && drifts > 300);
}
