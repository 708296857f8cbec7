//! The promises about ketones and about notes that matter, K1 to K5. Judges a record, and knows nothing of the program.

use super::glance::Sight;
use super::record::{HOUR, In, KetoneTest, MIN, Ms, Note, Out, Side};
use super::verdict::{Verdicts, shown};
use super::words;

/// Symptoms that are red flags while ketones are raised or unknown.
const RED_FLAGS: [&str; 4] = ["vomiting", "stomach pain", "fast breathing", "drowsy"];

pub(crate) fn red_flag(words: &str) -> bool {
    words::says(words, &RED_FLAGS)
}

pub(crate) fn judge(sight: &Sight, verdicts: &mut Verdicts) {
    for given in &sight.record.given {
        if let In::Line { at, note, .. } = &given.what {
            if given.at - at < 20 * MIN {
                k1(sight, verdicts, given.at, note);
            }
            k2(sight, verdicts, given.at, note);
            k3(sight, verdicts, given.at, *at, note);
            k4(sight, verdicts, given.at, *at, note);
        }
    }
    k1_again(sight, verdicts);
    k5(sight, verdicts);
}

/// All that was said within two minutes of a note, and before the next one, in one text.
fn said(sight: &Sight, at: Ms) -> String {
    let lines = sight.record.given.iter().filter(|given| matches!(given.what, In::Line { .. }));
    let next = lines.map(|given| given.at).find(|next| *next > at).unwrap_or(Ms::MAX);
    let near = sight
        .record
        .out
        .iter()
        .filter(|out| (at..=at + 2 * MIN).contains(&out.at) && out.at < next && out.to.is_none());
    let heard = near.filter(|out| out.event == "answer" || (out.rings && out.at == at));
    heard.map(words::all).collect::<Vec<_>>().join(" | ")
}

/// 0: not raised, 1: raised, 2: high, 3: emergency. In pregnancy a row worse.
fn row(sight: &Sight, value: i32) -> usize {
    let row = match value {
        ..60 => 0,
        60..=150 => 1,
        151..300 => 2,
        _ => 3,
    };
    if sight.record.settings.has("pregnancy") && value >= 60 { (row + 1).min(3) } else { row }
}

/// A value or a symptom says its row; vomiting is no low.
fn k1(sight: &Sight, verdicts: &mut Verdicts, at: Ms, note: &Note) {
    let text = said(sight, at);
    match note {
        Note::Ketones(value) if *value <= 1_000 => {
            let kept = match row(sight, *value) {
                0 => words::says(&text, &["not raised"]),
                1 => words::says(&text, &["raised", "ketone plan"]) && !words::says(&text, &["not raised"]),
                2 => words::team(&text),
                _ => words::emergency(&text),
            };
            verdicts.judge("K1.value", at, kept, || format!("ketones {:.1}: {text}", f64::from(*value) / 100.0));
        }
        Note::Urine(word) => {
            let kept = words::says(&text, &["raised", "not raised", "ketone plan", "emergency", "team"]);
            verdicts.judge("K1.urine", at, kept, || format!("urine ketones {word}: {text}"));
        }
        Note::Symptoms(which) if red_flag(which) => {
            let now = sight.at(at);
            // A finger-prick of the last quarter of an hour is known as well as a fresh reading is.
            let measured = sight.meters(at - 15 * MIN, at).last().map(|(_, meter)| meter);
            let low = now.below(70.0) || measured.map_or(!now.fresh, |meter| meter < 70.0);
            let as_low = sight.record.out.iter().any(|out| {
                out.at == at && out.event == "answer" && out.condition == "recheck_low" && out.reason == "looks_planned"
            });
            if words::says(which, &["vomiting"]) && !low {
                verdicts
                    .judge("K1.vomiting", at, !as_low, || format!("vomiting at {} became a low: {text}", shown(now)));
            }
            if words::says(which, &["drowsy"]) && low {
                verdicts.judge("K1.drowsy", at, as_low || words::says(&text, &["low"]), || {
                    format!("drowsy at {} is no low first: {text}", shown(now))
                });
                return;
            }
            let not_raised = sight.ketones(at).is_some_and(|(when, value)| value < 60 && at - when <= HOUR);
            let kept = if not_raised && !low { words::team(&text) } else { words::emergency(&text) };
            verdicts.judge("K1.symptom", at, kept, || format!("{which} at {}: {text}", shown(now)));
        }
        _ => {}
    }
}

/// Rows 0.6 to 1.5 are asked again in 2 h, above in 1 h, and the emergency rings every 15 min until a person answers.
fn k1_again(sight: &Sight, verdicts: &mut Verdicts) {
    for line in &sight.lines {
        let at = line.from;
        let row = match line.note {
            Note::Ketones(value) if value <= 1_000 => row(sight, value),
            // While low, by sensor or finger-prick, it is another thing.
            Note::Symptoms(_) if sight.meters(at - 15 * MIN, at).any(|(_, meter)| meter < 70.0) => continue,
            Note::Symptoms(which) if red_flag(which) && !sight.at(at).below(70.0) && sight.at(at).fresh => {
                let raised = sight.ketones(at).is_none_or(|(when, value)| value >= 60 || at - when > HOUR);
                if raised { 3 } else { 2 }
            }
            _ => continue,
        };
        let since = at - line.at < 20 * MIN && !line.amended;
        let until = at + if row == 1 { 2 * HOUR } else { HOUR };
        if row == 0 || !since || sight.record.until < until + 5 * MIN || line.to < until || !sight.watched(at, until) {
            continue;
        }
        let later = sight.known(until).any(|other| {
            other.at > line.at && matches!(other.note, Note::Ketones(_) | Note::Urine(_) | Note::Symptoms(_))
        });
        if later {
            continue;
        }
        if row == 3 {
            emergency(sight, verdicts, at);
            continue;
        }
        let end = until + sight.record.settings.cadence + 2 * MIN;
        // While low only ketones above 1.5 and red flags ring beside it (O2): what is raised waits for its end.
        let low = sight.span(until - 20 * MIN, end).iter().any(|now| now.below(70.0))
            || sight.meters(until - 20 * MIN, end).any(|(_, meter)| meter < 70.0);
        if row == 1 && low {
            continue;
        }
        let asked =
            sight.record.out.iter().any(|out| {
                out.rings && out.to.is_none() && words::ketones(out) && out.at > at + 30 * MIN && out.at <= end
            });
        verdicts.judge("K1.again", until, asked, || format!("{:?} is not asked about again", line.note));
    }
}

fn emergency(sight: &Sight, verdicts: &mut Verdicts, at: Ms) {
    let answered = sight.answers(at + 1, at + 17 * MIN);
    if sight.record.settings.reachable(at) {
        // Whoever was called for what was noted a moment before is not called twice.
        let near = at - 5 * MIN..=at + 2 * MIN;
        let called = sight.record.out.iter().any(|out| out.to.is_some() && near.contains(&out.at));
        verdicts.judge("K1.second", at, called, || "an emergency, and the second person is not called".to_owned());
    }
    if answered.is_empty() {
        let rang = sight.rings(|out| words::emergency(&words::all(out)) || words::ketones(out));
        let kept = rang.iter().any(|ring| *ring > at + 5 * MIN && *ring <= at + 17 * MIN);
        verdicts.judge("K1.rings", at, kept, || "an emergency that does not ring again in 15 min".to_owned());
    }
}

/// Implausible entries are asked about.
fn k2(sight: &Sight, verdicts: &mut Verdicts, at: Ms, note: &Note) {
    let odd = match note {
        Note::Ketones(value) => *value > 1_000,
        Note::Insulin(Some(units)) => {
            let known = sight.known(at).filter(|line| line.from < at && at - line.at < 30 * 24 * HOUR);
            let largest = known.filter_map(|line| match line.note {
                Note::Insulin(units) => units,
                _ => None,
            });
            // One or two doses are no "largest of 30 days": three are taken for knowing it.
            let all: Vec<i32> = largest.collect();
            let most = all.iter().max().filter(|_| all.len() >= 3);
            most.map_or(*units > 2_500, |most| *units > most * 3 / 2)
        }
        _ => false,
    };
    if odd {
        let text = said(sight, at);
        verdicts.judge("K2", at, words::meant(&text), || format!("{note:?} is not asked about: {text}"));
    }
}

/// Insulin for a time when glucose was below 70.
fn k3(sight: &Sight, verdicts: &mut Verdicts, noted: Ms, at: Ms, note: &Note) {
    let then = sight.at(at);
    // A signal that a finger-prick settled against tells nothing (V1).
    if !then.below(70.0) || at < sight.record.from || super::lows::settled_against(sight, then) {
        return;
    }
    let text = said(sight, noted);
    match note {
        Note::Insulin(_) => {
            let asked = text.contains('?') && words::says(&text, &["meant", "were"]);
            verdicts.judge("K3.insulin", noted, asked, || format!("insulin at {}: {text}", shown(then)));
        }
        Note::LongActing(_) => {
            let first = words::says(&text, &["low"]) && words::says(&text, &["treat", "first"]);
            verdicts.judge("K3.long", noted, first, || format!("long-acting at {}: {text}", shown(then)));
        }
        _ => {}
    }
}

/// A treatment may be older than its alert: sugar by 20 minutes, insulin by 4 hours.
fn k4(sight: &Sight, verdicts: &mut Verdicts, noted: Ms, at: Ms, note: &Note) {
    let now = sight.at(noted);
    let planned =
        || sight.record.out.iter().any(|out| out.at == noted && out.event == "answer" && out.reason == "looks_planned");
    // A line that becomes another, or none, has no check of its own any more (M3).
    let stands = sight.lines.iter().any(|line| line.from == noted && line.at == at && line.to > at + 20 * MIN);
    // What is answered to two lines of one moment cannot be told apart.
    if sight.lines.iter().filter(|line| line.from == noted).count() > 1 {
        return;
    }
    match note {
        Note::Treated(Side::Low) => {
            let Some(since) = now.low_since else { return };
            if at < since - 20 * MIN {
                let text = said(sight, noted);
                verdicts.judge("K4.old", noted, !planned() && words::meant(&text), || {
                    format!("treated {} min before the low began is believed: {text}", (since - at) / MIN)
                });
            } else if stands && noted - at >= 5 * MIN && noted - at < 15 * MIN && now.below(70.0) {
                let due = at + 15 * MIN;
                let end = due.max(noted) + sight.record.settings.cadence + 2 * MIN;
                let looked = |out: &Out| out.condition == "recheck_low" && (due - 2 * MIN..=end).contains(&out.at);
                let moved = sight.low_treatments(at + 1, due).next().is_some();
                if sight.watched(noted, end) && !moved {
                    let kept = sight.record.out.iter().any(|out| out.event != "answer" && looked(out));
                    verdicts.judge("K4.own_time", noted, kept, || "no check from the treatment's own time".to_owned());
                }
            }
        }
        Note::Treated(Side::High) => {
            let Some(since) = now.high_since else { return };
            if at < since - 4 * HOUR {
                let text = said(sight, noted);
                verdicts.judge("K4.old", noted, !planned() && words::meant(&text), || {
                    format!("insulin {} min before the high began is believed: {text}", (since - at) / MIN)
                });
            }
        }
        _ => {}
    }
}

/// Whoever is prone to ketones is asked on a sick day at any glucose; in pregnancy the low limit stays 70.
fn k5(sight: &Sight, verdicts: &mut Verdicts) {
    let settings = &sight.record.settings;
    if settings.has("pregnancy") {
        let rings = sight.rings(super::lows::of_low);
        let mut counted = 0;
        for now in &sight.minutes {
            let lower = now.between(63.0, 70.0) && now.watched && now.at - counted > 2 * HOUR;
            let lasting = lower && sight.span(now.at, now.at + 20 * MIN).iter().all(|now| now.between(63.0, 70.0));
            if lasting && sight.span(now.at - HOUR, now.at - MIN).iter().all(|now| !now.below(70.0)) {
                counted = now.at;
                let kept = rings.iter().any(|ring| (now.at - 30 * MIN..=now.at + 20 * MIN).contains(ring));
                verdicts.judge("K5.limit", now.at, kept, || format!("pregnant, {}, and nothing rings", shown(now)));
            }
        }
    }
    let prone = settings.has("ketone_prone") || settings.has("pregnancy");
    if !prone || settings.ketone_test == KetoneTest::None {
        return;
    }
    for given in &sight.record.given {
        let In::Mode { mode: "sick", until } = given.what else { continue };
        let end = (given.at + 4 * HOUR).min(until);
        if end - given.at < 4 * HOUR || !sight.watched(given.at, end) || !sight.mode("sick", end - MIN) {
            continue;
        }
        // While it is low the question waits for its end (O2).
        if sight.span(end - 2 * HOUR, end + 7 * MIN).iter().any(|now| now.below(70.0)) {
            continue;
        }
        // A strip in urine is a measurement, too: it has rows of its own.
        let is_value = |note: &Note| matches!(note, Note::Ketones(_) | Note::Urine(_));
        let measured = sight.known(end).any(|line| line.at >= given.at && is_value(&line.note));
        let asked = sight.record.out.iter().any(|out| {
            out.rings && out.to.is_none() && words::ketones(out) && (given.at..=end + 7 * MIN).contains(&out.at)
        });
        verdicts.judge("K5.sick", end, asked || measured, || "ill for 4 h, and ketones never asked about".to_owned());
    }
}
