//! The lab: a season lived again with its figures, and many choices of settings over it, beside what following the same
//! rows costs at least.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark that cannot run must stop")]

#[allow(dead_code, reason = "each benchmark uses its part of what is made")]
mod made;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use made::walk;
use recheck::domain::local::Zone;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::effect::Decision;
use recheck::engine::policy::Policy;
use recheck::formats::rows::Row;
use recheck::replay::run::run;
use recheck::replay::suggest::choices::{Choice, Search};
use recheck::replay::suggest::{Days, counts};
use recheck::replay::summary::Measures;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Ninety days at five-minute cadence, and so many choices.
const SEASON: usize = 90 * 288;
const CHOICES: usize = 500;

fn main() {
    divan::main();
}

fn season() -> Vec<Row> {
    walk(SEASON, Span::minutes(5))
}

/// A baseline: the rows run through the engine, and nothing is made of what it decides.
#[divan::bench]
fn baseline_engine_alone(bencher: Bencher<'_, '_>) {
    let (rows, policy) = (season(), Policy::new(Zone::UTC));
    bencher.counter(ItemsCount::new(rows.len())).bench(|| {
        let mut decided = 0_usize;
        run(policy.clone(), black_box(&rows), |_, _| decided += 1);
        decided
    });
}

/// The same with all figures of `recheck replay`.
#[divan::bench]
fn replay(bencher: Bencher<'_, '_>) {
    let (rows, policy) = (season(), Policy::new(Zone::UTC));
    bencher.counter(ItemsCount::new(rows.len())).bench(|| {
        let mut decisions: Vec<(Timestamp, Decision)> = Vec::new();
        run(policy.clone(), black_box(&rows), |at, decision| decisions.push((at, decision.clone())));
        let mut measures = Measures::default();
        measures.add_file(&rows, &decisions, &policy);
        measures.summary()
    });
}

/// Five hundred choices of settings over the season, on all cores, as `recheck suggest` does.
#[divan::bench(sample_count = 5)]
fn suggest(bencher: Bencher<'_, '_>) {
    let policy = Policy::new(Zone::UTC);
    let days = Days::new(season(), &policy).expect("ninety days are enough");
    let sides = [Search::High, Search::Low, Search::VeryHigh, Search::Forecast];
    let all: Vec<Choice> = sides.iter().flat_map(|side| side.choices(&policy)).collect();
    let choices: Vec<&Choice> = all.iter().cycle().take(CHOICES).collect();
    bencher.counter(ItemsCount::new(CHOICES * SEASON)).bench(|| {
        let next = AtomicUsize::new(0);
        let rings = || {
            let mut sum = 0.0;
            while let Some(choice) = choices.get(next.fetch_add(1, Ordering::Relaxed)) {
                let mut decisions: Vec<(Timestamp, Decision)> = Vec::new();
                run(choice.policy.clone(), days.rows(), |at, decision| {
                    if counts(decision) {
                        decisions.push((at, decision.clone()));
                    }
                });
                sum += days.judge(&decisions).first.rings_per_day;
            }
            sum
        };
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        std::thread::scope(|scope| {
            let workers: Vec<_> = (0..cores).map(|_| scope.spawn(rings)).collect();
            workers.into_iter().map(|worker| worker.join().expect("no choice fails")).sum::<f64>()
        })
    });
}
