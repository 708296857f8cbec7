//! What the program takes of a computer: memory that does not grow with files, and bytes read of a file
//! that was rewritten. The figures are the kernel's own: proc(5), `VmHWM` and `rchar`.

use super::{Recheck, now_seconds, wait_within, webhook, written};
use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{BufWriter, Write as _};
use std::path::Path;
use std::time::Duration;

/// Reading hundreds of megabytes on a busy computer takes longer than anything else that is waited for.
const READ_MAX: Duration = Duration::from_secs(240);

/// Columns of which only some rows are readings, so that a large file leaves a small store.
const ONLY: &str = "only_column = \"kind\"\nonly = \"glucose\"\ntime = \"time\"\nglucose = \"value\"\n\n";

/// Rows of another kind after each reading.
const OTHERS: usize = 999;

/// Most memory that a file twenty times as large, or thirty times as many files, may take more.
const LARGE_FILE_KIB: u64 = 4 * 1_024;
const EACH_FILE_BYTES: u64 = 800;

/// Bytes that may be read when one row was added to a file of 20 MB.
const REWRITTEN_BYTES_MAX: u64 = 200_000;

fn quiet(settings: &str) -> Recheck {
    Recheck::new(&format!("{settings}{}", webhook("http://127.0.0.1:9/")))
}

/// A number from a file of /proc.
fn number(recheck: &Recheck, file: &str, name: &str) -> u64 {
    let text = fs::read_to_string(format!("/proc/{}/{file}", recheck.process())).unwrap();
    let line = text.lines().find(|line| line.starts_with(name)).unwrap();
    line.split_ascii_whitespace().nth(1).unwrap().parse().unwrap()
}

fn wait_until_counted(recheck: &Recheck, word: &str, count: u64) {
    wait_within(READ_MAX, || (recheck.counted(word) >= count).then_some(()))
        .unwrap_or_else(|| panic!("{} of {count} {word} after {READ_MAX:?}", recheck.counted(word)));
}

/// A file of readings with many rows of another kind between them; how many readings and others it holds.
fn large_file(path: &Path, bytes: usize) -> (u64, u64) {
    let mut file = BufWriter::new(File::create(path).unwrap());
    writeln!(file, "time,kind,value").unwrap();
    let (mut size, mut readings) = (16, 0);
    let first = now_seconds() - 400 * 24 * 3_600;
    let mut block = String::new();
    while size < bytes {
        block.clear();
        let at = written(first + 300 * readings);
        writeln!(block, "{at},glucose,120").unwrap();
        for _ in 0..OTHERS {
            writeln!(block, "{at},steps,12").unwrap();
        }
        file.write_all(block.as_bytes()).unwrap();
        size += block.len();
        readings += 1;
    }
    let readings = u64::try_from(readings).unwrap();
    (readings, readings * u64::try_from(OTHERS).unwrap())
}

fn most_memory_for_a_file(bytes: usize) -> u64 {
    let mut recheck = quiet(ONLY);
    let (readings, others) = large_file(&recheck.exports().join("all.csv"), bytes);
    recheck.watch();
    wait_until_counted(&recheck, "blank", others);
    assert_eq!((recheck.counted("taken"), recheck.counted("refused")), (readings, 0));
    number(&recheck, "status", "VmHWM")
}

#[test]
fn memory_does_not_grow_with_a_file() {
    let (small, large) = (most_memory_for_a_file(20_000_000), most_memory_for_a_file(400_000_000));
    eprintln!("most memory: {small} KiB for 20 MB, {large} KiB for 400 MB");
    assert!(large <= small + LARGE_FILE_KIB, "{small} KiB for 20 MB, {large} KiB for 400 MB");
}

fn most_memory_for_files(count: u64) -> u64 {
    let mut recheck = quiet("");
    let first = now_seconds() - 300 * 24 * 3_600;
    for file in 0..count {
        let at = written(first + 300 * i64::try_from(file).unwrap());
        fs::write(recheck.exports().join(format!("day-{file:06}.csv")), format!("time,glucose\n{at},120\n")).unwrap();
    }
    recheck.start();
    wait_until_counted(&recheck, "taken", count);
    // The places are loaded from the store as well.
    let read = number(&recheck, "status", "VmHWM");
    recheck.kill();
    recheck.watch();
    read.max(number(&recheck, "status", "VmHWM"))
}

#[test]
fn a_file_more_takes_little_memory() {
    let (few, many) = (1_000, 30_000);
    let (small, large) = (most_memory_for_files(few), most_memory_for_files(many));
    let each = large.saturating_sub(small) * 1_024 / (many - few);
    eprintln!("most memory: {small} KiB for {few} files, {large} KiB for {many}: {each} bytes a file");
    assert!(each <= EACH_FILE_BYTES, "{each} bytes a file: {small} KiB for {few} files, {large} KiB for {many}");
}

#[test]
fn of_a_rewritten_file_only_what_is_new_is_read() {
    let mut recheck = quiet(ONLY);
    let path = recheck.exports().join("all.csv");
    let (readings, others) = large_file(&path, 20_000_000);
    recheck.watch();
    wait_until_counted(&recheck, "blank", others);
    wait_until_counted(&recheck, "taken", readings);
    let before = number(&recheck, "io", "rchar:");
    let aside = recheck.exports().join("all.csv.tmp");
    fs::copy(&path, &aside).unwrap();
    let mut file = File::options().append(true).open(&aside).unwrap();
    writeln!(file, "{},glucose,121", written(now_seconds())).unwrap();
    drop(file);
    fs::rename(&aside, &path).unwrap();
    wait_until_counted(&recheck, "taken", readings + 1);
    let read = number(&recheck, "io", "rchar:") - before;
    eprintln!("read {read} bytes");
    assert!(read < REWRITTEN_BYTES_MAX, "{read} bytes were read for one row");
    assert_eq!((recheck.counted("blank"), recheck.counted("doubled")), (others, 0), "nothing was read twice");
}
