//! The documents link to what is there: every file, every heading, and every test that a row of the job map names.

use std::fs;
use std::path::{Path, PathBuf};

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_path_buf()
}

fn documents() -> Vec<PathBuf> {
    let mut found = vec![top().join("README.md"), top().join("DEVELOPERS.md")];
    for folder in ["docs", "docs/behaviour"] {
        let files = fs::read_dir(top().join(folder)).unwrap().map(|entry| entry.unwrap().path());
        found.extend(files.filter(|path| path.extension().is_some_and(|extension| extension == "md")));
    }
    found.sort();
    found
}

/// Targets of links in running text, each with what follows it.
fn links(text: &str) -> Vec<(&str, &str)> {
    let mut fenced = false;
    let mut found = Vec::new();
    for line in text.lines() {
        fenced ^= line.starts_with("```");
        if fenced {
            continue;
        }
        found.extend(line.split("](").skip(1).filter_map(|rest| rest.split_once(')')));
    }
    found
}

/// The name by which a heading is linked to: small letters, no punctuation, hyphens for spaces.
fn anchor(heading: &str) -> String {
    let kept = heading.chars().filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_'));
    kept.collect::<String>().to_lowercase().replace(' ', "-")
}

/// The section below the heading of that anchor.
fn section(text: &str, wanted: &str) -> Option<String> {
    let mut lines =
        text.lines().skip_while(|line| !line.starts_with('#') || anchor(line.trim_start_matches('#').trim()) != wanted);
    let heading = lines.next()?;
    let depth = heading.chars().take_while(|c| *c == '#').count();
    let ends = |line: &str| line.starts_with('#') && line.chars().take_while(|c| *c == '#').count() <= depth;
    Some(lines.take_while(|line| !ends(line)).flat_map(|line| [line, "\n"]).collect())
}

/// What is wrong with one link of a document.
fn fault(document: &Path, target: &str) -> Option<String> {
    if target.contains("://") {
        return None;
    }
    let (file, heading) = target.split_once('#').unwrap_or((target, ""));
    let path = if file.is_empty() { document.to_path_buf() } else { document.parent().unwrap().join(file) };
    if !path.exists() {
        return Some(format!("{} is not there", path.display()));
    }
    let text = fs::read_to_string(&path).unwrap_or_default();
    (!heading.is_empty() && section(&text, heading).is_none()).then(|| format!("{file} has no heading #{heading}"))
}

#[test]
fn every_link_leads_somewhere() {
    let mut wrong = Vec::new();
    let mut count = 0;
    for document in documents() {
        let text = fs::read_to_string(&document).unwrap();
        for (target, _) in links(&text) {
            count += 1;
            wrong.extend(fault(&document, target).map(|fault| format!("{}: {fault}", document.display())));
        }
    }
    assert!(wrong.is_empty(), "\n{}\n", wrong.join("\n"));
    assert!(count > 50, "only {count} links were found");
}

/// A heading it links to holds an example, and a test it names is in that file.
#[test]
fn every_row_of_the_job_map_is_shown() {
    let document = top().join("docs/job-map.md");
    let text = fs::read_to_string(&document).unwrap();
    let rows: Vec<&str> = text.lines().filter(|line| line.starts_with("| ")).skip(1).collect();
    assert!(rows.len() >= 20, "{}", rows.len());
    for row in rows {
        let shown = links(row);
        assert!(!shown.is_empty(), "nothing shows: {row}");
        for (target, after) in shown {
            let (file, heading) = target.split_once('#').unwrap_or((target, ""));
            let linked = fs::read_to_string(document.parent().unwrap().join(file)).unwrap();
            if Path::new(file).extension().is_some_and(|extension| extension == "rs") {
                let name = after.split('`').nth(1).unwrap_or_default();
                let is_there = !name.is_empty() && linked.contains(&format!("#[test]\nfn {name}()"));
                assert!(is_there, "{file} has no test {name}");
            } else {
                let section = section(&linked, heading).unwrap_or_default();
                assert!(section.contains("```timeline"), "{target} shows no example");
            }
        }
    }
}

#[test]
fn a_broken_link_is_found() {
    let document = top().join("docs/job-map.md");
    assert_eq!(links("a [b](c.md#d) `e`\n```\n[no](x)\n```\n"), [("c.md#d", " `e`")]);
    assert!(fault(&document, "behaviour/nowhere.md").is_some());
    assert!(fault(&document, "behaviour/levels.md#nowhere").is_some());
    assert!(fault(&document, "behaviour/levels.md#a-high-waits-fifteen-minutes-by-day").is_none());
    assert_eq!(
        anchor("After \"back\" the next low reading rings, however soon"),
        "after-back-the-next-low-reading-rings-however-soon"
    );
}
