//! Two storms over the running program: a writer that does to its files all that exporters do, ten thousand
//! times, and a power cut at any moment, two hundred times. Nothing may be lost, doubled or altered.

use super::real::{Got, Receiver, Recheck, now_seconds, wait_for, wait_within, webhook, written};
use recheck::domain::time::Timestamp;
use recheck::store::Store;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::Write as _;
use std::path::PathBuf;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Set to a seed that was printed, the same story is told again; what the computer makes of it may differ.
const SEED: &str = "RECHECK_STORM_SEED";

/// A small generator (Knuth's MMIX constants). Its seed is told when the test that rolls it fails.
struct Dice {
    seed: u64,
    state: u64,
}

impl Dice {
    fn new() -> Self {
        let chosen = std::env::var(SEED).ok().map(|text| text.parse().expect("the seed is a number"));
        let seed = chosen.unwrap_or_else(|| {
            let since = SystemTime::now().duration_since(UNIX_EPOCH).expect("it is after 1970");
            u64::from(since.subsec_nanos()) ^ since.as_secs()
        });
        Self { seed, state: seed }
    }

    /// A number from 0 up to, and without, the bound.
    fn below(&mut self, bound: usize) -> usize {
        self.state = self.state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from((self.state >> 33) % u64::try_from(bound).unwrap()).unwrap()
    }

    fn one_in(&mut self, odds: usize) -> bool {
        self.below(odds) == 0
    }

    fn shuffle<T>(&mut self, all: &mut [T]) {
        for place in (1..all.len()).rev() {
            all.swap(place, self.below(place + 1));
        }
    }

    fn pause(&mut self, longest_ms: usize) {
        let micros = self.below(longest_ms * 1_000);
        std::thread::sleep(Duration::from_micros(u64::try_from(micros).unwrap()));
    }
}

impl Drop for Dice {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("{SEED}={}", self.seed);
        }
    }
}

/// What the store holds: the time of each reading in seconds, and its value in hundredths of a mg/dL. That
/// no time is there twice is checked on the way.
fn stored(store: &Store) -> BTreeMap<i64, i32> {
    let readings = store.readings_since(Timestamp::from_seconds(0)).expect("the store can be read");
    let count = readings.len();
    let rows: BTreeMap<i64, i32> = readings
        .into_iter()
        .map(|reading| {
            assert_eq!(reading.measured.millis() % 1_000, 0, "{reading:?} is at no time that was written");
            (reading.measured.millis() / 1_000, reading.glucose.hundredths())
        })
        .collect();
    assert_eq!(rows.len(), count, "a reading is there twice");
    rows
}

/// The store, once the program has made it.
fn store_of(recheck: &Recheck) -> Store {
    wait_for("a store", || Store::look(&recheck.state()).ok().flatten())
}

/// Steps of the writer.
const STEPS: usize = 10_000;

/// A half line this old is finished before anything else happens.
const HALF_MAX: Duration = Duration::from_millis(500);

/// A half line this old may have been taken for a whole one: the program waits three seconds for its end.
const HALF_TOO_OLD: Duration = Duration::from_millis(2_500);

/// More files than this are not left lying about.
const FILES_MAX: usize = 40;

/// The file that is appended to and rotated, and the one that is never deleted and grows long.
const DAY: &str = "day.csv";
const LONG: &str = "long.csv";

/// Time in seconds, value in hundredths of a mg/dL.
type Row = (i64, i32);

/// One file, as the writer knows it.
struct Export {
    rows: Vec<Row>,
    half: Option<Half>,
    end_of_line: &'static str,
}

/// A row of which only the beginning is in the file.
struct Half {
    row: Row,
    rest: String,
    since: Instant,
}

impl Export {
    fn new(dice: &mut Dice) -> Self {
        Self { rows: Vec::new(), half: None, end_of_line: if dice.one_in(4) { "\r\n" } else { "\n" } }
    }

    fn line(&self, row: Row) -> String {
        let (whole, hundredths) = (row.1 / 100, row.1 % 100);
        let value = if hundredths == 0 { whole.to_string() } else { format!("{whole}.{hundredths:02}") };
        format!("{},{value}{}", written(row.0), self.end_of_line)
    }

    fn lines(&self, rows: &[Row]) -> String {
        rows.iter().map(|row| self.line(*row)).collect()
    }

    fn text(&self) -> String {
        format!("timestamp,glucose{}{}", self.end_of_line, self.lines(&self.rows))
    }
}

struct Writer {
    dice: Dice,
    folder: PathBuf,
    store: Store,
    files: BTreeMap<String, Export>,
    made: usize,
    /// Rows not written yet.
    fresh: Vec<Row>,
    /// All rows written, or half written.
    wrote: BTreeMap<i64, i32>,
    /// Rows that stayed half for so long, on a computer that had other things to do, that the half may have
    /// been taken in.
    half_too_long: BTreeSet<i64>,
}

impl Writer {
    fn new(folder: PathBuf, store: Store) -> Self {
        let mut dice = Dice::new();
        // Older than anything counts as current, and in range: nothing rings, and no silence begins.
        let (first, last) = (now_seconds() - 12 * 3_600, now_seconds() - 70 * 60);
        let mut fresh: Vec<Row> = (first..last)
            .map(|at| (at, 8_000 + 50 * i32::try_from(dice.below(180)).expect("a small number")))
            .collect();
        dice.shuffle(&mut fresh);
        let mut writer = Self {
            dice,
            folder,
            store,
            files: BTreeMap::new(),
            made: 0,
            fresh,
            wrote: BTreeMap::new(),
            half_too_long: BTreeSet::new(),
        };
        for name in [DAY, LONG] {
            let export = Export::new(&mut writer.dice);
            fs::write(writer.path(name), export.text()).unwrap();
            writer.files.insert(name.to_owned(), export);
        }
        writer
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    fn rows(&mut self, most: usize) -> Vec<Row> {
        let count = 1 + self.dice.below(most);
        let rows = self.fresh.split_off(self.fresh.len() - count);
        self.wrote.extend(rows.iter().copied());
        rows
    }

    fn any_file(&mut self) -> String {
        // The two that are written to for long get more than their share.
        match self.dice.below(6) {
            0 | 1 => DAY.to_owned(),
            2 => LONG.to_owned(),
            _ => {
                let place = self.dice.below(self.files.len());
                self.files.keys().nth(place).expect("there are files").clone()
            }
        }
    }

    fn new_name(&mut self) -> String {
        self.made += 1;
        // New files sort before, between and after the others.
        format!("{}-{}.csv", ["a", "f", "x"][self.dice.below(3)], self.made)
    }

    fn step(&mut self) {
        self.finish_old_halves();
        let name = self.any_file();
        match self.dice.below(100) {
            0..25 => self.append(&name),
            25..48 => self.half(&name),
            48..54 => self.new_file(),
            54..68 => self.rewrite(&name),
            68..75 => self.truncate(&name),
            75..80 => self.rotate(),
            80..87 => self.copy(&name),
            87..94 => self.touch(&name),
            _ => self.delete(),
        }
        if self.files.len() > FILES_MAX {
            self.delete();
        }
        if self.dice.one_in(40) {
            self.dice.pause(20);
        }
    }

    fn append_text(&self, name: &str, text: &str) {
        let mut file = File::options().append(true).open(self.path(name)).unwrap();
        file.write_all(text.as_bytes()).unwrap();
    }

    /// What is still owed to a half line; it counts as written from now on.
    fn take_rest(&mut self, name: &str) -> String {
        let export = self.files.get_mut(name).unwrap();
        let Some(half) = export.half.take() else { return String::new() };
        export.rows.push(half.row);
        if half.since.elapsed() > HALF_TOO_OLD {
            self.half_too_long.insert(half.row.0);
        }
        half.rest
    }

    fn finish_half(&mut self, name: &str) {
        let rest = self.take_rest(name);
        if !rest.is_empty() {
            self.append_text(name, &rest);
        }
    }

    fn finish_old_halves(&mut self) {
        let old = |export: &Export| export.half.as_ref().is_some_and(|half| half.since.elapsed() > HALF_MAX);
        let names: Vec<String> =
            self.files.iter().filter(|(_, export)| old(export)).map(|(name, _)| name.clone()).collect();
        for name in names {
            self.finish_half(&name);
        }
    }

    fn append(&mut self, name: &str) {
        let rest = self.take_rest(name);
        let rows = self.rows(4);
        let export = self.files.get_mut(name).unwrap();
        export.rows.extend(&rows);
        let text = format!("{rest}{}", export.lines(&rows));
        self.append_text(name, &text);
    }

    fn half(&mut self, name: &str) {
        if self.files[name].half.is_some() {
            return self.finish_half(name);
        }
        let row = self.rows(1)[0];
        let line = self.files[name].line(row);
        let (first, rest) = line.split_at(1 + self.dice.below(line.len() - 1));
        let half = Half { row, rest: rest.to_owned(), since: Instant::now() };
        self.append_text(name, first);
        self.files.get_mut(name).unwrap().half = Some(half);
    }

    /// Writes a file under a name that does not count, and gives it its own.
    fn write_aside(&self, name: &str, text: &str) {
        let aside = self.path(&format!("{name}.tmp"));
        fs::write(&aside, text).unwrap();
        fs::rename(aside, self.path(name)).unwrap();
    }

    fn add_file(&mut self, rows: Vec<Row>) {
        let name = self.new_name();
        let export = Export { rows, ..Export::new(&mut self.dice) };
        self.write_aside(&name, &export.text());
        self.files.insert(name, export);
    }

    fn new_file(&mut self) {
        let rows = self.rows(6);
        self.add_file(rows);
    }

    /// The same rows and new ones: at the end, at the front, or in their place by time. Sometimes as many as
    /// are new leave at the front, as in an export of the last day: then the file keeps its size.
    fn rewrite(&mut self, name: &str) {
        self.take_rest(name);
        let new = self.rows(3);
        if self.dice.one_in(4) {
            let settled = stored(&self.store);
            let export = self.files.get_mut(name).unwrap();
            let leave = export.rows.iter().take(new.len()).take_while(|row| settled.contains_key(&row.0)).count();
            export.rows.drain(..leave);
        }
        let order = self.dice.below(3);
        let export = self.files.get_mut(name).unwrap();
        match order {
            0 => export.rows.extend(new),
            1 => export.rows.splice(0..0, new).for_each(drop),
            _ => {
                export.rows.extend(new);
                export.rows.sort_unstable();
            }
        }
        let text = export.text();
        if self.dice.one_in(2) {
            self.write_aside(name, &text);
        } else {
            fs::write(self.path(name), text).unwrap();
        }
    }

    /// Empty for a moment, then all there again, as it was or the other way round.
    fn truncate(&mut self, name: &str) {
        self.take_rest(name);
        let mut file = File::create(self.path(name)).unwrap();
        if self.dice.one_in(3) {
            self.dice.pause(3);
        }
        if self.dice.one_in(3) {
            self.files.get_mut(name).unwrap().rows.reverse();
        }
        let text = self.files[name].text();
        // Sometimes in two writes, cut anywhere.
        let (first, second) = text.split_at(self.dice.below(text.len()));
        file.write_all(first.as_bytes()).unwrap();
        if self.dice.one_in(3) {
            self.dice.pause(3);
        }
        file.write_all(second.as_bytes()).unwrap();
    }

    /// The day becomes day-1, day-1 becomes day-2, and so on; the last gets a name for good.
    fn rotate(&mut self) {
        let forever = self.new_name();
        for (from, to) in [
            ("day-3.csv", forever.as_str()),
            ("day-2.csv", "day-3.csv"),
            ("day-1.csv", "day-2.csv"),
            (DAY, "day-1.csv"),
        ] {
            if let Some(export) = self.files.remove(from) {
                fs::rename(self.path(from), self.path(to)).unwrap();
                self.files.insert(to.to_owned(), export);
            }
        }
        let export = Export::new(&mut self.dice);
        let mut file = File::create(self.path(DAY)).unwrap();
        if self.dice.one_in(3) {
            self.dice.pause(3);
        }
        file.write_all(export.text().as_bytes()).unwrap();
        self.files.insert(DAY.to_owned(), export);
    }

    /// Rows that are elsewhere as well.
    fn copy(&mut self, from: &str) {
        let mut rows = self.files[from].rows.clone();
        rows.truncate(30);
        if self.dice.one_in(3) {
            self.dice.shuffle(&mut rows);
        }
        if self.dice.one_in(2) {
            return self.add_file(rows);
        }
        let to = self.any_file();
        self.finish_half(&to);
        let export = self.files.get_mut(&to).unwrap();
        export.rows.extend(&rows);
        let text = export.lines(&rows);
        self.append_text(&to, &text);
    }

    fn touch(&self, name: &str) {
        let file = File::options().append(true).open(self.path(name)).unwrap();
        file.set_modified(SystemTime::now()).unwrap();
    }

    /// Deletes files of which everything has been taken in.
    fn delete(&mut self) {
        let settled = stored(&self.store);
        let may_go = |name: &str, export: &Export| {
            name != DAY
                && name != LONG
                && export.half.is_none()
                && export.rows.iter().all(|row| settled.contains_key(&row.0))
        };
        let names: Vec<String> =
            self.files.iter().filter(|(name, export)| may_go(name, export)).map(|(name, _)| name.clone()).collect();
        for name in names {
            if self.dice.one_in(2) {
                fs::remove_file(self.path(&name)).unwrap();
                self.files.remove(&name);
            }
        }
    }

    /// No half is left. The last file sorts after all others: when its row is known, a whole look has been
    /// taken at everything as it now is.
    fn stop(&mut self) {
        let names: Vec<String> = self.files.keys().cloned().collect();
        for name in names {
            self.finish_half(&name);
        }
        let last = self.rows(1)[0];
        let export = Export { rows: vec![last], ..Export::new(&mut self.dice) };
        self.write_aside("z.csv", &export.text());
        let seen = wait_within(Duration::from_secs(60), || stored(&self.store).get(&last.0).copied());
        assert_eq!(seen, Some(last.1), "the last row of all");
    }

    /// Where a row is written, for the words of a failure.
    fn places(&self, at: i64) -> Vec<&str> {
        let holds = |export: &Export| export.rows.iter().any(|row| row.0 == at);
        self.files.iter().filter(|(_, export)| holds(export)).map(|(name, _)| name.as_str()).collect()
    }
}

#[test]
fn a_writer_who_does_everything_to_its_files_loses_nothing() {
    write_and_watch("watch = \"events\"\n");
}

/// The same where the file system tells of no change.
#[test]
fn nor_does_it_when_there_are_no_events() {
    write_and_watch("watch = \"poll\"\nsubfolders = true\n");
}

fn write_and_watch(watching: &str) {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&format!("{watching}\n{}", webhook(&receiver.url())));
    recheck.watch();
    let mut writer = Writer::new(recheck.exports(), store_of(&recheck));
    for _ in 0..STEPS {
        writer.step();
    }
    writer.stop();
    let known = stored(&writer.store);
    let mut wrong = Vec::new();
    for (at, value) in &writer.wrote {
        match known.get(at) {
            Some(known) if known == value || writer.half_too_long.contains(at) => {}
            Some(known) => wrong.push(format!("{}: {value} was written, {known} is stored", written(*at))),
            None => wrong.push(format!("{}: {value} is lost; it stands in {:?}", written(*at), writer.places(*at))),
        }
    }
    let invented = known.iter().filter(|(at, _)| !writer.wrote.contains_key(at));
    wrong.extend(invented.map(|(at, value)| format!("{}: {value} was never written", written(*at))));
    assert!(wrong.is_empty(), "of {} rows {} are wrong:\n{}", writer.wrote.len(), wrong.len(), wrong.join("\n"));
    let slow = u64::try_from(writer.half_too_long.len()).unwrap();
    assert!(recheck.counted("refused") <= slow, "{} rows were refused", recheck.counted("refused"));
    assert_eq!(recheck.counted("taken"), u64::try_from(known.len()).unwrap(), "a row was taken in twice");
    assert!(receiver.got().is_empty(), "nothing of this rings: {:?}", receiver.got());
}

/// Power cuts in one state folder, and how many folders there are.
const CUTS: usize = 100;
const LIVES: usize = 2;

/// A cut comes at most this long after what it is to hit.
const CUT_WITHIN_MS: usize = 40;

/// One low reading is one alert: it ends with the next reading in range, and the next low rings at once.
const RINGS_CHEAPLY: &str = "[level.low]\ndeadband = 0\noff_delay = \"0m\"\nagain_quiet = \"0m\"\n";

/// Readings are this far apart, so that a folder's worth of them fits into the minutes that count as now.
const APART_SECONDS: i64 = 2;

/// Where a cut strikes.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Strikes {
    /// It watches, and the reading has just come.
    Watching,
    /// It starts, and the reading is there.
    Starting,
    /// It starts, and the reading comes while nobody watches.
    Before,
    /// Somebody reads the message and has not said so yet.
    Held,
    /// Again and again.
    Often,
}

#[test]
fn a_power_cut_at_any_moment_loses_no_alert_and_marks_each_repeat() {
    let mut dice = Dice::new();
    for _ in 0..LIVES {
        live_through_cuts(&mut dice);
    }
}

/// One state folder, from its first reading to its last cut.
fn live_through_cuts(dice: &mut Dice) {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&format!("{RINGS_CHEAPLY}\n{}", webhook(&receiver.url())));
    recheck.watch();
    let store = store_of(&recheck);
    let mut all = BTreeMap::new();
    let mut lows = BTreeSet::new();
    let first = now_seconds() - 8 * 60;
    for cut in 0..CUTS {
        let calm = first + 2 * APART_SECONDS * i64::try_from(cut).unwrap();
        let low = calm + APART_SECONDS;
        recheck.drop_rows(&format!("{cut:03}-calm.csv"), "glucose", &[(calm, 90.0)]);
        if dice.one_in(2) {
            wait_for("the reading in range", || stored(&store).contains_key(&calm).then_some(()));
        }
        strike(dice, &mut recheck, &receiver, (&format!("{cut:03}-low.csv"), low));
        wait_for(&format!("the low of {} to be accepted", written(low)), || is_accepted(&receiver, low).then_some(()));
        all.extend([(calm, 9_000), (low, 5_800)]);
        lows.insert(low);
    }
    wait_for("the last reading", || (stored(&store).len() >= all.len()).then_some(()));
    assert_eq!(stored(&store), all);
    assert_eq!(recheck.counted("taken"), u64::try_from(all.len()).unwrap(), "a reading was taken in twice");
    assert_eq!(recheck.counted("refused"), 0);
    judge(&receiver, &lows);
}

/// A new file with one low reading, a cut, and the next start; in this order or in another.
fn strike(dice: &mut Dice, recheck: &mut Recheck, receiver: &Receiver, (name, low): (&str, i64)) {
    // Below 60 it rings whatever rang just before (promise L2).
    let drop_low = |recheck: &Recheck| recheck.drop_rows(name, "glucose", &[(low, 58.0)]);
    let strikes = match dice.below(20) {
        0..8 => Strikes::Watching,
        8..12 => Strikes::Starting,
        12..15 => Strikes::Before,
        15..18 => Strikes::Held,
        _ => Strikes::Often,
    };
    match strikes {
        Strikes::Watching | Strikes::Often => {
            drop_low(recheck);
        }
        Strikes::Starting => {
            recheck.kill();
            recheck.start();
            drop_low(recheck);
        }
        Strikes::Before => {
            recheck.kill();
            recheck.start();
        }
        Strikes::Held => {
            let unanswered = || receiver.got().iter().filter(|got| got.answered.is_none()).count();
            let before = unanswered();
            receiver.hold(true);
            drop_low(recheck);
            wait_for("a message that is held", || (unanswered() > before).then_some(()));
        }
    }
    for _ in 0..if strikes == Strikes::Often { 4 } else { 1 } {
        dice.pause(CUT_WITHIN_MS);
        recheck.kill();
        receiver.hold(false);
        if strikes == Strikes::Before {
            drop_low(recheck);
        }
        recheck.start();
    }
}

/// When the reading was measured that a message is about.
fn reading_at(got: &Got) -> Option<i64> {
    let text = got.body["reading_at"].as_str()?;
    Some(chrono::DateTime::parse_from_rfc3339(text).expect("a time of RFC 3339").timestamp())
}

fn is_accepted(receiver: &Receiver, low: i64) -> bool {
    receiver.about("low").iter().any(|got| reading_at(got) == Some(low) && got.answered == Some(200))
}

/// What came in over a whole life, in the order it came.
fn judge(receiver: &Receiver, lows: &BTreeSet<i64>) {
    let got = receiver.got();
    let mut keys: BTreeMap<String, usize> = BTreeMap::new();
    let mut about: BTreeMap<(String, String, Option<i64>), String> = BTreeMap::new();
    let mut accepted = BTreeSet::new();
    for one in &got {
        let text = |name: &str| one.body[name].as_str().unwrap_or_default().to_owned();
        let key = text("key");
        assert!(!key.is_empty() && one.header("idempotency-key") == Some(&key), "{one:?}");
        let arrivals = keys.entry(key.clone()).or_default();
        *arrivals += 1;
        assert!(*arrivals == 1 || one.body["may_repeat"] == true, "arrival {arrivals} is not marked: {one:?}");
        assert_eq!(text("condition"), "low", "nothing else is wrong here: {one:?}");
        let known = about.entry((text("condition"), text("what"), reading_at(one))).or_insert_with(|| key.clone());
        assert_eq!(*known, key, "one alert under two keys: {one:?}");
        if one.answered == Some(200) {
            accepted.extend(reading_at(one));
        }
    }
    assert_eq!(&accepted, lows, "each low rings, and nothing but lows");
    // Messages that were held have come again, so at least those were looked at above.
    assert!(keys.values().any(|arrivals| *arrivals > 1), "no cut led to a repeat: this tests nothing");
}
