//! Rows to decisions, beside what following the same rows costs at least.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark that cannot run must stop")]

#[allow(dead_code, reason = "each benchmark uses its part of what is made")]
mod made;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use made::walk;
use recheck::config::meant::{Purpose, settings};
use recheck::domain::local::Zone;
use recheck::domain::time::Span;
use recheck::engine::policy::Policy;
use recheck::formats::rows::Row;
use recheck::replay::run::run;

/// About a year at five-minute cadence.
const ROWS: usize = 100_000;

/// Ten years of 365 days at five-minute cadence.
const TEN_YEARS: usize = 1_051_200;

/// Gains of the baseline for the level and the speed: a filter that follows within some readings.
const LEVEL_GAIN: f64 = 0.5;
const SPEED_GAIN: f64 = 0.1;

fn main() {
    divan::main();
}

fn defaults(zone: &str) -> Policy {
    let zone = Zone::named(zone).expect("a zone of the table");
    settings("", None, &[], Purpose::Replay, zone).expect("the defaults are in order").policy
}

fn decisions(policy: &Policy, rows: &[Row]) -> usize {
    let mut decisions = 0;
    run(policy.clone(), rows, |_, _| decisions += 1);
    decisions
}

/// A baseline: a bare loop of a filter of two states, which predicts level and speed and corrects both.
#[expect(clippy::cast_precision_loss, reason = "minutes between rows are far below 2^53")]
#[divan::bench(args = [1, 5])]
fn baseline_two_state_filter(bencher: Bencher<'_, '_>, minutes: i64) {
    let rows = walk(ROWS, Span::minutes(minutes));
    bencher.counter(ItemsCount::new(rows.len())).bench(|| {
        let (mut level, mut speed, mut before, mut missed) = (0.0, 0.0, rows[0].measured, 0.0);
        for row in black_box(&rows) {
            let minutes = (row.measured - before).as_minutes() as f64;
            let miss = row.glucose.as_mg_dl() - (level + speed * minutes);
            level += speed * minutes + LEVEL_GAIN * miss;
            speed += SPEED_GAIN * miss;
            missed += f64::abs(miss);
            before = row.measured;
        }
        missed
    });
}

/// Rows to decisions with the default settings, by the minutes between two rows.
#[divan::bench(args = [("UTC", 5), ("UTC", 1), ("Europe/Madrid", 5), ("Europe/Madrid", 1)])]
fn engine(bencher: Bencher<'_, '_>, (zone, minutes): (&str, i64)) {
    let (policy, rows) = (defaults(zone), walk(ROWS, Span::minutes(minutes)));
    bencher.counter(ItemsCount::new(rows.len())).bench(|| decisions(&policy, black_box(&rows)));
}

/// Ten years of one person.
#[divan::bench(sample_count = 20)]
fn ten_years(bencher: Bencher<'_, '_>) {
    let (policy, rows) = (defaults("Europe/Madrid"), walk(TEN_YEARS, Span::minutes(5)));
    bencher.counter(ItemsCount::new(rows.len())).bench(|| decisions(&policy, black_box(&rows)));
}
