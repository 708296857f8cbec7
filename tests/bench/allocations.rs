//! How often memory is asked for, from text to rows and to decisions. A program of its own: counting takes time.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark that cannot run must stop")]

#[allow(dead_code, reason = "each benchmark uses its part of what is made")]
mod made;

use divan::counter::ItemsCount;
use divan::{AllocProfiler, Bencher, black_box};
use made::{Made, ROWS, Way};
use recheck::config::meant::{Purpose, settings};
use recheck::domain::local::Zone;
use recheck::replay::run::run;

#[global_allocator]
static COUNTED: AllocProfiler = AllocProfiler::system();

fn main() {
    divan::main();
}

#[divan::bench(args = [Way::Iso, Way::Pattern, Way::Wide, Way::Json, Way::Utf16])]
fn rows(bencher: Bencher<'_, '_>, way: Way) {
    let made = Made::new(way);
    bencher.counter(ItemsCount::new(u64::try_from(ROWS).unwrap())).bench(|| black_box(&made).rows());
}

#[divan::bench]
fn engine(bencher: Bencher<'_, '_>) {
    let rows = Made::new(Way::Iso).rows().rows;
    let policy = settings("", None, &[], Purpose::Replay, Zone::UTC).expect("the defaults are in order").policy;
    bencher.counter(ItemsCount::new(rows.len())).bench(|| {
        let mut decisions = 0;
        run(policy.clone(), black_box(&rows), |_, _| decisions += 1);
        decisions
    });
}
