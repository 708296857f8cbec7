//! What the benchmarks read: invented rows in several ways of writing.

use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::time::{Span, Timestamp};
use recheck::formats::encoding::Encoding;
use recheck::formats::rows::{Row, Rows};
use recheck::formats::wanted::{Dialect, Wanted};
use recheck::intake::folder::after_lines;
use std::fmt::Write as _;

/// Rows in each text: about a year at five-minute cadence.
pub(crate) const ROWS: i64 = 100_000;

/// 2026-03-02 00:00 UTC.
const START: Timestamp = Timestamp::from_seconds(1_772_409_600);

/// Of the made-up walk: how hard its speed is pushed about, for how many minutes that lasts, the value it is pulled
/// back to, and how weakly.
const PUSH: f64 = 0.38;
const PUSH_LASTS_MIN: f64 = 25.0;
const MIDDLE: f64 = 155.0;
const PULL: f64 = 3_500.0;

/// A way of writing rows.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Way {
    /// Two columns, ISO times.
    Iso,
    /// Two columns, times by a pattern.
    Pattern,
    /// Eight columns, of which two are read.
    Wide,
    /// One JSON object a line.
    Json,
    /// Two columns, letters of two bytes.
    Utf16,
}

/// Bytes, and how they are written.
pub(crate) struct Made {
    pub(crate) bytes: Vec<u8>,
    pub(crate) dialect: Dialect,
}

impl Made {
    pub(crate) fn new(way: Way) -> Self {
        let text = text(way);
        let bytes = match way {
            Way::Utf16 => text.encode_utf16().flat_map(u16::to_le_bytes).collect(),
            Way::Iso | Way::Pattern | Way::Wide | Way::Json => text.into_bytes(),
        };
        let encoding = Encoding::guess(&bytes[..4_096]);
        let dialect = Wanted::anything(Zone::UTC)
            .sniff(&encoding.text(&bytes), encoding, None)
            .unwrap_or_else(|question| panic!("{way:?}: {question:?}"));
        Self { bytes, dialect }
    }

    /// The same in a zone with clock changes.
    pub(crate) fn in_zone(mut self, name: &str) -> Self {
        self.dialect.zone = Zone::named(name).unwrap_or(Zone::UTC);
        self
    }

    pub(crate) fn rows(&self) -> Rows {
        let text = self.dialect.encoding.text(&self.bytes);
        self.dialect.rows(after_lines(&text, self.dialect.head_lines), self.dialect.head_lines + 1, None)
    }
}

/// The next number of a row that looks random: Knuth's MMIX constants.
const fn next(state: u64) -> u64 {
    state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407)
}

/// A made-up person's glucose: its speed is pushed about and pulled back to the middle, so that lows and highs come
/// and go as excursions do. Of 100,000 rows five minutes apart 3 % are below 70 and 28 % above 180.
#[expect(clippy::cast_precision_loss, reason = "minutes and 31 bits of chance are far below 2^53")]
#[expect(clippy::cast_possible_truncation, reason = "the level is clamped to what a sensor shows")]
pub(crate) fn walk(rows: usize, cadence: Span) -> Vec<Row> {
    let minutes = cadence.as_millis() as f64 / 60_000.0;
    let (mut level, mut speed, mut state) = (140.0, 0.0, 7_u64);
    let mut at = START;
    let mut row = || {
        let mut push = 0.0;
        for _ in 0..4 {
            state = next(state);
            push += (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5;
        }
        level += speed * minutes;
        speed += PUSH * push * minutes.sqrt() - (speed / PUSH_LASTS_MIN + (level - MIDDLE) / PULL) * minutes;
        level = level.clamp(40.0, 400.0);
        at = at + cadence;
        Row { measured: at, glucose: Glucose::mg_dl(level.round() as i32) }
    };
    (0..rows).map(|_| row()).collect()
}

fn text(way: Way) -> String {
    let mut text = String::from(match way {
        Way::Iso | Way::Utf16 => "time,glucose\n",
        Way::Pattern => "time;glucose\n",
        Way::Wide => "number,device,time,kind,glucose,unit,note,trend\n",
        Way::Json => "",
    });
    let (mut value, mut state) = (120_i64, 7_u64);
    for row in 0..ROWS {
        state = next(state);
        value = (value + i64::try_from((state >> 33) % 15).unwrap_or(0) - 7).clamp(50, 320);
        let wall = Zone::UTC.wall(START + Span::minutes(5 * row));
        let iso = wall.format("%Y-%m-%d %H:%M:%S");
        match way {
            Way::Iso | Way::Utf16 => writeln!(text, "{iso},{value}"),
            Way::Pattern => writeln!(text, "{};{value}", wall.format("%d.%m.%Y %H:%M")),
            Way::Wide => writeln!(text, "{row},sensor 2,{iso},glucose,{value},mg/dL,\"a note, quoted\",flat"),
            Way::Json => writeln!(text, "{{\"time\":\"{iso}\",\"glucose\":{value}}}"),
        }
        .unwrap_or_else(|error| panic!("a text can grow: {error}"));
    }
    text
}
