//! What is typed after `recheck note` becomes a kind of note: how much may stand first among the words, with its unit.
//! Keeps nothing, and asks no daemon.

use super::print::Failure;
use crate::domain::a1c::A1cUnit;
use crate::domain::diary::{Amount, Kind};
use crate::domain::glucose::Unit;
use crate::formats::noted::{self, KINDS, NotANote, Part, Told, kind_named};

/// The kind with its amount, and the words that are left. How much may stand first among the words, and its
/// unit with it or after it: `4 U`, `15g`, `142 mg/dL`.
pub(super) fn kind_of<'a>(kind: &str, words: &'a [String], unit: Unit) -> Result<(Kind, &'a [String]), Failure> {
    let name = kind_named(kind).unwrap_or_default();
    // `ketones urine trace` reads as well as `ketones trace urine`.
    let (words, of_urine) = match words {
        [first, rest @ ..] if name == "ketones" && first.eq_ignore_ascii_case("urine") => (rest, true),
        _ => (words, false),
    };
    let first = words.first().map_or("", String::as_str);
    let (number, with_it) = first.split_at(first.find(|c| !matches!(c, '0'..='9' | '.' | ',')).unwrap_or(first.len()));
    let is_word = number.is_empty() && name == "ketones";
    let (number, with_it) = if is_word { (first, "") } else { (number, with_it) };
    let second = words.get(1).map(String::as_str).filter(|word| with_it.is_empty() && is_unit(word));
    let has_amount = match name {
        "insulin" | "long-acting" | "carbohydrate" => {
            Amount::parse(number).is_some() && (with_it.is_empty() || is_unit(with_it))
        }
        "meter" | "ketones" | "a1c" => !first.is_empty(),
        _ => false,
    };
    let (amount, its_unit, rest) = match second {
        _ if !has_amount => ("", "", words),
        Some(second) => (number, second, words.get(2..).unwrap_or_default()),
        None => (number, with_it, words.get(1..).unwrap_or_default()),
    };
    let its_unit = if of_urine && its_unit.is_empty() { "urine" } else { its_unit };
    let told = Told { kind, amount, unit: its_unit, words: &rest.join(" ") };
    match noted::kind_of(&told, unit) {
        Ok(kind) => Ok((kind, rest)),
        Err(NotANote { part: Part::Kind, .. }) => Err(Failure::new(format!("there is no note called \"{kind}\""))
            .hint(format!("the kinds are: {}", KINDS.join(", ")))),
        Err(NotANote { expected, .. }) => Err(Failure::new(format!("note {kind} needs {expected}"))
            .hint(format!("write it as: recheck note {kind} {}", example(kind, unit)))),
    }
}

/// A word that is a unit, wherever it belongs.
fn is_unit(word: &str) -> bool {
    let plain = ["U", "unit", "units", "g", "urine", "blood"].iter().any(|unit| word.eq_ignore_ascii_case(unit));
    plain || Unit::named(word).is_some() || A1cUnit::named(word).is_some()
}

fn example(kind: &str, unit: Unit) -> &'static str {
    match (kind_named(kind).unwrap_or_default(), unit) {
        ("meter", Unit::MgDl) => "142",
        ("meter", Unit::MmolL) => "7.9",
        ("insulin", _) => "\"before supper\"",
        ("long-acting", _) => "\"at bedtime\"",
        ("carbohydrate", _) => "\"a bun\"",
        ("ketones", _) => "0.4",
        ("a1c", _) => "7.1 %",
        ("symptoms", _) => "shaky",
        ("therapy", _) => "\"what changed\"",
        _ => "\"walked home\"",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::ketones::Urine;

    #[test]
    fn an_amount_may_have_its_unit_with_it_or_after_it() {
        let noted = |kind: &str, words: &[&str], unit: Unit| {
            let words: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
            kind_of(kind, &words, unit)
                .map(|(kind, rest)| (kind, rest.join(" ")))
                .map_err(|failure| format!("{failure:?}"))
        };
        let four = Ok((Kind::Insulin(Some(Amount(400))), "supper".to_owned()));
        for words in [&["4", "supper"][..], &["4U", "supper"], &["4", "units", "supper"]] {
            assert_eq!(noted("insulin", words, Unit::MgDl), four, "{words:?}");
        }
        let long_acting = Kind::LongActing(Some(Amount(1_450)));
        assert_eq!(noted("long-acting", &["14,5", "U"], Unit::MgDl), Ok((long_acting, String::new())));
        assert_eq!(noted("insulin", &["four"], Unit::MgDl), Ok((Kind::Insulin(None), "four".to_owned())));
        assert_eq!(noted("insulin", &["4x"], Unit::MgDl), Ok((Kind::Insulin(None), "4x".to_owned())));
        // 70 mg/dL, whatever unit the wearer reads.
        for words in [&["70mg/dL"][..], &["70", "mg/dL"]] {
            match noted("meter", words, Unit::MmolL) {
                Ok((Kind::Meter(glucose), rest)) => assert_eq!((glucose.hundredths(), rest.as_str()), (7_000, "")),
                other => panic!("{words:?}: {other:?}"),
            }
        }
        let refused = noted("meter", &["62"], Unit::MmolL).unwrap_err();
        assert!(refused.contains("is the unit mg/dL?") && refused.contains("recheck note meter 7.9"), "{refused}");
        for (words, shown) in [
            (&["53", "mmol/mol", "spring"][..], "53 mmol/mol (7.0 %)"),
            (&["6.8%", "spring"], "6.8 % (51 mmol/mol)"),
            (&["6,8", "spring"], "6.8 % (51 mmol/mol)"),
        ] {
            match noted("a1c", words, Unit::MgDl) {
                Ok((Kind::A1c(a1c), rest)) => {
                    assert_eq!((a1c.to_string(), rest.as_str()), (shown.to_owned(), "spring"));
                }
                other => panic!("{words:?}: {other:?}"),
            }
        }
        let refused = noted("a1c", &["12"], Unit::MgDl).unwrap_err();
        assert!(refused.contains("note a1c needs % or mmol/mol: 12 could be either"), "{refused}");
        let refused = noted("a1c", &["53", "%"], Unit::MgDl).unwrap_err();
        assert!(refused.contains("an A1c in %; or is the unit mmol/mol?"), "{refused}");
        let refused = noted("therapy", &[], Unit::MgDl).unwrap_err();
        assert!(refused.contains("note therapy needs what changed"), "{refused}");
        let refused = noted("insulin", &["4", "g"], Unit::MgDl).unwrap_err();
        assert!(refused.contains("note insulin needs U, or nothing"), "{refused}");
    }

    #[test]
    fn ketones_may_be_a_word_and_food_has_everyday_names() {
        let noted = |kind: &str, words: &[&str]| {
            let words: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
            kind_of(kind, &words, Unit::MgDl)
                .map(|(kind, rest)| (kind, rest.join(" ")))
                .map_err(|failure| format!("{failure:?}"))
        };
        let large = Ok((Kind::UrineKetones(Urine::Large), "again".to_owned()));
        for words in [&["large", "again"][..], &["urine", "large", "again"], &["Large", "urine", "again"]] {
            assert_eq!(noted("ketones", words), large, "{words:?}");
        }
        assert_eq!(noted("ketones", &["HI"]), Ok((Kind::KetonesHigh, String::new())));
        assert_eq!(noted("ketones", &["0.4", "tired"]), Ok((Kind::Ketones(Amount(40)), "tired".to_owned())));
        assert!(noted("ketones", &["urine", "0.4"]).unwrap_err().contains("needs negative, trace, small"));
        assert_eq!(noted("food", &["40g", "rice"]), Ok((Kind::Carbohydrate(Some(Amount(4_000))), "rice".to_owned())));
        assert_eq!(noted("basal", &["14"]), Ok((Kind::LongActing(Some(Amount(1_400))), String::new())));
    }
}
