//! The promises about highs that last, about others, pumps and meals, H7 to H11. Judges a record, and knows nothing of
//! the program.

use super::glance::Sight;
use super::highs::{due, ketone_question, of_high, with_a_meal};
use super::record::{HOUR, In, MIN, Ms, Note, Side, Therapy};
use super::verdict::{Duty, Verdicts, shown, walk};
use super::words;

pub(crate) fn judge(sight: &Sight, verdicts: &mut Verdicts) {
    h7(sight, verdicts);
    h8(sight, verdicts);
    h9(sight, verdicts);
    h10(sight, verdicts);
    h11(sight, verdicts);
}

/// Never more than four hours without a word that rings.
fn h7(sight: &Sight, verdicts: &mut Verdicts) {
    let rings = sight.rings(of_high);
    walk(
        sight,
        verdicts,
        &Duty {
            promise: "H7",
            rings: &rings,
            holds: &|now| now.very_high_since.is_some() && now.at_least(250.0),
            due: &|last, _, now| {
                let start = now.very_high_since.unwrap_or(now.at);
                let asked: Vec<Ms> = rings.iter().copied().filter(|ring| *ring < now.at).collect();
                let calm = match due(sight, now, &asked) {
                    (_, at) if sight.record.settings.is_night(now.at) => at,
                    _ => 0,
                };
                let night = sight.ketones(now.at).is_some_and(|(at, value)| value < 60 && now.at - at < 6 * HOUR);
                let due = last.unwrap_or(start).max(start) + 4 * HOUR;
                if night { due.max(calm) } else { due }
            },
            slack: sight.record.settings.cadence + 2 * MIN,
            why: "250 or more and no word for 4 h",
        },
    );
}

/// Unanswered questions at 250 or more, or a pump at 300: the second person.
fn h8(sight: &Sight, verdicts: &mut Verdicts) {
    let asked: Vec<Ms> = sight
        .record
        .out
        .iter()
        .filter(|out| ketone_question(sight, out) && sight.at(out.at).at_least(250.0))
        .map(|out| out.at)
        .collect();
    let unanswered = |from: Ms, to: Ms| {
        sight.answers(from, to).is_empty()
            && !sight.known(to).any(|line| line.from >= from && matches!(line.note, Note::Ketones(_) | Note::Urine(_)))
    };
    for pair in asked.windows(2) {
        let end = pair[1] + 30 * MIN;
        let stays = sight.watched(pair[0], end) && sight.span(pair[0], end).iter().all(|now| now.at_least(250.0));
        if stays && unanswered(pair[0], end) && sight.record.settings.reachable(end) {
            let called = super::lows::called_between(sight, pair[0], end);
            verdicts.judge("H8", end, called, || "two ketone questions unanswered, and nobody is called".to_owned());
        }
    }
    if sight.record.settings.therapy != Therapy::Pump {
        return;
    }
    let mut since: Option<Ms> = None;
    let mut told: Option<Ms> = None;
    for now in &sight.minutes {
        if !now.at_least(300.0) || !now.watched {
            (since, told) = (None, None);
            continue;
        }
        let start = *since.get_or_insert(now.at);
        let due = told.map_or(start + 2 * HOUR, |told| told + HOUR);
        if now.at < due + 10 * MIN || !unanswered(start, now.at) || !sight.record.settings.reachable(due) {
            continue;
        }
        let called = super::lows::called_between(sight, due - 5 * MIN, now.at);
        verdicts
            .judge("H8", now.at, called, || format!("pump, {} for 2 h unanswered, and nobody is called", shown(now)));
        // The next is due an hour after this one was, and not after it was looked for.
        told = Some(due);
    }
}

/// A pump that doses by itself: look what it has given.
fn h9(sight: &Sight, verdicts: &mut Verdicts) {
    if sight.record.settings.therapy != Therapy::SelfAdjusting {
        return;
    }
    for out in sight.record.out.iter().filter(|out| out.rings && out.to.is_none()) {
        let text = words::all(out);
        if of_high(out) && out.event != "ended" && sight.at(out.at).at_least(180.0) {
            let kept = !words::nudges_to_dose(&text);
            verdicts
                .judge("H9.high", out.at, kept, || format!("a nudge to note or to dose: {} | {}", out.title, out.body));
        }
        if super::lows::of_low(out) && out.event != "ended" && sight.at(out.at).below(70.0) {
            let kept = words::pumps_plan(&text);
            verdicts.judge("H9.low", out.at, kept, || format!("not by the pump's plan: {}", out.title));
        }
    }
}

/// A dose with a meal: no "no response" in its first two hours and a half.
fn h10(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.to.is_none() && out.condition == "recheck_high") {
        let looks = matches!(out.event.as_str(), "look" | "prompt");
        let Some(dose) = sight.doses(out.at - 4 * HOUR, out.at).min_by_key(|line| line.at) else { continue };
        // What is noted in the moment of a look comes after it.
        if looks && with_a_meal(sight, dose.at, out.at - 1) && sight.at(out.at).at_least(180.0) {
            let finds = out.outcome.as_deref() == Some("no_response") || words::no_response(&words::all(out));
            verdicts.judge("H10", out.at, !finds, || {
                format!("food was noted beside the dose, and it says no response: {} {}", out.reason, out.title)
            });
        }
    }
}

/// A rise is asked about unless insulin was noted; noted food names the meal, and does not silence.
fn h11(sight: &Sight, verdicts: &mut Verdicts) {
    // What falls due with another ring is in its message (O1).
    let asked = sight.rings(|out| out.condition == "unnoted_rise" || words::asks_for_dose(&words::all(out)));
    // Who never notes insulin is not asked (docs/behaviour/rise.md); whoever does, is.
    let notes =
        |at: Ms| sight.known(at).any(|line| matches!(line.note, Note::Insulin(_)) && at - line.at < 7 * 24 * HOUR);
    let mut last: Ms = 0;
    for now in &sight.minutes {
        if !now.fresh || !now.watched || now.at - last < 4 * HOUR || sight.record.settings.is_night(now.at) {
            continue;
        }
        // Up by 80 within two hours, on one signal, and clearly above range.
        let before = sight.span(now.at - 2 * HOUR, now.at);
        let lowest = before
            .iter()
            .filter(|one| one.fresh && one.signal == now.signal)
            .min_by(|one, other| one.value.total_cmp(&other.value));
        let Some(lowest) = lowest.filter(|lowest| now.value - lowest.value >= 90.0 && now.value >= 190.0) else {
            continue;
        };
        let gaps = before.len() < 110 || before.iter().any(|one| !one.fresh || !one.watched);
        let from = lowest.measured - HOUR;
        let dosed = sight
            .known(now.at)
            .any(|line| line.at >= from && matches!(line.note, Note::Insulin(_) | Note::Treated(Side::High)));
        let after_low = before.iter().any(|one| one.below(70.0)) || now.at - now.last_low < 2 * HOUR;
        let muted =
            sight.record.given.iter().any(
                |given| matches!(given.what, In::Mute { until, .. } if given.at <= now.at && now.at < until + HOUR),
            );
        let food = sight.known(now.at).any(|line| line.at >= from && matches!(line.note, Note::Carbohydrate(_)));
        // What quiet hours withhold is said at their end, if it still matters (Q1); of two signals, or a sensor that the
        // wearer doubts, a change says nothing before a finger-prick has settled it (V1).
        let doubted = sight.mode("doubted", now.at) || before.iter().any(|one| one.signal != now.signal);
        if sight.record.settings.is_quiet(now.at) || doubted {
            continue;
        }
        if gaps || muted || !notes(lowest.measured) {
            continue;
        }
        last = now.at;
        let rang = asked.iter().any(|ring| (now.at - 2 * HOUR..=now.at + 10 * MIN).contains(ring));
        if after_low {
            let recent =
                asked.iter().any(|ring| *ring > now.last_low && *ring < now.last_low + 2 * HOUR && *ring <= now.at);
            verdicts.judge("H11.after_low", now.at, !recent, || "a rise after a low is asked about".to_owned());
        } else if !dosed && food {
            verdicts.judge("H11.meal", now.at, rang, || {
                format!("up from {:.0} to {}, food without insulin: not asked", lowest.value, shown(now))
            });
        } else if !dosed {
            verdicts.judge("H11", now.at, rang, || {
                format!("up from {:.0} to {}, nothing noted: not asked", lowest.value, shown(now))
            });
        }
    }
}
