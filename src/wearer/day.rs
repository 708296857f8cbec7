//! What one day brings a pretend wearer: meals, what is guessed, late or forgotten, exercise, a site that fails. All
//! of it comes from the seed and the day alone, so that the same days can be lived with other habits.
//!
//! The numbers behind it, with their sources: docs/wearer.md.

use super::body::Pace;
use super::chance::{Chance, Purpose};

/// One meal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meal {
    /// When it is eaten, minute of the day.
    pub at: i32,
    /// Carbohydrate in it, grams.
    pub grams: f64,
    /// What its eater takes it for, grams.
    pub guessed: f64,
    /// How it is absorbed.
    pub pace: Pace,
    /// When its dose is taken, minute of the day; none: it is forgotten, or the meal is a bite nobody doses for.
    pub dosed_at: Option<i32>,
    /// Was the dose forgotten, rather than not wanted?
    pub forgotten: bool,
}

/// A stretch of exercise, in minutes of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Exercise {
    /// Its beginning.
    pub from: i32,
    /// Its end.
    pub until: i32,
    /// Is something eaten before it?
    pub eats: bool,
}

/// One day.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// How sensitive to insulin the body is today, as a factor.
    pub sensitivity: f64,
    /// Meals in the order of the day.
    pub meals: Vec<Meal>,
    /// Exercise.
    pub exercise: Option<Exercise>,
    /// When a pump's site begins to fail, and the share it still lets in.
    pub site_fails: Option<(i32, f64)>,
    /// When the long-acting dose is taken, minute of the day; none: forgotten.
    pub long_acting_at: Option<i32>,
}

/// A usual meal: minute of the day, how far that moves, grams, how often there is one, and whether it is a bite.
struct Usual(i32, i32, f64, f64, bool);

const USUAL: [Usual; 5] = [
    Usual(450, 40, 45.0, 0.95, false),
    Usual(780, 50, 65.0, 1.0, false),
    Usual(960, 50, 18.0, 0.45, true),
    Usual(1_160, 50, 70.0, 1.0, false),
    Usual(1_300, 30, 15.0, 0.25, true),
];

/// 99 % of people miss at least one meal dose in two weeks (news report of a study, ausdoc.com.au): one in ten of 42
/// meals.
const FORGOTTEN: f64 = 0.10;

/// 18 % miss a basal dose in two weeks (the same report): 1.4 % a day.
const LONG_ACTING_FORGOTTEN: f64 = 0.014;

impl Day {
    /// That day of that seed.
    #[must_use]
    pub fn plan(seed: u64, day: i32) -> Self {
        let mut chance = Chance::of(seed, Purpose::Day, day.unsigned_abs().into());
        let sensitivity = chance.factor(0.13);
        let meals = USUAL.iter().filter_map(|usual| meal(usual, &mut chance)).collect();
        let moves = chance.happens(0.28);
        let from = 1_050 + chance.minutes(-60, 60);
        let exercise = Exercise { from, until: from + chance.minutes(30, 60), eats: chance.happens(0.5) };
        let fails = chance.happens(0.05);
        let site = (chance.minutes(360, 1_380), chance.between(0.0, 0.4));
        let remembers = !chance.happens(LONG_ACTING_FORGOTTEN);
        let long_acting_at = 1_320 + chance.minutes(-45, 45);
        Self {
            sensitivity,
            meals,
            exercise: moves.then_some(exercise),
            site_fails: fails.then_some(site),
            long_acting_at: remembers.then_some(long_acting_at),
        }
    }
}

/// Draws the same number of times whatever comes of it.
fn meal(Usual(at, moves, grams, often, bite): &Usual, chance: &mut Chance) -> Option<Meal> {
    let eaten = chance.happens(*often);
    let at = at + chance.minutes(-moves, *moves);
    let grams = grams * chance.factor(0.30);
    // People's guesses are off by a fifth and more in both directions (common practice, no source).
    let guessed = grams * chance.factor(0.22);
    let pace = if chance.happens(0.25) && !bite { Pace::Slow } else { Pace::Meal };
    let (forgotten, late) = (chance.happens(FORGOTTEN), chance.happens(0.25));
    let off = if late { chance.minutes(15, 45) } else { chance.minutes(-12, 5) };
    let undosed = chance.happens(0.5) && *bite;
    let forgotten = forgotten && !undosed;
    let dosed_at = (!forgotten && !undosed).then_some(at + off);
    eaten.then_some(Meal { at, grams, guessed, pace, dosed_at, forgotten })
}
