//! A corpus of small invented files, one oddity each, and what was made of each: rows, refusals, or a
//! question. tests/corpus/expected.txt is read by people: a change in it is a change in what is understood.

use recheck::domain::local::Zone;
use recheck::formats::encoding::Encoding;
use recheck::formats::wanted::{NotFound, Wanted};
use recheck::intake::folder::after_lines;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

#[test]
fn every_odd_file_is_understood_or_asked_about() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus");
    let mut names: Vec<String> = fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| name != "expected.txt")
        .collect();
    names.sort();
    assert!(names.len() >= 60, "only {} files", names.len());
    let found: String = names.iter().map(|name| understood(name, &fs::read(folder.join(name)).unwrap())).collect();
    let expected = fs::read_to_string(folder.join("expected.txt")).unwrap_or_default();
    for (found, expected) in found.split("\n\n").zip(expected.split("\n\n")) {
        assert_eq!(found, expected);
    }
    assert_eq!(found, expected, "\n{found}");
}

fn understood(name: &str, bytes: &[u8]) -> String {
    let zone = Zone::named("Europe/Madrid").unwrap();
    let encoding = Encoding::guess(bytes);
    let text = encoding.text(bytes);
    let mut said = format!("{name}\n");
    match Wanted::anything(zone).sniff(&text, encoding, None) {
        Err(NotFound::NoRowYet) => said.push_str("  no row yet\n"),
        Err(NotFound::Question { line, what, hint }) => {
            writeln!(said, "  question: line {line}: {what}\n  hint: {hint}").unwrap();
        }
        Ok(dialect) => {
            writeln!(said, "  {}", dialect.as_settings().join("; ")).unwrap();
            let found = dialect.rows(after_lines(&text, dialect.head_lines), dialect.head_lines + 1, None);
            for row in &found.rows {
                let unit = row.glucose.received();
                writeln!(said, "  {} {} {}", zone.rfc3339(row.measured), row.glucose.shown(unit, None), unit.name())
                    .unwrap();
            }
            for row in &found.diary {
                writeln!(said, "  {} {}", zone.rfc3339(row.written.at), row.written).unwrap();
            }
            for refusal in &found.refused {
                writeln!(said, "  refused: {refusal}").unwrap();
            }
            if found.blank > 0 {
                writeln!(said, "  {} other rows", found.blank).unwrap();
            }
        }
    }
    said.push('\n');
    said
}
