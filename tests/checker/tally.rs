//! Adds up what was found, over many records, and prints it as a table. Judges nothing.

use super::record::Record;
use super::timeline;
use super::verdict::Verdicts;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Breaks shown of each promise.
const SHOWN_MAX: usize = 3;

/// Of one promise.
#[derive(Debug, Clone, Default)]
pub(crate) struct Count {
    pub(crate) at_stake: u64,
    pub(crate) broken: u64,
    examples: Vec<String>,
}

/// Of all promises.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tally {
    pub(crate) records: u64,
    pub(crate) counts: BTreeMap<&'static str, Count>,
}

impl Tally {
    pub(crate) fn add(&mut self, record: &Record, verdicts: &Verdicts) {
        self.records += 1;
        for stake in &verdicts.stakes {
            let count = self.counts.entry(stake.promise).or_default();
            count.at_stake += 1;
            if stake.broken.is_some() {
                count.broken += 1;
                // One of each record is enough to see what it is.
                let known = count.examples.iter().any(|example| example.contains(&record.name));
                if count.examples.len() < SHOWN_MAX && !known {
                    count.examples.push(timeline::show(record, stake));
                }
            }
        }
    }

    pub(crate) fn of(&self, promise: &str) -> (u64, u64) {
        self.counts.get(promise).map_or((0, 0), |count| (count.at_stake, count.broken))
    }

    pub(crate) fn examples(&self, promise: &str) -> String {
        self.counts.get(promise).map_or_else(String::new, |count| count.examples.join("\n"))
    }
}

/// A row for each promise; at stake and broken by stories, open traces and pretend days.
pub(crate) fn table(all: &[(&str, &Tally)]) -> String {
    let mut promises: Vec<&str> = all.iter().flat_map(|(_, tally)| tally.counts.keys().copied()).collect();
    promises.sort_unstable();
    promises.dedup();
    let mut text = String::from("| promise |");
    for (name, tally) in all {
        let _ = write!(text, " {name} ({}) |", tally.records);
    }
    text.push_str("\n|---|");
    text.push_str(&"---|".repeat(all.len()));
    text.push('\n');
    for promise in promises {
        let _ = write!(text, "| {promise} |");
        for (_, tally) in all {
            let (at_stake, broken) = tally.of(promise);
            let _ = write!(text, " {at_stake} / {broken} |");
        }
        text.push('\n');
    }
    text
}
