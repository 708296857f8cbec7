//! Text to rows, and text to decisions, beside what walking the same bytes costs at least.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark that cannot run must stop")]

#[allow(dead_code, reason = "each benchmark uses its part of what is made")]
mod made;

use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};
use made::{Made, ROWS, Way};
use recheck::config::meant::{Purpose, settings};
use recheck::domain::local::Zone;
use recheck::replay::run::{put_in_order, run};

fn main() {
    divan::main();
}

fn counted<'a, 'b>(bencher: Bencher<'a, 'b>, made: &Made) -> Bencher<'a, 'b> {
    bencher.counter(ItemsCount::new(u64::try_from(ROWS).unwrap())).counter(BytesCount::new(made.bytes.len()))
}

/// A baseline: a bare loop that counts the ends of lines.
#[divan::bench(args = [Way::Iso, Way::Wide, Way::Json])]
fn baseline_count_lines(bencher: Bencher<'_, '_>, way: Way) {
    let made = Made::new(way);
    counted(bencher, &made).bench(|| {
        let ends: u64 = black_box(&made.bytes).iter().map(|byte| u64::from(*byte == b'\n')).sum();
        ends
    });
}

/// A baseline: the csv crate walks the same records and reads none of them.
#[divan::bench(args = [Way::Iso, Way::Wide])]
fn baseline_csv_crate(bencher: Bencher<'_, '_>, way: Way) {
    let made = Made::new(way);
    counted(bencher, &made).bench(|| {
        let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(black_box(made.bytes.as_slice()));
        let (mut record, mut cells) = (csv::ByteRecord::new(), 0);
        while reader.read_byte_record(&mut record).unwrap() {
            cells += record.len();
        }
        cells
    });
}

/// A baseline: the JSON crate reads the same lines, and looks at nothing in them.
#[divan::bench]
fn baseline_json_crate(bencher: Bencher<'_, '_>) {
    let made = Made::new(Way::Json);
    counted(bencher, &made).bench(|| {
        let lines = black_box(made.bytes.as_slice()).split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
        lines
            .map(|line| serde_json::from_slice::<serde_json::Value>(line).unwrap())
            .filter(serde_json::Value::is_object)
            .count()
    });
}

/// Text to rows.
#[divan::bench(args = [Way::Iso, Way::Pattern, Way::Wide, Way::Json, Way::Utf16])]
fn rows(bencher: Bencher<'_, '_>, way: Way) {
    let made = Made::new(way);
    assert_eq!(i64::try_from(made.rows().rows.len()).unwrap(), ROWS);
    counted(bencher, &made).bench(|| black_box(&made).rows());
}

/// The same where every time is looked up in a zone that changes its clocks.
#[divan::bench(args = [Way::Iso, Way::Pattern])]
fn rows_in_madrid(bencher: Bencher<'_, '_>, way: Way) {
    let made = Made::new(way).in_zone("Europe/Madrid");
    counted(bencher, &made).bench(|| black_box(&made).rows());
}

/// Text to decisions, with the default settings.
#[divan::bench]
fn decisions(bencher: Bencher<'_, '_>) {
    let made = Made::new(Way::Iso);
    let policy = settings("", None, &[], Purpose::Replay, Zone::UTC).expect("the defaults are in order").policy;
    counted(bencher, &made).bench(|| {
        let mut rows = black_box(&made).rows().rows;
        put_in_order(&mut rows);
        let mut decisions = 0;
        run(policy.clone(), &rows, |_, _| decisions += 1);
        decisions
    });
}
