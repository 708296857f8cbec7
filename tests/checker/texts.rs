//! The promises about titles and bodies, T1 and T2. Judges a record, and knows nothing of the program.

use super::glance::{Now, Sight};
use super::highs::of_high;
use super::lows::{forecast_of_low, of_low};
use super::record::{MIN, Out};
use super::verdict::{Verdicts, shown};
use super::words;

pub(crate) fn judge(sight: &Sight, verdicts: &mut Verdicts) {
    t1(sight, verdicts);
    t2(sight, verdicts);
}

fn wearers<'s>(sight: &'s Sight) -> impl Iterator<Item = &'s Out> {
    sight.record.out.iter().filter(|out| out.rings && out.to.is_none())
}

#[expect(clippy::cast_possible_truncation, reason = "a glucose is a small number")]
pub(crate) fn as_shown(value: f64) -> i64 {
    value.round() as i64
}

/// Is a number of a title true now: the newest value, that of the other signal, or of a finger-prick?
fn is_true(sight: &Sight, now: &Now, said: i64) -> bool {
    let near = |value: f64| (as_shown(value) - said).abs() <= 2;
    // Where values jump to and fro, the program may hold them for two signals of one source, and name the graver.
    let last: Vec<f64> = sight
        .readings
        .iter()
        .filter(|one| one.arrived <= now.at && now.at - one.measured <= 30 * MIN)
        .map(|one| one.value)
        .collect();
    let jumps = last.windows(2).filter(|pair| (pair[1] - pair[0]).abs() >= 30.0).count() >= 2;
    near(now.value)
        || (jumps && last.iter().any(|value| near(*value)))
        || sight.meters(now.at - 20 * MIN, now.at + MIN).any(|(_, meter)| near(meter))
        || (sight.record.settings.signals > 1
            && sight
                .readings
                .iter()
                .any(|one| one.arrived <= now.at + MIN && now.at - one.measured <= 15 * MIN && near(one.value)))
}

/// The first fact of a title is true when it is sent, and directions do not contradict each other.
fn t1(sight: &Sight, verdicts: &mut Verdicts) {
    for out in wearers(sight) {
        let now = sight.at(out.at);
        let about_value = of_low(out)
            || of_high(out)
            || forecast_of_low(out)
            || out.condition == "forecast_high"
            || out.condition == "morning";
        if let Some(said) = words::first_glucose(&out.title)
            .filter(|_| about_value && now.fresh && !words::says(&out.title, &["meter said", "no longer watched"]))
        {
            verdicts
                .judge("T1.fact", out.at, is_true(sight, now, said), || format!("it is {}: {}", shown(now), out.title));
        }
        if out.condition == "two_signals" && out.event != "ended" {
            let ranges = out.title.to_lowercase().matches("range").count();
            let both = words::glucoses(&out.title).len() + ranges >= 2;
            verdicts.judge("T1.signals", out.at, both, || format!("not both values: {}", out.title));
        }
        let down = forecast_of_low(out);
        if (down || out.condition == "forecast_high") && out.event != "ended" {
            let against = if down { words::rising(&out.title) } else { words::falling(&out.title) };
            verdicts.judge("T1.headed", out.at, !against, || out.title.clone());
        }
        if let Some(change) = words::change(&out.title) {
            let against = (change <= -3 && words::rising(&out.title)) || (change >= 3 && words::falling(&out.title));
            verdicts.judge("T1.change", out.at, !against, || out.title.clone());
        }
    }
}

/// A body is at most two short sentences, and names no terminal command beside buttons.
fn t2(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings && !out.body.is_empty()) {
        let longer =
            words::emergency(&out.title) || words::says(&out.title, &["since"]) || out.condition == "while_away";
        // A call is an emergency, which may be longer: P5 alone says some 140 characters to whoever is called, and that the
        // wearer may be driving, or that the value is less sure, is one sentence more.
        let is_call = out.to.is_some() && (out.event == "called" || out.condition == "very_low");
        if !longer {
            let most = if is_call { 330 } else { 165 };
            let kept = out.body.chars().count() <= most && words::sentences(&out.body) <= if is_call { 3 } else { 2 };
            verdicts.judge("T2.body", out.at, kept, || {
                format!(
                    "{} characters, {} sentences: {}",
                    out.body.chars().count(),
                    words::sentences(&out.body),
                    out.body
                )
            });
        }
        if of_low(out) || of_high(out) {
            verdicts.judge("T2.terminal", out.at, !words::terminal(&out.body), || out.body.clone());
        }
    }
}
