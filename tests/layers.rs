//! Which part may use which. The table is the architecture, and this test keeps it true: it reads the
//! source as text, and every `crate::part` outside comments must be allowed by the table.

use std::fs;
use std::path::{Path, PathBuf};

struct Part {
    name: &'static str,
    pure: bool,
    uses: &'static [&'static str],
}

/// In the order to read the code in: an arrow points only up the page. DEVELOPERS.md shows the same table.
const PARTS: &[Part] = &[
    Part { name: "domain", pure: true, uses: &[] },
    Part { name: "formats", pure: true, uses: &["domain"] },
    Part { name: "engine", pure: true, uses: &["domain"] },
    Part { name: "wording", pure: true, uses: &["domain", "engine"] },
    Part { name: "outbox", pure: true, uses: &["domain", "engine", "wording"] },
    Part { name: "replay", pure: true, uses: &["domain", "formats", "engine"] },
    Part { name: "responses", pure: true, uses: &["domain", "engine"] },
    Part { name: "wearer", pure: true, uses: &["domain", "engine"] },
    Part { name: "store", pure: false, uses: &["domain", "engine", "outbox"] },
    Part { name: "config", pure: false, uses: &["domain", "formats", "engine"] },
    Part { name: "channels", pure: false, uses: &["domain", "engine", "outbox", "config"] },
    Part { name: "intake", pure: false, uses: &["domain", "formats", "config"] },
    Part {
        name: "daemon",
        pure: false,
        uses: &["domain", "engine", "wording", "outbox", "store", "config", "channels", "intake"],
    },
    Part {
        name: "cli",
        pure: false,
        uses: &[
            "domain",
            "formats",
            "engine",
            "wording",
            "outbox",
            "replay",
            "responses",
            "wearer",
            "store",
            "config",
            "channels",
            "intake",
            "daemon",
        ],
    },
];

/// What the pure parts may not name. Lints forbid the calls; this forbids the imports as well.
const NOT_IN_PURE: &[&str] = &[
    "tokio",
    "rusqlite",
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "std::thread",
    "std::io",
    "Instant::now",
    "SystemTime",
    "::now()",
    "rand::",
    "HashMap",
    "HashSet",
    "println!",
    "eprintln!",
];

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// What is wrong with one line of a part, by the table.
fn faults(part: &Part, code: &str) -> Vec<String> {
    let code = code.split("//").next().unwrap();
    let mut faults = Vec::new();
    for rest in code.split("crate::").skip(1) {
        let used: String = rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
        if used.is_empty() {
            faults.push("one `use crate::part` for each part, not a group".to_owned());
        } else if used != part.name && !part.uses.contains(&used.as_str()) {
            faults.push(format!("{} may not use {used}", part.name));
        }
    }
    if code.contains("super::super::super") {
        faults.push("name the part instead of climbing out of it".to_owned());
    }
    if part.pure {
        let named = NOT_IN_PURE.iter().filter(|word| code.contains(**word));
        faults.extend(named.map(|word| format!("{} is pure and may not use {word}", part.name)));
    }
    faults
}

#[test]
fn parts_use_only_what_the_table_allows() {
    let mut wrong = Vec::new();
    for part in PARTS {
        for file in super::tidy::rust_files(&source().join(part.name)) {
            for (number, line) in fs::read_to_string(&file).unwrap().lines().enumerate() {
                wrong.extend(
                    faults(part, line).into_iter().map(|fault| format!("{}:{}: {fault}", file.display(), number + 1)),
                );
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}\n", wrong.join("\n"));
}

#[test]
fn every_folder_is_in_the_table_and_arrows_point_up() {
    for entry in fs::read_dir(source()).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            let name = path.file_name().unwrap().to_str().unwrap();
            assert!(PARTS.iter().any(|part| part.name == name), "src/{name} is not in the table");
        }
    }
    for (place, part) in PARTS.iter().enumerate() {
        for used in part.uses {
            let above = PARTS.iter().position(|other| other.name == *used).unwrap();
            assert!(above < place, "{} -> {used} points down the page", part.name);
        }
    }
}

#[test]
fn a_broken_arrow_is_found() {
    let engine = PARTS.iter().find(|part| part.name == "engine").unwrap();
    assert_eq!(faults(engine, "use crate::store::Store;"), ["engine may not use store"]);
    assert_eq!(faults(engine, "let now = SystemTime::now();").len(), 2);
    assert_eq!(faults(engine, "use crate::{domain, store};"), ["one `use crate::part` for each part, not a group"]);
    assert!(faults(engine, "use crate::domain::time::Span; // crate::store").is_empty());
}

#[test]
fn the_developers_guide_shows_the_same_table() {
    let guide = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md")).unwrap();
    for part in PARTS {
        let uses = if part.uses.is_empty() { "nothing".to_owned() } else { part.uses.join(", ") };
        let row = format!("| `{}` | {} | {uses} |", part.name, if part.pure { "pure" } else { "shell" });
        assert!(guide.contains(&row), "DEVELOPERS.md lacks the row\n{row}");
    }
}
