//! What a note says of itself, its kind, amount and unit as texts, becomes a kind of note, or is refused with what was
//! expected. Knows no files, and decides nothing about what follows.

use super::rows::with_point;
use crate::domain::a1c::{A1c, A1cUnit, NotAnA1c};
use crate::domain::diary::{Amount, Kind};
use crate::domain::glucose::{Glucose, MG_DL_MIN_HUNDREDTHS, MMOL_L_MAX_HUNDREDTHS, Unit};
use crate::domain::insulin::MISTAKEN;
use crate::domain::ketones::Urine;

/// The kinds of note, as the command line and a file name them.
pub const KINDS: [&str; 13] = [
    "insulin",
    "long-acting",
    "carbohydrate",
    "meter",
    "ketones",
    "symptoms",
    "exercise",
    "site",
    "sensor",
    "scan",
    "a1c",
    "therapy",
    "text",
];

/// Everyday words for them, and the words that a clinic says.
const EVERYDAY: [(&str, &str); 21] = [
    (WRONG_INSULIN, "insulin"),
    ("carbs", "carbohydrate"),
    ("carb", "carbohydrate"),
    ("carbohydrates", "carbohydrate"),
    ("food", "carbohydrate"),
    ("meal", "carbohydrate"),
    ("snack", "carbohydrate"),
    ("sugar", "carbohydrate"),
    ("bolus", "insulin"),
    ("rapid", "insulin"),
    ("basal", "long-acting"),
    ("background", "long-acting"),
    ("longacting", "long-acting"),
    ("finger-prick", "meter"),
    ("fingerprick", "meter"),
    ("ketone", "ketones"),
    ("symptom", "symptoms"),
    ("set", "site"),
    ("infusion-set", "site"),
    ("cannula", "site"),
    ("sport", "exercise"),
];

/// Rapid insulin that was taken for long-acting has a word of its own, because it is seldom and grave.
const WRONG_INSULIN: &str = "wrong-insulin";

/// What a word for a kind says beside the kind: it begins the words of the note.
#[must_use]
pub fn implied(kind: &str) -> Option<&'static str> {
    kind.trim().eq_ignore_ascii_case(WRONG_INSULIN).then_some(MISTAKEN)
}

/// The kind that a word names, by its own name or an everyday one.
#[must_use]
pub fn kind_named(word: &str) -> Option<&'static str> {
    let word = word.trim();
    let of_kind = KINDS.into_iter().find(|kind| kind.eq_ignore_ascii_case(word));
    let everyday = || EVERYDAY.iter().find(|(name, _)| name.eq_ignore_ascii_case(word)).map(|(_, kind)| *kind);
    of_kind.or_else(everyday)
}

/// Highest meter value, in hundredths of a mg/dL. Common practice, no source: meters show "high" before.
const METER_MAX_HUNDREDTHS: i32 = 90_000;

/// Highest ketones, in hundredths of a mmol/L. Common practice, no source: far above what meters show.
const KETONES_MAX_HUNDREDTHS: i32 = 2_000;

/// What a note says of itself, as texts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Told<'a> {
    /// What it is about.
    pub kind: &'a str,
    /// How much; may be empty.
    pub amount: &'a str,
    /// In which unit; may be empty.
    pub unit: &'a str,
    /// In the writer's own words; may be empty.
    pub words: &'a str,
}

/// The cell of a note that is not understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "each is the cell of its name")]
pub enum Part {
    Kind,
    Amount,
    Unit,
    Note,
}

/// Why a note is not understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotANote {
    /// In which cell.
    pub part: Part,
    /// What should have stood there.
    pub expected: String,
}

/// The kind of a note with its amount. `wearers` is the unit of a meter check that says none.
///
/// # Errors
/// When there is no such kind, or its amount or unit cannot be meant.
pub fn kind_of(told: &Told<'_>, wearers: Unit) -> Result<Kind, NotANote> {
    let wrong = |part: Part, expected: &str| NotANote { part, expected: expected.to_owned() };
    let unit_is =
        |names: &[&str]| told.unit.is_empty() || names.iter().any(|name| told.unit.eq_ignore_ascii_case(name));
    let amount = || match told.amount {
        "" => Ok(None),
        text => Amount::parse(text).map(Some).ok_or_else(|| wrong(Part::Amount, "a number, with up to two decimals")),
    };
    Ok(match kind_named(told.kind).unwrap_or_default() {
        "insulin" | "long-acting" if !unit_is(&["u", "unit", "units"]) => {
            return Err(wrong(Part::Unit, "U, or nothing"));
        }
        "insulin" => Kind::Insulin(amount()?),
        "long-acting" => Kind::LongActing(amount()?),
        "carbohydrate" if !unit_is(&["g"]) => return Err(wrong(Part::Unit, "g, or nothing")),
        "carbohydrate" => Kind::Carbohydrate(amount()?),
        "meter" => Kind::Meter(meter(told, wearers)?),
        "ketones" => ketones(told)?,
        "a1c" => Kind::A1c(a1c(told)?),
        "symptoms" => Kind::Symptoms,
        "exercise" => Kind::Exercise,
        "site" => Kind::Site,
        "sensor" => sensor(told),
        "scan" => Kind::Scan,
        "therapy" if told.words.is_empty() => return Err(wrong(Part::Note, "what changed, in your own words")),
        "therapy" => Kind::Therapy,
        "text" if told.words.is_empty() => return Err(wrong(Part::Note, "words")),
        "text" => Kind::Text,
        _ => return Err(wrong(Part::Kind, &format!("one of {}", KINDS.join(", ")))),
    })
}

/// `start` or `stop` begins or ends a sensor's session; the word after it may name the source.
fn sensor(told: &Told<'_>) -> Kind {
    let mut words = told.amount.split_whitespace().chain(told.words.split_whitespace());
    let (what, of) = (words.next().unwrap_or_default().to_lowercase(), words.next().map(str::to_owned));
    match what.as_str() {
        "start" => Kind::SensorStart(of),
        "stop" => Kind::SensorStop(of),
        _ => Kind::Sensor,
    }
}

/// Ketones of a blood meter, as a number or as its word for more than it shows, or the field of a urine strip.
fn ketones(told: &Told<'_>) -> Result<Kind, NotANote> {
    let wrong = |part: Part, expected: &str| NotANote { part, expected: expected.to_owned() };
    let unit_is = |names: &[&str]| names.iter().any(|name| told.unit.eq_ignore_ascii_case(name));
    let of_urine = unit_is(&["urine", "in urine", "strip"]);
    let of_blood = unit_is(&["mmol/L", "blood"]);
    if let Some(urine) = Urine::named(told.amount) {
        let unit_fits = told.unit.is_empty() || of_urine;
        return if unit_fits { Ok(Kind::UrineKetones(urine)) } else { Err(wrong(Part::Unit, "urine, or nothing")) };
    }
    if of_urine {
        return Err(wrong(Part::Amount, Urine::EXPECTED));
    }
    if !told.unit.is_empty() && !of_blood {
        return Err(wrong(Part::Unit, "mmol/L, urine, or nothing"));
    }
    if ["hi", "high"].iter().any(|word| told.amount.eq_ignore_ascii_case(word)) {
        return Ok(Kind::KetonesHigh);
    }
    let known = Amount::parse(told.amount).filter(|amount| amount.0 <= KETONES_MAX_HUNDREDTHS);
    let expected = || match told.amount {
        "" => "a value in mmol/L".to_owned(),
        _ => format!("a value in mmol/L, HI, or of a urine strip {}", Urine::EXPECTED),
    };
    known.map(Kind::Ketones).ok_or_else(|| NotANote { part: Part::Amount, expected: expected() })
}

/// An A1c of a laboratory, in % or in mmol/mol.
fn a1c(told: &Told<'_>) -> Result<A1c, NotANote> {
    let wrong = |part: Part, expected: String| NotANote { part, expected };
    let unit = match told.unit {
        "" => None,
        text => Some(A1cUnit::named(text).ok_or_else(|| wrong(Part::Unit, "% or mmol/mol".to_owned()))?),
    };
    let none = || wrong(Part::Amount, "an A1c in % or in mmol/mol".to_owned());
    let amount = Amount::parse(told.amount).ok_or_else(none)?;
    A1c::new(amount, unit).map_err(|not| match (not, unit) {
        (NotAnA1c::EitherUnit, _) => wrong(Part::Unit, format!("% or mmol/mol: {amount} could be either")),
        (NotAnA1c::OtherUnit(other), Some(unit)) => {
            wrong(Part::Amount, format!("an A1c in {}; or is the unit {}?", unit.name(), other.name()))
        }
        (NotAnA1c::OtherUnit(_), None) | (NotAnA1c::Neither, _) => none(),
    })
}

/// A value that a meter shows. A finger-prick of 5.4 in mg/dL is the other unit, not a very low value.
///
/// # Errors
/// When the amount or its unit cannot be meant.
pub fn meter(told: &Told<'_>, wearers: Unit) -> Result<Glucose, NotANote> {
    let wrong = |part: Part, expected: String| Err(NotANote { part, expected });
    let unit = match told.unit {
        "" => wearers,
        text => match Unit::named(text) {
            Some(unit) => unit,
            None => return wrong(Part::Unit, "mg/dL or mmol/L".to_owned()),
        },
    };
    let plausible = |unit: Unit| {
        Glucose::parse(&with_point(told.amount), unit).ok().filter(|value| {
            let hundredths = value.hundredths();
            // Meters show whole mg/dL: one with a fraction is doubtful as far up as mmol/L reach.
            let whole = hundredths % 100 == 0 || hundredths >= MMOL_L_MAX_HUNDREDTHS;
            (MG_DL_MIN_HUNDREDTHS..=METER_MAX_HUNDREDTHS).contains(&hundredths) && whole
        })
    };
    let other = match unit {
        Unit::MgDl => Unit::MmolL,
        Unit::MmolL => Unit::MgDl,
    };
    match (plausible(unit), plausible(other)) {
        (Some(value), _) => Ok(value),
        (None, Some(_)) => wrong(Part::Amount, format!("a value in {}; or is the unit {}?", unit.name(), other.name())),
        (None, None) => wrong(Part::Amount, format!("a value in {}", unit.name())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told<'a>(kind: &'a str, amount: &'a str, unit: &'a str) -> Told<'a> {
        Told { kind, amount, unit, words: "" }
    }

    fn refused(told: &Told<'_>, wearers: Unit) -> (Part, String) {
        let NotANote { part, expected } = kind_of(told, wearers).unwrap_err();
        (part, expected)
    }

    #[test]
    fn amounts_and_units_are_checked() {
        let four = Amount::parse("4.5");
        for unit in ["", "U", "u", "unit", "Units"] {
            assert_eq!(kind_of(&told("Insulin", "4,5", unit), Unit::MgDl), Ok(Kind::Insulin(four)));
        }
        assert_eq!(refused(&told("insulin", "4", "ml"), Unit::MgDl).0, Part::Unit);
        assert_eq!(refused(&told("insulin", "four", ""), Unit::MgDl).0, Part::Amount);
        assert_eq!(refused(&told("carbohydrate", "12", "oz"), Unit::MgDl).0, Part::Unit);
        assert_eq!(refused(&told("ketones", "", ""), Unit::MgDl).0, Part::Amount);
        assert_eq!(refused(&told("ketones", "20.1", "mmol/L"), Unit::MgDl).0, Part::Amount);
        assert_eq!(refused(&told("text", "", ""), Unit::MgDl).0, Part::Note);
        assert_eq!(refused(&told("insuline", "4", ""), Unit::MgDl).0, Part::Kind);
    }

    #[test]
    fn an_a1c_is_in_one_of_two_units_and_never_guessed() {
        let shown = |amount, unit| match kind_of(&told("A1c", amount, unit), Unit::MgDl).unwrap() {
            Kind::A1c(a1c) => a1c.to_string(),
            other => panic!("{other:?}"),
        };
        assert_eq!(shown("7,1", "%"), "7.1 % (54 mmol/mol)");
        assert_eq!(shown("53", "MMOL/MOL"), "53 mmol/mol (7.0 %)");
        assert_eq!(shown("53", ""), "53 mmol/mol (7.0 %)");
        assert_eq!(
            refused(&told("a1c", "12", ""), Unit::MgDl),
            (Part::Unit, "% or mmol/mol: 12 could be either".into())
        );
        assert_eq!(refused(&told("a1c", "7.1", "mmol/L"), Unit::MgDl).0, Part::Unit);
        assert_eq!(refused(&told("a1c", "7.1", "mmol/mol"), Unit::MgDl).1, "an A1c in mmol/mol; or is the unit %?");
        for none in ["", "-7", "some", "0", "400"] {
            assert_eq!(refused(&told("a1c", none, ""), Unit::MgDl).0, Part::Amount, "{none}");
        }
        assert_eq!(refused(&told("therapy", "", ""), Unit::MgDl).0, Part::Note);
    }

    #[test]
    fn a_sensor_is_started_and_stopped_by_its_first_word() {
        let kind = |amount: &str, words: &str| {
            let told = Told { kind: "sensor", amount, unit: "", words };
            kind_of(&told, Unit::MgDl).unwrap()
        };
        assert_eq!(kind("", "start"), Kind::SensorStart(None));
        assert_eq!(kind("Stop", "arm"), Kind::SensorStop(Some("arm".to_owned())));
        assert_eq!(kind("", "taped down"), Kind::Sensor);
    }

    #[test]
    fn a_meter_value_in_the_other_unit_is_asked_about() {
        let asked = |amount, unit, wearers| refused(&told("meter", amount, unit), wearers).1;
        assert_eq!(asked("5.4", "", Unit::MgDl), "a value in mg/dL; or is the unit mmol/L?");
        assert_eq!(asked("15.4", "mg/dL", Unit::MmolL), "a value in mg/dL; or is the unit mmol/L?");
        assert_eq!(asked("142", "", Unit::MmolL), "a value in mmol/L; or is the unit mg/dL?");
        assert_eq!(asked("0", "", Unit::MmolL), "a value in mmol/L");
        for (amount, unit, wearers, hundredths) in
            [("5,4", "", Unit::MmolL, 9_700), ("142", "mg/dl", Unit::MmolL, 14_200), ("25", "", Unit::MgDl, 2_500)]
        {
            match kind_of(&told("meter", amount, unit), wearers) {
                Ok(Kind::Meter(glucose)) => assert_eq!(glucose.hundredths(), hundredths, "{amount} {unit}"),
                other => panic!("{other:?}"),
            }
        }
    }

    #[test]
    fn everyday_words_are_understood() {
        for (word, kind) in [
            ("Carbs", "carbohydrate"),
            ("food", "carbohydrate"),
            ("bolus", "insulin"),
            ("set", "site"),
            ("Scan", "scan"),
        ] {
            assert_eq!(kind_named(word), Some(kind));
        }
        assert_eq!(kind_of(&told("carbs", "30", "g"), Unit::MgDl), Ok(Kind::Carbohydrate(Amount::parse("30"))));
        assert_eq!(kind_named("tea"), None);
        for (_, kind) in EVERYDAY {
            assert!(KINDS.contains(&kind), "{kind}");
        }
    }

    #[test]
    fn ketones_are_of_blood_or_of_urine() {
        let kind = |amount, unit| kind_of(&told("ketones", amount, unit), Unit::MgDl);
        assert_eq!(kind("0,6", "mmol/l"), Ok(Kind::Ketones(Amount(60))));
        assert_eq!(kind("hi", ""), Ok(Kind::KetonesHigh));
        for (word, urine) in [
            ("Negative", Urine::Negative),
            ("trace", Urine::Trace),
            ("small", Urine::Trace),
            ("moderate", Urine::Moderate),
            ("LARGE", Urine::Large),
        ] {
            assert_eq!(kind(word, ""), Ok(Kind::UrineKetones(urine)));
            assert_eq!(kind(word, "urine"), Ok(Kind::UrineKetones(urine)));
        }
        let part = |amount, unit| kind(amount, unit).unwrap_err().part;
        assert_eq!(part("1.2", "urine"), Part::Amount);
        assert_eq!(part("trace", "mmol/L"), Part::Unit);
        assert_eq!(part("0.4", "mg/dL"), Part::Unit);
        assert_eq!(part("some", ""), Part::Amount);
    }
}
