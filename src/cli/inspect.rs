//! `recheck inspect FILE`: how a file is written, as far as it can be told; a preview of what was read; and
//! the settings that say the same.

use super::print::{ASKED_BACK, Failure, folded, line};
use super::{Place, print};
use crate::config::files::computer_zone;
use crate::config::{Settings, SourceSettings};
use crate::formats::encoding::Encoding;
use crate::formats::wanted::NotFound;
use crate::intake::folder::after_lines;
use crate::intake::listing::belongs;
use std::path::Path;
use std::process::ExitCode;

/// Bytes read from the start of the file.
const HEAD_BYTES: usize = 1 << 20;

/// Rows and refusals shown.
const SHOWN: usize = 5;

pub(super) fn run(place: &Place, path: &Path, set: &[String]) -> Result<ExitCode, Failure> {
    let settings = place.settings_to_show(set, computer_zone())?;
    let source = source_of(&settings, path, set);
    let format = source.map_or_else(|| settings.first_format(), |source| source.format.clone());
    let source = source.map_or("sensor", |source| source.name.as_str());
    let name = path.display().to_string();
    let bytes = head(path).map_err(|error| Failure::new(format!("cannot read {name}: {error}")))?;
    let encoding = format.encoding.unwrap_or_else(|| Encoding::guess(bytes.get(..4_096).unwrap_or(&bytes)));
    let whole = if bytes.len() < HEAD_BYTES { bytes.len() } else { encoding.whole_lines(&bytes) };
    let text = encoding.text(bytes.get(..whole).unwrap_or_default());
    let dialect = match format.sniff(&text, encoding, None) {
        Ok(dialect) => dialect,
        Err(NotFound::NoRowYet) => {
            return Err(Failure::new(format!("{name} holds no row yet"))
                .hint("inspect it again when a reading has been written"));
        }
        Err(NotFound::Question { line: at, what, hint }) => {
            print::words(&format!("question: {name}: line {at}: {what}"));
            print::words(&format!("\nhint: {hint}; try it with --set source.{source}.KEY=VALUE"));
            return Ok(ExitCode::from(ASKED_BACK));
        }
    };
    let found = dialect.rows(after_lines(&text, dialect.head_lines), dialect.head_lines + 1, None);
    let (read, what) = if found.of_diary { (found.diary.len(), "diary lines") } else { (found.rows.len(), "readings") };
    line(&format!(
        "{read} {what}, {} other rows, {} refused, in the first {whole} bytes",
        found.blank, found.refused_count
    ));
    for row in found.diary.iter().take(SHOWN) {
        line(&format!("  {}   {}", dialect.zone.rfc3339(row.written.at), row.written));
    }
    for row in found.rows.iter().take(SHOWN) {
        line(&format!(
            "  {}   {} {}",
            dialect.zone.rfc3339(row.measured),
            row.glucose.shown(dialect.unit, None),
            dialect.unit.name()
        ));
    }
    for refusal in found.refused.iter().take(SHOWN) {
        folded(&format!("  refused: {refusal}"));
    }
    if found.clock_change > 0 {
        line(&format!("  {} rows lie in the hour of a clock change", found.clock_change));
    }
    if !found.undecided.is_empty() {
        line(&format!("  {} of them could be the second time round: their order does not say", found.undecided.len()));
    }
    if found.of_diary {
        folded(&format!("\nFound: {}.", dialect.as_settings().join(", ")));
        folded("Lines of a diary are taken in like `recheck note`, `treated` and `seen`. It needs no settings.");
        return Ok(ExitCode::SUCCESS);
    }
    line(&format!("\nSettings that say the same. Where [source.{source}] stands already, put them below it:\n"));
    line(&format!("[source.{source}]"));
    for setting in dialect.as_settings() {
        // A source that names a zone stays there when the wearer travels: that is chosen, not found out.
        let is_found = format.zone_stays || !setting.starts_with("timezone");
        line(&if is_found { setting } else { format!("# {setting}   your own clock, travel included") });
    }
    Ok(ExitCode::SUCCESS)
}

/// The source that reads the file; else the one that is to be tried; else the first.
fn source_of<'a>(settings: &'a Settings, path: &Path, set: &[String]) -> Option<&'a SourceSettings> {
    let is_tried = |source: &&SourceSettings| {
        set.iter()
            .any(|set| set.strip_prefix("source.").is_some_and(|set| set.starts_with(&format!("{}.", source.name))))
    };
    let sources = &settings.sources;
    sources
        .iter()
        .find(|source| belongs(source, path))
        .or_else(|| sources.iter().find(is_tried))
        .or_else(|| sources.first())
}

fn head(path: &Path) -> std::io::Result<Vec<u8>> {
    use std::io::Read as _;
    let mut bytes = Vec::new();
    std::fs::File::open(path)?.take(HEAD_BYTES as u64).read_to_end(&mut bytes)?;
    Ok(bytes)
}
