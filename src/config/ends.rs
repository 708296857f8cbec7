//! The two ends: where readings come from, and where alerts go.

use super::meant::Purpose;
use super::problem::Place;
use super::tree::Value;
use super::words::{SPAN_EXPECTED, Words, span};
use crate::domain::glucose::Unit;
use crate::domain::local::Zone;
use crate::domain::time::Span;
use crate::engine::policy::{Policy, SensorPolicy, SourceKind, SourcePolicy};
use crate::formats::encoding::Encoding;
use crate::formats::stamp::Stamp;
use crate::formats::wanted::Wanted;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// A folder that is watched, or standard input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceSettings {
    /// Its name.
    pub name: String,
    /// The folder.
    pub folder: PathBuf,
    /// Names of the files in it that count, with `*` for anything.
    pub files: String,
    /// Folders below it count too.
    pub subfolders: bool,
    /// How changes are noticed.
    pub watch: Watch,
    /// How its tables are written.
    pub format: Wanted,
}

/// How changes in a folder are noticed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Watch {
    /// By events, or by looking where the folder lies on a share or a mount that gives none.
    #[default]
    Auto,
    /// By events, and by looking once a minute.
    Events,
    /// By looking every five seconds.
    Poll,
}

impl Watch {
    /// By its name in the settings.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "auto" => Some(Self::Auto),
            "events" => Some(Self::Events),
            "poll" => Some(Self::Poll),
            _ => None,
        }
    }
}

/// One way to reach the wearer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ChannelSettings {
    /// The desktop's notification server.
    Desktop {
        /// Its name.
        name: String,
    },
    /// An HTTP address that takes JSON.
    Webhook(Webhook),
}

/// Whom a channel reaches, and how.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Reach {
    /// Kept for alerts that nobody answers.
    pub later: bool,
    /// Without values: somebody may look over the shoulder.
    pub discreet: bool,
    /// What an accepted message proves.
    pub receipt: Receipt,
    /// Whose it is: a person's place among those who are called; none: the wearer's.
    pub owner: Option<u8>,
}

/// What an accepted message proves (the three kinds of IEC TR 80001-2-5: a system that informs, one that
/// delivers, one that delivers and is confirmed).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Receipt {
    /// That it was handed on.
    #[default]
    Inform,
    /// That it arrived at the device.
    Deliver,
    /// A person can confirm by it.
    Confirm,
}

/// An HTTP address that takes JSON.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Webhook {
    /// Its name.
    pub name: String,
    /// The address.
    pub url: String,
    /// A file with the certificate authority that signed the address's own; none: the system's.
    pub ca_file: Option<PathBuf>,
    /// Longest time one try may take.
    pub timeout: Span,
}

impl ChannelSettings {
    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Desktop { name } => name,
            Self::Webhook(webhook) => &webhook.name,
        }
    }
}

pub(super) fn sources(top: &mut Words<'_>, policy: &mut Policy, purpose: Purpose, start: Place) -> Vec<SourceSettings> {
    let node = top.take("source");
    let mut all = Words::of("source", node, start, top.problems());
    let mut found = Vec::new();
    for (name, node) in all.take_all() {
        let place = node.place;
        let mut words = Words::of(&format!("source.{name}"), Some(node), place, all.problems());
        let folder = words.text("folder").map(|(_, folder)| super::files::home(&folder));
        if folder.is_none() && purpose == Purpose::Watch {
            words.wrong(place, format!("source.{name} has no folder"), "name the folder its export is written to");
        }
        let format = format(&mut words, policy.zone, policy.unit);
        let kind =
            words.parsed("kind", "\"streaming\", \"scanned\" or \"history\"", kind).unwrap_or(SourceKind::Streaming);
        let sensor = sensor(&mut words);
        let files = words.text("files").map_or_else(|| "*.csv".to_owned(), |(_, files)| files);
        let subfolders = words.yes_or_no("subfolders").unwrap_or(false);
        let watch = words.parsed("watch", "\"auto\", \"events\" or \"poll\"", Watch::named).unwrap_or_default();
        words.end();
        policy.sources.push(SourcePolicy { name: name.clone(), kind, sensor });
        found.push(SourceSettings { name, folder: folder.unwrap_or_default(), files, subfolders, watch, format });
    }
    if found.is_empty() && purpose == Purpose::Watch {
        all.wrong(start, "there is no source of readings", "add [source.sensor] with folder = \"~/glucose\"");
    }
    all.end();
    found
}

/// What is known of the sensor behind a source.
fn sensor(words: &mut Words<'_>) -> SensorPolicy {
    let mut sensor = SensorPolicy::default();
    words.span("memory", &mut sensor.memory);
    if let Some(warm_up) = words.parsed("warm_up", SPAN_EXPECTED, span) {
        (sensor.warm_up, sensor.warm_up_is_set) = (warm_up, true);
    }
    sensor.scan_at_bedtime = words.yes_or_no("scan_at_bedtime").unwrap_or(sensor.scan_at_bedtime);
    sensor.scan_at_waking = words.yes_or_no("scan_at_waking").unwrap_or(sensor.scan_at_waking);
    let place = words.place;
    sensor.life = words.parsed("life", SPAN_EXPECTED, span);
    for (name, span, least, most) in [
        ("memory", Some(sensor.memory), Span::hours(1), Span::hours(48)),
        ("warm_up", Some(sensor.warm_up), Span::ZERO, Span::hours(24)),
        ("life", sensor.life, Span::hours(24), Span::hours(720)),
    ] {
        if span.is_some_and(|span| span < least || span > most) {
            words.wrong(place, format!("{name} is out of range"), format!("it should be from {least} to {most}"));
        }
    }
    sensor
}

/// How a source writes, as far as its settings say; the rest is guessed from each file.
fn format(words: &mut Words<'_>, zone: Zone, meter_unit: Unit) -> Wanted {
    let time_format = words.text("time_format").map(|(_, text)| Stamp::named(&text));
    let only = words.text("only").map(|(_, text)| text);
    let only_column = words.columns("only_column").into_iter().next();
    if only.is_some() != only_column.is_some() {
        let place = words.place;
        words.wrong(
            place,
            "only and only_column belong together",
            "name the column, and the text that its readings have there",
        );
    }
    let own_zone = words.parsed("timezone", "a name such as \"Europe/Madrid\"", Zone::named);
    Wanted {
        encoding: words.parsed("encoding", "\"utf-8\", \"utf-16le\", \"utf-16be\" or \"latin-1\"", Encoding::named),
        delimiter: words.parsed("delimiter", "one character, or \"tab\"", delimiter),
        skip_lines: words.number("skip_lines", 0..=1_000),
        header: words.yes_or_no("header"),
        time: words.columns("time"),
        glucose: words.columns("glucose"),
        unit_column: words.columns("unit_column").into_iter().next(),
        only: only_column.zip(only),
        stamp: time_format,
        unit: words.parsed("unit", "\"mg/dL\" or \"mmol/L\"", Unit::named),
        zone: own_zone.unwrap_or(zone),
        zone_stays: own_zone.is_some(),
        meter_unit,
    }
}

pub(super) fn channels(
    top: &mut Words<'_>,
    purpose: Purpose,
    start: Place,
) -> (Vec<ChannelSettings>, BTreeMap<String, Reach>) {
    let node = top.take("channel");
    let mut all = Words::of("channel", node, start, top.problems());
    let mut found = Vec::new();
    let mut reaches = BTreeMap::new();
    for (name, node) in all.take_all() {
        let place = node.place;
        let empty = matches!(&node.value, Value::Table(table) if table.is_empty());
        let mut words = Words::of(&format!("channel.{name}"), Some(node), place, all.problems());
        let kind = words.text("kind").map(|(_, kind)| kind);
        let receipt = words.parsed("receipt", "\"inform\", \"deliver\" or \"confirm\"", receipt);
        let reach = Reach {
            later: words.yes_or_no("later").unwrap_or(false),
            discreet: words.yes_or_no("discreet").unwrap_or(false),
            // The desktop's buttons are pressed by somebody.
            receipt: receipt.unwrap_or(if name == "desktop" { Receipt::Confirm } else { Receipt::Inform }),
            owner: None,
        };
        reaches.insert(name.clone(), reach);
        match kind.as_deref() {
            Some("desktop") => found.push(ChannelSettings::Desktop { name }),
            None if name == "desktop" && empty => found.push(ChannelSettings::Desktop { name }),
            Some("webhook") => {
                found.push(ChannelSettings::Webhook(webhook(&mut words, name, place)));
            }
            Some(other) => words.wrong(
                place,
                format!("channel.{name}.kind is \"{other}\""),
                "it should be \"desktop\" or \"webhook\"",
            ),
            None => words.wrong(
                place,
                format!("channel.{name} has no kind"),
                "add kind = \"desktop\" or kind = \"webhook\"",
            ),
        }
        words.end();
    }
    if found.is_empty() && purpose == Purpose::Watch {
        all.wrong(
            start,
            "there is no channel: no alert could reach you",
            "add [channel.desktop] with kind = \"desktop\"",
        );
    }
    all.end();
    (found, reaches)
}

fn webhook(words: &mut Words<'_>, name: String, place: Place) -> Webhook {
    let url = words.text("url");
    match &url {
        Some((_, url)) if url.starts_with("http://") || url.starts_with("https://") => {}
        Some((place, url)) => {
            words.wrong(*place, format!("channel.{name}.url is \"{url}\""), "it should begin with https:// or http://");
        }
        None => words.wrong(place, format!("channel.{name} has no url"), "name the address that takes the alerts"),
    }
    let ca_file = words.text("ca_file").map(|(place, file)| (place, super::files::home(&file)));
    if let Some((place, file)) = &ca_file
        && !file.is_file()
    {
        words.wrong(
            *place,
            format!("channel.{name}.ca_file {} is not a file", file.display()),
            "name a PEM file, or leave it out to use the system's roots",
        );
    }
    let mut timeout = Span::seconds(10);
    words.span("timeout", &mut timeout);
    if !(Span::seconds(1)..=Span::seconds(60)).contains(&timeout) {
        words.wrong(place, format!("channel.{name}.timeout is out of range"), "it should be from 1s to 60s");
    }
    Webhook { name, url: url.map(|(_, url)| url).unwrap_or_default(), ca_file: ca_file.map(|(_, file)| file), timeout }
}

fn kind(text: &str) -> Option<SourceKind> {
    match text {
        "streaming" => Some(SourceKind::Streaming),
        "scanned" => Some(SourceKind::Scanned),
        "history" => Some(SourceKind::History),
        _ => None,
    }
}

fn receipt(text: &str) -> Option<Receipt> {
    match text {
        "inform" => Some(Receipt::Inform),
        "deliver" => Some(Receipt::Deliver),
        "confirm" => Some(Receipt::Confirm),
        _ => None,
    }
}

fn delimiter(text: &str) -> Option<u8> {
    match text.as_bytes() {
        b"tab" => Some(b'\t'),
        [one] if !one.is_ascii_alphanumeric() && *one != b'"' => Some(*one),
        _ => None,
    }
}
