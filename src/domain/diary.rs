//! What the wearer notes: insulin, food, meter checks and the rest. No amounts are ever worked out here.

use super::a1c::A1c;
use super::glucose::Glucose;
use super::ketones::{Ketones, Urine};
use super::time::Timestamp;
use serde::{Deserialize, Serialize};

/// A number with up to two decimals, kept as hundredths (insulin in units, food in grams, ketones in mmol/L).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Amount(pub i32);

impl Amount {
    /// Reads a plain decimal such as `4`, `4.5` or `0.65`; a decimal comma is taken as a point.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.replace(',', ".");
        let (whole, fraction) = text.split_once('.').unwrap_or((&text, ""));
        let all_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        if whole.is_empty() || whole.len() > 6 || fraction.len() > 2 || !all_digits(whole) || !all_digits(fraction) {
            return None;
        }
        let fraction: i32 = format!("{fraction:0<2}").parse().ok()?;
        Some(Self(whole.parse::<i32>().ok()? * 100 + fraction))
    }
}

impl std::fmt::Display for Amount {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (whole, fraction) = (self.0 / 100, self.0 % 100);
        match fraction {
            0 => write!(out, "{whole}"),
            tenths if tenths % 10 == 0 => write!(out, "{whole}.{}", tenths / 10),
            hundredths => write!(out, "{whole}.{hundredths:02}"),
        }
    }
}

/// What a note is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Insulin taken for a meal or for a high; units if they were told.
    Insulin(Option<Amount>),
    /// Long-acting insulin, which is taken for no meal and for no high; units if they were told.
    LongActing(Option<Amount>),
    /// Carbohydrate eaten; grams if they were told.
    Carbohydrate(Option<Amount>),
    /// A finger-prick check with a meter.
    Meter(Glucose),
    /// Blood ketones in mmol/L.
    Ketones(Amount),
    /// Blood ketones beyond what the meter shows as a number.
    KetonesHigh,
    /// Ketones of a urine strip.
    UrineKetones(Urine),
    /// Symptoms felt, whatever the sensor says; which, is in the words.
    Symptoms,
    /// Exercise.
    Exercise,
    /// The pump's infusion site was changed.
    Site,
    /// Something about the sensor.
    Sensor,
    /// A new sensor was started: of that source, or of every one.
    SensorStart(Option<String>),
    /// The sensor was taken off: of that source, or of every one.
    SensorStop(Option<String>),
    /// The sensor was scanned, and the scan is not exported yet.
    Scan,
    /// An A1c of a laboratory, for reports.
    A1c(A1c),
    /// The settings of a therapy were changed: what changed is in the words, for reports.
    Therapy,
    /// Words only.
    Text,
}

impl Kind {
    /// The word it is noted by.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Insulin(_) => "insulin",
            Self::LongActing(_) => "long-acting",
            Self::Carbohydrate(_) => "carbohydrate",
            Self::Meter(_) => "meter",
            Self::Ketones(_) | Self::KetonesHigh | Self::UrineKetones(_) => "ketones",
            Self::Symptoms => "symptoms",
            Self::Exercise => "exercise",
            Self::Site => "site",
            Self::Sensor => "sensor",
            Self::SensorStart(_) => "sensor start",
            Self::SensorStop(_) => "sensor stop",
            Self::Scan => "scan",
            Self::A1c(_) => "a1c",
            Self::Therapy => "therapy",
            Self::Text => "text",
        }
    }

    /// Is it insulin that is taken for meals and for highs?
    #[must_use]
    pub const fn is_insulin(&self) -> bool {
        matches!(self, Self::Insulin(_))
    }

    /// The ketones that were measured, if it is about them.
    #[must_use]
    pub const fn ketones(&self) -> Option<Ketones> {
        match self {
            Self::Ketones(amount) => Some(Ketones::Blood(*amount)),
            Self::KetonesHigh => Some(Ketones::BloodHigh),
            Self::UrineKetones(urine) => Some(Ketones::Urine(*urine)),
            _ => None,
        }
    }

    /// Can it say how much? What others are written with belongs to their words.
    #[must_use]
    pub const fn has_amount(&self) -> bool {
        match self {
            Self::Insulin(_)
            | Self::LongActing(_)
            | Self::Carbohydrate(_)
            | Self::Meter(_)
            | Self::Ketones(_)
            | Self::KetonesHigh
            | Self::UrineKetones(_)
            | Self::A1c(_) => true,
            Self::Symptoms
            | Self::Exercise
            | Self::Site
            | Self::Sensor
            | Self::SensorStart(_)
            | Self::SensorStop(_)
            | Self::Scan
            | Self::Therapy
            | Self::Text => false,
        }
    }
}

/// One diary line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// When it happened, which may be before it was noted.
    pub at: Timestamp,
    /// What happened.
    pub kind: Kind,
    /// The wearer's own words; may be empty.
    pub words: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_read_and_print_as_written() {
        for (text, shown) in [("4", "4"), ("4.5", "4.5"), ("0,65", "0.65"), ("12.50", "12.5")] {
            assert_eq!(Amount::parse(text).unwrap().to_string(), shown);
        }
        for text in ["", "-1", "4.567", "four", ".5"] {
            assert_eq!(Amount::parse(text), None, "{text}");
        }
    }
}
