//! `recheck sources`: of each source, what came, what was refused, and how its files are written.

use super::Place;
use super::print::{Failure, folded, line};
use crate::daemon::clock;
use crate::domain::reading::SourceId;
use crate::store::Store;
use crate::wording::Voice;
use std::process::ExitCode;

/// Files shown of one source, the last by name.
const FILES_SHOWN: usize = 5;

/// Counts that explain each other stand together, at the top.
const SHOWN_FIRST: [&str; 4] = ["taken", "late", "doubled", "differing"];

/// The place of a count among those of its source; the others follow by name.
pub(super) fn order(count: &str) -> usize {
    SHOWN_FIRST.iter().position(|first| *first == count).unwrap_or(usize::MAX)
}

pub(super) fn run(place: &Place) -> Result<ExitCode, Failure> {
    let (settings, _) = place.settings_in_force()?;
    let Some(store) = Store::look(&place.state())? else {
        return Err(Failure::new("no source has been read yet").hint("start watching with `recheck run`"));
    };
    let voice = Voice::new(&settings.policy, clock::wall());
    let counts = store.counts()?;
    let newest = store.newest_readings()?;
    for (number, name) in store.source_names()?.into_iter().enumerate() {
        let source = SourceId(u16::try_from(number).unwrap_or(u16::MAX));
        line(&name);
        match newest.iter().find(|(reading, _)| reading.source == source) {
            Some((reading, arrived)) => line(&format!(
                "  newest reading {} {} of {}, which came {} later",
                reading.glucose.shown(voice.unit, None),
                voice.unit.name(),
                voice.zone.clock_seen_from(reading.measured, voice.now),
                *arrived - reading.measured
            )),
            None => line("  no reading yet"),
        }
        let mut counted: Vec<_> = counts.iter().filter(|(of, _, _)| *of == source).collect();
        counted.sort_by_key(|(_, what, _)| order(what));
        for (_, what, n) in counted {
            line(&format!("  {n:>9} {}", meaning(what)));
        }
        let places = store.places(source)?;
        for (path, body) in places.iter().rev().take(FILES_SHOWN) {
            let dialect = crate::intake::place::dialect_of(body);
            let written =
                dialect.map_or_else(|| "not understood yet".to_owned(), |dialect| dialect.as_settings().join(", "));
            folded(&format!("  {path}: {written}"));
        }
        if places.len() > FILES_SHOWN {
            line(&format!("  and {} more files", places.len() - FILES_SHOWN));
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn meaning(count: &str) -> &str {
    match count {
        "taken" => "readings taken in",
        "late" => "of them measured more than 15 minutes before they came",
        "differing" => "rows with another value at a known time; the first is kept",
        "doubled" => "readings known already",
        "refused" => "rows refused",
        "blank" => "rows that are no readings",
        "diary_taken" => "diary lines taken in",
        "diary_doubled" => "diary lines known already",
        "clock_change" => "rows in the hours of a clock change or a journey",
        "undecided_hour" => "of those could be the earlier or the later, and are marked",
        other => other,
    }
}
