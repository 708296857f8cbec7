//! A glucose value: exact, with the unit it was received in. Decides nothing about it.
//!
//! The internal unit is the hundredth of a mg/dL. A value received in mmol/L is turned into whole
//! mg/dL, halves up, by the conventional factor 18: at every tenth of a mmol/L from 2.0 to 29.9 this
//! puts the value on the same side of 54/3.0, 70/3.9, 180/10.0 and 250/13.9 as comparing in mmol/L
//! does (a test walks them all), and it prints back as it was received.

use serde::{Deserialize, Serialize};

/// mg/dL in one mmol/L of glucose: the conventional factor, which the consensus tables print by
/// (18.0156 by molar mass would print 145 mg/dL as 8.0, the HL7 guide's example prints 8.1).
pub const MG_DL_PER_MMOL_L: i32 = 18;

/// The lowest number of mg/dL that can be glucose, in hundredths: a sensor's own floor is 40, and 3 mmol/L read
/// as mg/dL is 3. Common practice, no source.
pub const MG_DL_MIN_HUNDREDTHS: i32 = 2_000;

/// The highest number of mmol/L that sensors and meters show, in hundredths (600 mg/dL). Common practice, no
/// source.
pub const MMOL_L_MAX_HUNDREDTHS: i32 = 3_330;

/// What a below-range word stands for, in mg/dL. Common practice: one below a sensor's lowest number.
pub const BELOW_RANGE_MG_DL: i32 = 39;

/// What an above-range word stands for, in mg/dL. Common practice: one above a sensor's highest number.
pub const ABOVE_RANGE_MG_DL: i32 = 401;

/// A unit of glucose concentration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// Milligrams per decilitre.
    #[serde(rename = "mg/dL")]
    MgDl,
    /// Millimoles per litre.
    #[serde(rename = "mmol/L")]
    MmolL,
}

impl Unit {
    /// The unit by its printed name, in any capitals.
    #[must_use]
    pub fn named(text: &str) -> Option<Self> {
        [Self::MgDl, Self::MmolL].into_iter().find(|unit| text.eq_ignore_ascii_case(unit.name()))
    }

    /// The printed name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::MgDl => "mg/dL",
            Self::MmolL => "mmol/L",
        }
    }
}

/// Whether the value is a number the sensor gave, or a word for "beyond what I can measure".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Measured {
    /// A number.
    Number,
    /// Below the sensor's range.
    BelowRange,
    /// Above the sensor's range.
    AboveRange,
}

/// One glucose concentration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Glucose {
    #[serde(rename = "c")]
    hundredths_mg_dl: i32,
    #[serde(rename = "u")]
    received: Unit,
    #[serde(rename = "m")]
    measured: Measured,
}

/// Why a text is not a glucose value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotGlucose {
    /// The cell is empty.
    Empty,
    /// Neither a number nor a word for below or above range.
    NotANumber,
}

impl Glucose {
    /// A whole number of mg/dL.
    ///
    /// ```
    /// use recheck::domain::glucose::Glucose;
    /// assert_eq!(Glucose::mg_dl(64).hundredths(), 6_400);
    /// ```
    #[must_use]
    pub const fn mg_dl(whole: i32) -> Self {
        Self::from_hundredths(whole.saturating_mul(100), Unit::MgDl, Measured::Number)
    }

    /// From stored parts; `hundredths_mg_dl` is the internal unit.
    #[must_use]
    pub const fn from_hundredths(hundredths_mg_dl: i32, received: Unit, measured: Measured) -> Self {
        Self { hundredths_mg_dl, received, measured }
    }

    /// The value a sensor's word stands for.
    #[must_use]
    pub const fn beyond_range(measured: Measured, received: Unit) -> Self {
        let mg_dl = match measured {
            Measured::AboveRange => ABOVE_RANGE_MG_DL,
            Measured::BelowRange | Measured::Number => BELOW_RANGE_MG_DL,
        };
        Self::from_hundredths(mg_dl * 100, received, measured)
    }

    /// Reads a number, or a word for below or above range, in the given unit.
    ///
    /// # Errors
    /// When the text is empty, or is neither a number nor such a word.
    ///
    /// ```
    /// use recheck::domain::glucose::{Glucose, Unit};
    /// assert_eq!(Glucose::parse("10.0", Unit::MmolL).unwrap().hundredths(), 18_000);
    /// assert_eq!(Glucose::parse("154.8", Unit::MgDl).unwrap().hundredths(), 15_480);
    /// ```
    pub fn parse(text: &str, unit: Unit) -> Result<Self, NotGlucose> {
        let text = text.trim();
        if text.is_empty() {
            return Err(NotGlucose::Empty);
        }
        if let Some(measured) = range_word(text) {
            return Ok(Self::beyond_range(measured, unit));
        }
        let hundredths = decimal_hundredths(text).ok_or(NotGlucose::NotANumber)?;
        Ok(Self::from_received(hundredths, unit))
    }

    /// A number of hundredths of the received unit.
    #[must_use]
    pub const fn from_received(hundredths: i32, unit: Unit) -> Self {
        let internal = match unit {
            Unit::MgDl => hundredths,
            // Halves up to whole mg/dL, see the top of this file.
            Unit::MmolL => {
                let scaled = hundredths.saturating_mul(MG_DL_PER_MMOL_L);
                scaled.saturating_add(50).div_euclid(100).saturating_mul(100)
            }
        };
        Self::from_hundredths(internal, unit, Measured::Number)
    }

    /// Hundredths of a mg/dL.
    #[must_use]
    pub const fn hundredths(self) -> i32 {
        self.hundredths_mg_dl
    }

    /// mg/dL as a floating number, for slopes and for machine-readable output.
    #[must_use]
    pub fn as_mg_dl(self) -> f64 {
        f64::from(self.hundredths_mg_dl) / 100.0
    }

    /// The unit it was received in.
    #[must_use]
    pub const fn received(self) -> Unit {
        self.received
    }

    /// Number or word.
    #[must_use]
    pub const fn measured(self) -> Measured {
        self.measured
    }

    /// How it reads in a unit: whole mg/dL, or mmol/L with one decimal, halves up. A value that
    /// rounding would carry onto `limit` although it is not there keeps one more decimal, so that no
    /// text says "70" of a value that is below 70.
    #[must_use]
    pub fn shown(self, unit: Unit, limit: Option<Self>) -> String {
        match self.measured {
            Measured::BelowRange => return "below range".to_owned(),
            Measured::AboveRange => return "above range".to_owned(),
            Measured::Number => {}
        }
        let hundredths = self.hundredths_mg_dl;
        match unit {
            Unit::MgDl => {
                let whole = (hundredths + 50).div_euclid(100);
                let carried = limit
                    .is_some_and(|limit| whole * 100 == limit.hundredths_mg_dl && hundredths != limit.hundredths_mg_dl);
                if carried { format!("{}.{}", hundredths / 100, hundredths % 100 / 10) } else { whole.to_string() }
            }
            Unit::MmolL => {
                // tenths = hundredths mg/dL / 18 / 10, halves up
                let in_tenths = |hundredths: i32| (hundredths + 90).div_euclid(MG_DL_PER_MMOL_L * 10);
                let tenths = in_tenths(hundredths);
                let carried = limit.is_some_and(|limit| {
                    in_tenths(limit.hundredths_mg_dl) == tenths && limit.hundredths_mg_dl != hundredths
                });
                if carried && self.received == Unit::MgDl {
                    let fine = (hundredths + 9).div_euclid(MG_DL_PER_MMOL_L);
                    return format!("{}.{:02}", fine / 100, fine % 100);
                }
                format!("{}.{}", tenths / 10, tenths % 10)
            }
        }
    }
}

/// Words exports write instead of a number; a comparator before a number says the same.
fn range_word(text: &str) -> Option<Measured> {
    match text.as_bytes().first()? {
        b'<' => return Some(Measured::BelowRange),
        b'>' => return Some(Measured::AboveRange),
        b'0'..=b'9' | b'.' | b'-' | b'+' => return None,
        _ => {}
    }
    match text.to_ascii_lowercase().as_str() {
        "low" | "lo" | "below" | "below range" => Some(Measured::BelowRange),
        "high" | "hi" | "above" | "above range" => Some(Measured::AboveRange),
        _ => None,
    }
}

/// A plain decimal number as hundredths, halves up; at most seven digits before the point.
fn decimal_hundredths(text: &str) -> Option<i32> {
    let (negative, digits) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    if whole.is_empty() && fraction.is_empty() || whole.len() > 7 {
        return None;
    }
    let mut value: i32 = 0;
    for byte in whole.bytes() {
        value = value * 10 + i32::from(digit(byte)?);
    }
    value *= 100;
    for (place, byte) in fraction.bytes().enumerate() {
        let digit = i32::from(digit(byte)?);
        match place {
            0 => value += digit * 10,
            1 => value += digit,
            2 if digit >= 5 => value += 1,
            _ => {}
        }
    }
    Some(if negative { -value } else { value })
}

fn digit(byte: u8) -> Option<u8> {
    byte.is_ascii_digit().then(|| byte - b'0')
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Consensus cut-off pairs: 54/3.0, 70/3.9, 180/10.0, 250/13.9 (Battelino 2019, Diabetes Care
    /// 42:1593). Comparing in mmol/L and comparing the whole mg/dL must agree at every tenth.
    #[test]
    fn mmol_values_fall_on_the_side_the_consensus_puts_them() {
        for tenths in 20..=299 {
            let text = format!("{}.{}", tenths / 10, tenths % 10);
            let value = Glucose::parse(&text, Unit::MmolL).unwrap().hundredths();
            assert_eq!(value < 5_400, tenths < 30, "{text}");
            assert_eq!(value < 7_000, tenths < 39, "{text}");
            assert_eq!(value > 18_000, tenths > 100, "{text}");
            assert_eq!(value > 25_000, tenths > 139, "{text}");
            let back = Glucose::parse(&text, Unit::MmolL).unwrap().shown(Unit::MmolL, None);
            assert_eq!(back, text);
        }
    }

    /// HL7 guide for sensor summaries, examples: mean 145 mg/dL is printed 8.1 mmol/L.
    #[test]
    fn prints_mmol_as_the_standard_examples_do() {
        assert_eq!(Glucose::mg_dl(145).shown(Unit::MmolL, None), "8.1");
        // ADA table of estimated average glucose: 97 -> 5.4, 154 -> 8.6, 212 -> 11.8, 240 -> 13.4.
        for (mg_dl, mmol) in [(97, "5.4"), (154, "8.6"), (212, "11.8"), (240, "13.4")] {
            // 240.3 / 18 = 13.35 is what the table rounds; the whole number 240 prints 13.3.
            let value = if mg_dl == 240 { Glucose::from_received(24_030, Unit::MgDl) } else { Glucose::mg_dl(mg_dl) };
            assert_eq!(value.shown(Unit::MmolL, None), mmol);
        }
    }

    #[test]
    fn no_text_says_seventy_of_a_value_below_it() {
        let value = Glucose::parse("69.9", Unit::MgDl).unwrap();
        assert_eq!(value.shown(Unit::MgDl, Some(Glucose::mg_dl(70))), "69.9");
        assert_eq!(value.shown(Unit::MgDl, None), "70");
    }

    #[test]
    fn words_and_comparators_are_beyond_range() {
        for (text, measured) in [
            ("LOW", Measured::BelowRange),
            ("<40", Measured::BelowRange),
            ("High", Measured::AboveRange),
            (">400", Measured::AboveRange),
        ] {
            assert_eq!(Glucose::parse(text, Unit::MgDl).unwrap().measured(), measured);
        }
        assert_eq!(Glucose::parse("", Unit::MgDl), Err(NotGlucose::Empty));
        for text in ["abc", "12a", "1,5", "--3", ".", "12345678"] {
            assert_eq!(Glucose::parse(text, Unit::MgDl), Err(NotGlucose::NotANumber), "{text}");
        }
    }
}
