//! Rows into the store, beside a bare loop that inserts the same rows with the same care for the disk.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark that cannot run must stop")]

#[allow(dead_code, reason = "each benchmark uses its part of what is made")]
mod made;

use divan::Bencher;
use divan::counter::ItemsCount;
use made::{Made, Way};
use recheck::config::meant::{Purpose, settings};
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::Timestamp;
use recheck::engine::Engine;
use recheck::outbox::plan::Addresses;
use recheck::store::Store;
use recheck::store::commit::{Intake, Turn};

/// Rows of one piece of a file, about a megabyte.
const PIECE_ROWS: usize = 38_000;

/// 2026-03-02 00:00 UTC.
const NOW: Timestamp = Timestamp::from_seconds(1_772_409_600);

fn main() {
    divan::main();
}

fn pieces() -> Vec<Vec<Reading>> {
    let rows = Made::new(Way::Iso).rows().rows;
    let reading = |row: &recheck::formats::rows::Row| Reading {
        source: SourceId(0),
        measured: row.measured,
        glucose: row.glucose,
    };
    rows.chunks(PIECE_ROWS).map(|piece| piece.iter().map(reading).collect()).collect()
}

/// A baseline: one prepared statement, one transaction a piece, the same table, the same pragmas.
#[divan::bench(sample_count = 20)]
fn baseline_bare_insert(bencher: Bencher<'_, '_>) {
    let pieces = pieces();
    let rows: usize = pieces.iter().map(Vec::len).sum();
    bencher.counter(ItemsCount::new(rows)).with_inputs(|| tempfile::tempdir().unwrap()).bench_refs(|folder| {
        let mut connection = rusqlite::Connection::open(folder.path().join("bare.db")).unwrap();
        connection.pragma_update(None, "journal_mode", "WAL").unwrap();
        connection.pragma_update(None, "synchronous", "FULL").unwrap();
        connection
            .execute_batch(
                "CREATE TABLE readings (
                    source INTEGER NOT NULL, measured INTEGER NOT NULL, hundredths INTEGER NOT NULL,
                    kind INTEGER NOT NULL, arrived INTEGER NOT NULL, PRIMARY KEY (source, measured)
                ) WITHOUT ROWID;",
            )
            .unwrap();
        for piece in &pieces {
            let transaction = connection.transaction().unwrap();
            {
                let mut insert = transaction.prepare("INSERT INTO readings VALUES (?1, ?2, ?3, ?4, ?5)").unwrap();
                for row in piece {
                    let (measured, value) = (row.measured.millis(), row.glucose.hundredths());
                    insert.execute((row.source.0, measured, value, 0, NOW.millis())).unwrap();
                }
            }
            transaction.commit().unwrap();
        }
    });
}

/// What the daemon does with a piece of history: asks what is new, and writes the turn.
#[divan::bench(sample_count = 20)]
fn intake(bencher: Bencher<'_, '_>) {
    let pieces = pieces();
    let rows: usize = pieces.iter().map(Vec::len).sum();
    let policy = settings("", None, &[], Purpose::Replay, Zone::UTC).expect("the defaults are in order").policy;
    let engine = Engine::new(policy);
    let addresses = Addresses { channels: Vec::new(), mark: None, life: "bench".to_owned() };
    bencher.counter(ItemsCount::new(rows)).with_inputs(|| tempfile::tempdir().unwrap()).bench_refs(|folder| {
        let mut store = Store::open(folder.path()).unwrap();
        for piece in &pieces {
            let unknown = store.unknown(piece).unwrap();
            let intake = Intake { readings: unknown.readings, source: Some(SourceId(0)), ..Intake::default() };
            let (state, policy) = (engine.snapshot(), engine.policy());
            let turn =
                Turn { at: NOW, event: None, state, policy, decisions: &[], intake: Some(&intake), answer: None };
            store.commit(&turn, &addresses).unwrap();
        }
    });
}

/// The same rows once more: all of them are known.
#[divan::bench(sample_count = 20)]
fn known_again(bencher: Bencher<'_, '_>) {
    let pieces = pieces();
    let rows: usize = pieces.iter().map(Vec::len).sum();
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let policy = settings("", None, &[], Purpose::Replay, Zone::UTC).expect("the defaults are in order").policy;
    let engine = Engine::new(policy);
    let addresses = Addresses { channels: Vec::new(), mark: None, life: "bench".to_owned() };
    for piece in &pieces {
        let intake = Intake { readings: piece.clone(), source: Some(SourceId(0)), ..Intake::default() };
        let (state, policy) = (engine.snapshot(), engine.policy());
        let turn = Turn { at: NOW, event: None, state, policy, decisions: &[], intake: Some(&intake), answer: None };
        store.commit(&turn, &addresses).unwrap();
    }
    bencher
        .counter(ItemsCount::new(rows))
        .bench_local(|| pieces.iter().map(|piece| store.unknown(piece).unwrap().readings.len()).sum::<usize>());
}
