//! House rules a machine can check: what stands at the top, file lengths, first lines, words that may not
//! be left behind, and defaults that may not be written twice.

use recheck::config::meant::{Purpose, settings};
use recheck::domain::local::Zone;
use recheck::engine::effect::Condition;
use std::fs;
use std::path::{Path, PathBuf};

/// Lines of a source file, its tests apart.
const FILE_LINES_MAX: usize = 420;

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_path_buf()
}

pub(crate) fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

#[test]
fn nothing_else_stands_at_the_top() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "src",
        "config",
        "tests",
        "packaging",
        "docs",
        "benches",
        "target",
    ];
    for entry in fs::read_dir(top()).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        assert!(name.starts_with('.') || allowed.contains(&name.as_str()), "{name} may not stand at the top");
    }
    assert!(!top().join("benches").exists(), "benchmarks belong in tests/");
}

#[test]
fn every_file_says_its_one_job_first_and_is_short() {
    for file in rust_files(&top().join("src")) {
        let text = fs::read_to_string(&file).unwrap();
        assert!(text.starts_with("//! "), "{} does not begin with its job", file.display());
        let code = text.split("#[cfg(test)]").next().unwrap().lines().count();
        assert!(code <= FILE_LINES_MAX, "{} has {code} lines: it has two jobs", file.display());
    }
}

#[test]
fn nothing_is_left_behind() {
    for file in rust_files(&top().join("src")).into_iter().chain(rust_files(&top().join("tests"))) {
        if file.ends_with("tidy.rs") {
            continue;
        }
        let text = fs::read_to_string(&file).unwrap();
        for word in ["TODO", "FIXME", "XXX", "todo!(", "unimplemented!(", "dbg!(", "#[ignore"] {
            assert!(!text.contains(word), "{} holds {word}", file.display());
        }
    }
}

/// Every setting in config/recheck.toml is a comment that shows its default; uncommented, it must be read
/// and change nothing.
#[test]
fn the_settings_file_shows_the_defaults() {
    let text = fs::read_to_string(top().join("config/recheck.toml")).unwrap();
    let zone = Zone::named("Europe/Madrid").unwrap();
    let plain = settings(&text, None, &[], Purpose::Watch, zone).unwrap_or_else(|problems| panic!("{problems}"));
    let uncommented: String = text
        .lines()
        .map(|line| match line.strip_prefix("#") {
            Some(rest) if !rest.starts_with(' ') && (rest.contains(" = ") || rest.starts_with('[')) => {
                format!("{rest}\n")
            }
            _ => format!("{line}\n"),
        })
        .collect();
    let all = settings(&uncommented, None, &[], Purpose::Watch, zone)
        .unwrap_or_else(|problems| panic!("{problems}\n{uncommented}"));
    assert_eq!(plain.policy, all.policy);
    assert_eq!(plain.sources, all.sources);
    let levels: String = uncommented.split("\n[").filter(|section| section.starts_with("level.")).collect();
    for key in ["limit", "deadband", "on_delay", "off_delay", "again_after", "again_beyond", "again_quiet", "rings"] {
        let shown = levels.lines().filter(|line| line.starts_with(&format!("{key} = "))).count();
        assert_eq!(shown, 4, "{key} is not shown for all four levels");
    }
    for key in [
        "after",
        "cadences",
        "after_low",
        "cadences_low",
        "high_looks",
        "coming_down",
        "low_look",
        "still_high",
        "night",
        "therapy",
        "unit",
        "timezone",
        "raise",
        "sound",
    ] {
        assert!(uncommented.lines().any(|line| line.starts_with(&format!("{key} = "))), "{key} is not shown");
    }
}

/// Whoever writes a relay finds there each condition it can be sent.
#[test]
fn the_webhook_document_names_every_condition() {
    let names = Condition::ALL.map(Condition::name);
    let document = fs::read_to_string(top().join("docs/webhook.md")).unwrap();
    let row = document.lines().find(|line| line.starts_with("| `condition` |")).unwrap();
    for name in names {
        assert!(row.contains(&format!("`{name}`")), "docs/webhook.md does not name the condition {name}");
    }
}

/// Commands in the README and the documents exist.
#[test]
fn the_documents_name_real_commands() {
    let known = [
        "run",
        "status",
        "seen",
        "treated",
        "note",
        "why",
        "check",
        "try",
        "replay",
        "inspect",
        "sources",
        "zone",
        "demo",
        "trust",
        "quiet",
        "remind",
        "burden",
        "mode",
        "suggest",
        "responses",
        "help",
        "diary",
        "exclude",
    ];
    let mut files = vec![top().join("README.md"), top().join("DEVELOPERS.md")];
    files.extend(
        fs::read_dir(top().join("docs")).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.is_file()),
    );
    let mut seen = 0;
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        let in_words = text.split("`recheck ").skip(1);
        let in_blocks = text.lines().filter_map(|line| line.strip_prefix("    recheck "));
        for rest in in_words.chain(in_blocks) {
            let command: String = rest.chars().take_while(char::is_ascii_alphabetic).collect();
            assert!(known.contains(&command.as_str()), "{} names `recheck {command}`", file.display());
            seen += 1;
        }
    }
    assert!(seen > 5);
}
