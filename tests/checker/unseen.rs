//! What a judge of records cannot see of the promises, and why; docs/promises.md says the same to readers. Judges
//! nothing.

use super::known::ALL;
use std::fs;
use std::path::Path;

/// Which promise, what of it, and why not.
pub(crate) const UNSEEN: &[(&str, &str, &str)] = &[
    ("L1", "that a ring sounds", "a record ends where a message is handed to a channel"),
    (
        "L2",
        "each step of an escalation that the settings ask for",
        "they are data of the program; that it rings again is seen",
    ),
    ("L4", "a ring from a chance of 0.20 on", "the chance is the program's own; a fall and 70 to 79 are seen"),
    (
        "H2",
        "the word at waking",
        "nobody tells a record when the wearer wakes; the hours of the night are taken for it",
    ),
    ("H5", "a ring from a chance of 0.15 on", "the chance is the program's own; that it is looked at is seen"),
    ("H8", "the second call after an hour, of questions", "of a pump at 300 it is seen"),
    ("H11", "that the meal is named", "names of meals are words; that it is asked is seen"),
    ("K1", "that a row's words are complete", "patterns find what a row is about, and not that all of it is said"),
    (
        "K2",
        "that an odd entry counts for danger until it is answered",
        "that an entry was meant is no entry of a record",
    ),
    ("K3", "rapid insulin taken for long-acting", "a record has no words of an insulin entry"),
    ("K5", "unwell in pregnancy", "being unwell is no entry of its own"),
    ("P1", "that whoever is with them is told the number", "only that calls are held, and go on, is seen"),
    ("P4", "by which words it is over", "that the person hears something is seen"),
    (
        "P5",
        "the watch of 24 hours after somebody did not wake",
        "the mode it begins is shown by an example, and no record draws it",
    ),
    ("P6", "that a child's answer quietens nothing", "L1 and L2 see it, for everybody alike"),
    (
        "M3",
        "that all is as if it had always been so",
        "what is owed after a change is counted, and not a second life beside the first",
    ),
    ("B1", "that spans count from when it began", "the promises that count the spans see it"),
    ("O1", "that nothing was delayed to be joined", "what a ring was due for is not in a record"),
    ("O4", "the words for a low that is no longer watched", "only the word \"over\" is looked for"),
    ("Q1", "that a question counts as asked only when it rang", "H2 counts none that did not"),
    ("N1", "\"since\" in other words than with a clock time", "a pattern cannot read them"),
    ("G2", "calls for a doubted sensor's low with alcohol or lows unfelt", "P1 counts calls from the first on"),
    ("T1", "the truth of all that follows the first fact", "a pattern cannot read it"),
];

/// The page for readers names every promise that is judged, and everything that is not seen.
#[test]
fn the_page_about_promises_is_whole() {
    let page = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/promises.md")).unwrap();
    for promise in ALL {
        assert!(page.contains(&format!("| `{promise}` |")), "docs/promises.md has no counts of {promise}");
    }
    for (promise, what, why) in UNSEEN {
        let row = format!("| {promise} | {what} | {why} |");
        assert!(page.contains(&row), "docs/promises.md lacks\n{row}");
    }
}
