//! What texts are recognised by. All patterns stand here, and are tolerant, since texts are reworded: a pattern asks
//! what a text is about, and not how it says it.

use super::record::Out;

/// Title and body, in small letters.
pub(crate) fn all(out: &Out) -> String {
    format!("{} {}", out.title, out.body).to_lowercase()
}

/// Does one of these words stand in it, as a word or as words?
pub(crate) fn says(text: &str, words: &[&str]) -> bool {
    let text = text.to_lowercase();
    let bytes = text.as_bytes();
    words.iter().any(|word| {
        text.match_indices(word).any(|(at, _)| {
            let before = at == 0 || !bytes[at - 1].is_ascii_alphanumeric();
            let after = bytes.get(at + word.len()).is_none_or(|next| !next.is_ascii_alphanumeric());
            before && after
        })
    })
}

pub(crate) fn ketones(out: &Out) -> bool {
    says(&all(out), &["ketone", "ketones"])
}

pub(crate) fn pen_or_set(out: &Out) -> bool {
    says(&all(out), &["pen", "pens", "set", "infusion set", "site", "cannula"])
}

pub(crate) fn set(out: &Out) -> bool {
    says(&all(out), &["set", "infusion set", "site", "cannula"])
}

pub(crate) fn waits(text: &str) -> bool {
    says(text, &["wait"])
}

pub(crate) fn treat(text: &str) -> bool {
    says(text, &["treat", "by your plan", "by plan"])
}

pub(crate) fn still_or_again(text: &str) -> bool {
    says(text, &["still", "again"])
}

pub(crate) fn prick(text: &str) -> bool {
    says(text, &["finger-prick", "prick", "meter", "finger", "measure"])
}

pub(crate) fn help(text: &str) -> bool {
    says(text, &["help"])
}

pub(crate) fn team(text: &str) -> bool {
    says(text, &["team", "call", "out-of-hours"])
}

pub(crate) fn emergency(text: &str) -> bool {
    says(text, &["emergency", "help now"])
}

pub(crate) fn decide(text: &str) -> bool {
    says(text, &["decide", "dose by your plan", "correct by your plan"])
}

pub(crate) fn no_response(text: &str) -> bool {
    says(text, &["no response", "not coming down", "not responding", "not answering"])
}

pub(crate) fn nudges_to_dose(text: &str) -> bool {
    says(text, &["note what you do", "look and note", "dose", "insulin?", "correct", "if you treat it", "note a dose"])
}

/// Does it ask whether a rise had its dose?
pub(crate) fn asks_for_dose(text: &str) -> bool {
    // After a rise, and not in a sentence of its own, which every high of such a pump has.
    says(text, &["without a dose", "dose noted", "note its dose"]) || text.contains(": see what the pump gave")
}

pub(crate) fn nobody(text: &str) -> bool {
    says(text, &["nobody has answered", "nobody answered", "no answer", "unanswered", "not answered"])
}

pub(crate) fn not_recovering(out: &Out) -> bool {
    out.reason == "not_recovering" || says(&all(out), &["not recovering", "not rising"])
}

pub(crate) fn sensor_doubt(text: &str) -> bool {
    says(text, &["sensor stuck", "same number", "same value", "doubt", "check the sensor", "sensor may"])
}

pub(crate) fn turn_over(text: &str) -> bool {
    says(text, &["turn over", "lying", "pressed"])
}

pub(crate) fn over(text: &str) -> bool {
    says(text, &["over", "back"]) && !says(text, &["turn over", "call back", "not back"])
}

pub(crate) fn still(text: &str) -> bool {
    says(text, &["still"])
}

pub(crate) fn rising(text: &str) -> bool {
    says(text, &["rising"]) && !says(text, &["not rising"])
}

pub(crate) fn falling(text: &str) -> bool {
    says(text, &["falling"]) && !says(text, &["not falling"])
}

/// Minutes of the day at which a low or a high is said to have begun.
pub(crate) fn since(text: &str) -> Option<i64> {
    let text = text.to_lowercase();
    text.match_indices("since ").find_map(|(at, _)| {
        let start = (0..=at.saturating_sub(24)).rev().find(|start| text.is_char_boundary(*start))?;
        let before = &text[start..at];
        let about = says(before, &["low", "high", "below", "above", "still"])
            && !says(before, &["reached", "answered", "nothing"]);
        clock(text.get(at + 6..at + 11)?).filter(|_| about)
    })
}

/// Minutes of the day since when it is said that nobody answered.
pub(crate) fn unanswered_since(text: &str) -> Option<i64> {
    let text = text.to_lowercase();
    let at = text.find("nobody has answered")?;
    let since = at + text[at..].find("since ")? + 6;
    // A time of yesterday has its day before it.
    let day = ["mon ", "tue ", "wed ", "thu ", "fri ", "sat ", "sun "].iter().any(|day| text[since..].starts_with(day));
    let clock_at = if day { since + 4 } else { since };
    clock(text.get(clock_at..clock_at + 5)?).filter(|_| since - at < 60)
}

/// Minutes of the day until when something is said to hold.
pub(crate) fn until(text: &str) -> Option<i64> {
    let text = text.to_lowercase();
    let at = text.find("until ")? + 6;
    let rest = text.get(at..)?;
    rest.split([' ', ',', '.']).find_map(|word| word.get(..5).and_then(clock))
}

/// Minutes of the day of `12:05`.
fn clock(text: &str) -> Option<i64> {
    let (hours, minutes) = text.split_once(':')?;
    Some(hours.parse::<i64>().ok()? * 60 + minutes.parse::<i64>().ok()?)
}

pub(crate) fn meant(text: &str) -> bool {
    says(text, &["meant", "really", "is that right", "sure"]) || text.contains('?')
}

pub(crate) fn may_drive(text: &str) -> bool {
    let denied = text.replace("whether you may drive", "").replace("never says that you may drive", "");
    says(&denied, &["may drive", "can drive", "drive again", "safe to drive", "ok to drive"])
}

pub(crate) fn pumps_plan(text: &str) -> bool {
    says(text, &["pump"])
}

/// What helps somebody who does not wake.
pub(crate) fn first_aid(text: &str) -> bool {
    says(text, &["mouth"]) && says(text, &["side"]) && says(text, &["call"])
}

pub(crate) fn terminal(text: &str) -> bool {
    text.contains("`recheck ")
}

/// Does it say that it rings, or calls, all the same?
pub(crate) fn all_the_same(text: &str) -> bool {
    says(text, &["still rings", "all the same", "except", "escalat", "called", "calls", "rings anyhow", "not quiet"])
}

/// The first glucose of a title: a number that is no clock time, no change and no length.
pub(crate) fn first_glucose(title: &str) -> Option<i64> {
    glucoses(title).into_iter().next()
}

/// Numbers that can be a glucose in mg/dL, in their order.
pub(crate) fn glucoses(title: &str) -> Vec<i64> {
    let bytes = title.as_bytes();
    let mut found = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        if !bytes[at].is_ascii_digit() {
            at += 1;
            continue;
        }
        let end = (at..bytes.len()).find(|place| !bytes[*place].is_ascii_digit()).unwrap_or(bytes.len());
        let rest = &title[end..];
        let before = title[..at].chars().next_back();
        let time = rest.starts_with(':') || before == Some(':');
        let change = matches!(before, Some('+' | '-'))
            || title[..at].ends_with("Up ")
            || title[..at].ends_with("by ")
            || title[..at].ends_with("below ")
            || title[..at].ends_with("above ")
            || title[..at].ends_with("under ");
        let length =
            [" min", " h", "h ", " %", "%", " x", " of", " treat", " alert", " time", " more", " U", " g", "."]
                .iter()
                .any(|unit| rest.starts_with(unit) && !rest.starts_with(". ") && rest != ".");
        let number: i64 = title[at..end].parse().unwrap_or(0);
        if !time && !change && !length && (20..=700).contains(&number) {
            found.push(number);
        }
        at = end;
    }
    found
}

/// `+13 in 15 min`: the change a title tells.
pub(crate) fn change(title: &str) -> Option<i64> {
    let at = title.find(" in ").filter(|at| title[at + 4..].starts_with(|next: char| next.is_ascii_digit()))?;
    let word = title[..at].rsplit(' ').next()?;
    word.strip_prefix('+').map_or_else(|| word.parse().ok().filter(|_| word.starts_with('-')), |up| up.parse().ok())
}

/// Of the same: in how many minutes, where that is said in minutes alone.
pub(crate) fn change_span(title: &str) -> Option<i64> {
    let at = title.find(" in ").filter(|at| title[at + 4..].starts_with(|next: char| next.is_ascii_digit()))?;
    let (count, unit) = title.get(at + 4..)?.split_once(' ')?;
    count.parse().ok().filter(|_| unit.starts_with("min"))
}

/// Sentences of a body: full stops and question marks that end one.
pub(crate) fn sentences(body: &str) -> usize {
    let ends = body.match_indices(['.', '?', '!']).filter(|(at, _)| {
        let rest = &body[at + 1..];
        rest.is_empty() || rest.starts_with(' ') || rest.starts_with('\n')
    });
    ends.count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_a_word() {
        assert!(says("Ketones, pen or set?", &["pen"]));
        assert!(!says("It happens that settings are open", &["pen", "set"]));
    }

    #[test]
    fn the_first_glucose_is_no_time_and_no_change() {
        assert_eq!(first_glucose("Low: 62, falling, 02:10. Treat by your plan"), Some(62));
        assert_eq!(first_glucose("Up 85 since 12:10: 195, rising, 13:30. Meal?"), Some(195));
        assert_eq!(first_glucose("Nothing reached me since 13:00. Check the sensor"), None);
        assert_eq!(glucoses("Two signals: 65 and 248. Check with a meter"), [65, 248]);
        assert_eq!(change("Back: 84, rising, 08:40; +22 in 30 min"), Some(22));
        assert_eq!(change("Wait: 84, 08:40; -7 in 15 min"), Some(-7));
        assert_eq!(since("Low since 12:15, 49 now"), Some(735));
        assert_eq!(sentences("Below 54. Treat now."), 2);
    }
}
