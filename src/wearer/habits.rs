//! How a pretend wearer answers: what they hear, how soon they look, and what they do then. The rules are those of an
//! invented person, and no advice; docs/wearer.md has the numbers.

use super::chance::Chance;
use super::life::{COUNTED_MIN, Life, Why};
use super::person::Means;

/// What becomes of prompts to look again after a high.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Looks {
    /// Nobody heeds them.
    Ignored,
    /// They are heeded like alerts.
    Heeded,
    /// Nobody heeds them; a clock of the wearer's own rings every hour while glucose is high, and that is heeded.
    Hourly,
}

/// Habits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Habits {
    /// Is there an engine that alerts at all?
    pub alerts: bool,
    /// What becomes of prompts to look again.
    pub looks: Looks,
    /// Chance to hear one ring by day.
    pub hears_by_day: f64,
    /// By night.
    pub hears_by_night: f64,
    /// How long it takes to look then, min, at the least and at most.
    pub delay_min: [i32; 2],
    /// Chance to note what was done.
    pub notes: f64,
    /// Chance, at each sight of a high that insulin still works on, to add a dose as if none did.
    pub adds: f64,
    /// That dose, as a factor of what the rule would have without insulin that still works.
    pub adds_factor: f64,
    /// Chance to glance at the sensor in a waking minute, unasked.
    pub glances: f64,
}

impl Habits {
    /// Somebody who mostly waits for insulin to work.
    #[must_use]
    pub const fn calm(looks: Looks) -> Self {
        Self {
            alerts: true,
            looks,
            hears_by_day: 0.8,
            hears_by_night: 0.54,
            delay_min: [1, 10],
            notes: 0.85,
            adds: 0.1,
            adds_factor: 1.0,
            glances: 1.0 / 240.0,
        }
    }

    /// Somebody whom a high annoys.
    #[must_use]
    pub const fn annoyed(looks: Looks) -> Self {
        Self { adds: 0.6, adds_factor: 1.3, ..Self::calm(looks) }
    }

    /// The calm one without alerts.
    #[must_use]
    pub const fn without_alerts() -> Self {
        Self { alerts: false, ..Self::calm(Looks::Ignored) }
    }

    /// Is a ring heard, and if so, after how many minutes is it looked at?
    pub fn hears(&self, asleep: bool, chance: &mut Chance) -> Option<i32> {
        let delay = chance.minutes(self.delay_min[0], self.delay_min[1]);
        chance.happens(if asleep { self.hears_by_night } else { self.hears_by_day }).then_some(delay)
    }
}

/// Above this it is high, and below the other low, to the person, mmol/L.
pub const HIGH_MMOL_L: f64 = 10.0;
/// See [`HIGH_MMOL_L`].
pub const LOW_MMOL_L: f64 = 3.9;

/// A dose that would bring glucose down by less is not taken, mmol/L.
const WORTH_MMOL_L: f64 = 1.5;

/// A pump's site is doubted when a dose for a high is so old, min, and glucose has come down by less than this,
/// mmol/L.
const SITE_DOUBTED_MIN: std::ops::RangeInclusive<i32> = 60..=COUNTED_MIN;
const SITE_DOUBTED_MMOL_L: f64 = 1.0;

/// How often that doubt comes, and how often a forgotten meal dose comes to mind at the sight of a high.
const DOUBTS_SITE: f64 = 0.7;
const REMEMBERS: f64 = 0.6;

/// The sight of a high: takes insulin, changes the site, or waits.
pub fn see_high(life: &mut Life, habits: &Habits, chance: &mut Chance) {
    let Some(seen) = life.seen_mmol_l().filter(|seen| *seen > HIGH_MMOL_L) else { return };
    // Drawn in any case, so that the same sight at the same minute of another life draws the same.
    let (doubts, remembers, adds) =
        (chance.happens(DOUBTS_SITE), chance.happens(REMEMBERS), chance.happens(habits.adds));
    let person = life.person();
    let per_unit = person.mmol_l_per_unit;
    let full = (seen - person.target_mmol_l) / per_unit;
    if person.means == Means::Pump && doubts && has_not_come_down(life, seen) {
        // By pen, as guidance for pumps has it (UCLH 2024): what went in by the site is not counted.
        life.change_site();
        life.dose(full, Why::High, true);
        return;
    }
    if remembers && let Some(meal) = life.remember_meal() {
        life.dose(meal, Why::Remembered, false);
        return;
    }
    let due = full - life.counted(false);
    if due * per_unit >= WORTH_MMOL_L {
        life.dose(due, Why::High, false);
    } else if adds && full * per_unit >= WORTH_MMOL_L {
        life.dose(full * habits.adds_factor, Why::High, false);
    }
}

fn has_not_come_down(life: &Life, seen: f64) -> bool {
    let last = life.doses().iter().rfind(|dose| dose.why == Why::High);
    last.is_some_and(|dose| {
        SITE_DOUBTED_MIN.contains(&(life.minute() - dose.at))
            && dose.seen.is_some_and(|then| seen > then - SITE_DOUBTED_MMOL_L)
    })
}

/// After sugar nobody takes more for so long, min.
const SUGAR_WAIT_MIN: i32 = 12;

/// The sight, or the feeling, of a low: takes sugar unless some was just taken. What is taken is what a person with
/// such a habit takes, sometimes twice that.
pub fn treat_low(life: &mut Life, last_sugar: Option<i32>, chance: &mut Chance) -> bool {
    let (grams, doubles) = (chance.between(14.0, 20.0), chance.happens(0.2));
    if last_sugar.is_some_and(|at| life.minute() - at < SUGAR_WAIT_MIN) {
        return false;
    }
    life.take_sugar(if doubles { 2.0 * grams } else { grams });
    true
}

/// Is a low felt in this minute? Below 60 mg/dL awake half of them within a quarter of an hour, asleep fewer; whoever
/// is below 45 is helped. Ours: no rate by the minute was found.
pub fn feels_low(life: &Life, chance: &mut Chance) -> bool {
    let drawn = chance.unit();
    let blood = life.blood_mmol_l();
    let likely = match (blood, life.asleep()) {
        (..2.5, _) => 0.1,
        (..3.3, false) => 0.045,
        (..3.3, true) => 0.01,
        _ => 0.0,
    };
    drawn < likely
}
