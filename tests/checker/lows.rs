//! The promises about lows, L1 to L6. Judges a record, and knows nothing of the program.

use super::glance::{Now, Sight, minutes};
use super::people::held_until;
use super::record::{HOUR, In, MIN, Ms, Note, Out, Side};
use super::verdict::{Duty, Verdicts, shown, walk};
use super::words;

/// A word about a low: not a forecast of one.
pub(crate) fn of_low(out: &Out) -> bool {
    let condition = out.condition.as_str();
    let several = condition == "flood" && words::says(&words::all(out), &["low"]);
    several || condition == "caution" || (condition.contains("low") && !condition.starts_with("forecast"))
}

pub(crate) fn forecast_of_low(out: &Out) -> bool {
    matches!(out.condition.as_str(), "forecast_low" | "forecast_very_low")
}

fn look_at_low(out: &Out) -> bool {
    out.condition == "recheck_low" && matches!(out.event.as_str(), "look" | "prompt" | "ended")
}

pub(crate) fn judge(sight: &Sight, verdicts: &mut Verdicts) {
    l1(sight, verdicts);
    l1_first(sight, verdicts);
    l2(sight, verdicts);
    l3(sight, verdicts);
    l3_words(sight, verdicts);
    l3_quiet(sight, verdicts);
    l4(sight, verdicts);
    l5(sight, verdicts);
    l6(sight, verdicts);
}

/// When a ring that a treatment may put off is due: at the first check after it at which it does not rise, and at the
/// third in any case.
pub(crate) fn check_after_treatment(sight: &Sight, now: &Now, due: Ms) -> Ms {
    let Some(at) = sight.low_treatments(now.at - HOUR, now.at).map(|line| line.at).max() else { return due };
    let then = sight.at(at).value;
    let rises = |check: Ms| check > now.at || sight.at(check).value > then;
    let check = match () {
        () if !rises(at + 15 * MIN) => at + 15 * MIN,
        () if !rises(at + 30 * MIN) => at + 30 * MIN,
        () => at + 45 * MIN,
    };
    let first = if at + 15 * MIN > now.at { at + 15 * MIN } else { check };
    due.max(first)
}

/// Below 54: every 15 minutes, whatever was answered. A mute is no exception: the graver danger decides.
fn l1(sight: &Sight, verdicts: &mut Verdicts) {
    let rings = sight.rings(of_low);
    walk(
        sight,
        verdicts,
        &Duty {
            promise: "L1",
            rings: &rings,
            holds: &|now| now.below(54.0) && !sight.denied(now.at),
            due: &|last, start, now| check_after_treatment(sight, now, last.map_or(start, |last| last + 15 * MIN)),
            slack: 2 * MIN,
            why: "below 54 and no ring for 15 min",
        },
    );
}

/// The first ring of a worse level always rings (O1): at the first reading below 54 for an hour, whatever rang before.
fn l1_first(sight: &Sight, verdicts: &mut Verdicts) {
    let rings = sight.rings(of_low);
    let mut last_very_low: Option<Ms> = None;
    let mut before: Option<&Now> = None;
    for now in &sight.minutes {
        let begins = now.below(54.0) && before.is_some_and(|before| before.fresh && !before.below(54.0));
        before = Some(now);
        let new = last_very_low.is_none_or(|last| now.at - last > HOUR);
        if now.below(54.0) {
            last_very_low = Some(now.at);
        }
        let treated = sight.low_treatments(now.at - 15 * MIN, now.at).next().is_some();
        let measured = sight.meters(now.at - HOUR, now.at).next().is_some();
        if begins && new && now.watched && !treated && !measured && now.at + 2 * MIN <= sight.record.until {
            let kept = rings.iter().any(|ring| *ring >= now.at && *ring <= now.at + 2 * MIN);
            verdicts
                .judge("L1.first", now.at, kept, || format!("a very low begins, and nothing rings: {}", shown(now)));
        }
    }
}

/// From 54 to below 70: at the first reading, and again within 30 minutes.
fn l2(sight: &Sight, verdicts: &mut Verdicts) {
    // One moment is one ring (O1): an emergency that says the low beside it has told of it.
    let beside = |out: &Out| out.condition == "ketones" && words::says(&out.body, &["low", "below range"]);
    let rings = sight.rings(|out| of_low(out) || beside(out));
    let foreseen = sight.rings(forecast_of_low);
    let mut before: Option<&Now> = None;
    for now in &sight.minutes {
        let begins = now.between(54.0, 70.0)
            && now.watched
            && before.is_some_and(|before| {
                before.low_since.is_none() && before.fresh && now.at - before.last_low > 45 * MIN
            });
        before = Some(now);
        let answered = sight.meters(now.at - 20 * MIN, now.at).next().is_some();
        if !begins
            || answered
            || settled_against(sight, now)
            || asked_for_quiet(sight, now.at)
            || !limit_is_70(sight, now)
            || sight.known(now.at).any(|line| now.at - line.at < 4 * HOUR && line.note == Note::SensorOff)
        {
            continue;
        }
        // A forecast that rang covers it, unless lows are hidden; then and after 15 minutes it must ring itself.
        let covered = !sight.hidden_lows(now.at)
            && now.value >= 60.0
            && !now.falls(2.0)
            && foreseen.iter().any(|ring| (0..=30 * MIN).contains(&(now.at - ring)));
        let until = if covered { now.at + 15 * MIN + sight.record.settings.cadence } else { now.at + MIN };
        let stays = !covered || sight.span(now.at, until).iter().all(|now| now.below(70.0) && now.watched);
        if stays && until <= sight.record.until {
            let kept = rings.iter().any(|ring| *ring >= now.at - 15 * MIN && *ring <= until);
            verdicts.judge("L2.first", now.at, kept, || format!("a low begins and nothing rings: {}", shown(now)));
        }
    }
    walk(
        sight,
        verdicts,
        &Duty {
            promise: "L2.again",
            rings: &rings,
            holds: &|now| now.between(54.0, 70.0) && !denied_once(sight, now.at) && limit_is_70(sight, now),
            due: &|last, start, now| {
                let due = last.map_or(start, |last| last + 30 * MIN).max(start);
                // One repeat once may be skipped while it rises at 60 or above.
                if now.value >= 60.0 && now.rises(0.5) { due + 30 * MIN } else { due }
            },
            slack: sight.record.settings.cadence + 16 * MIN,
            why: "low and no ring for 30 min",
        },
    );
}

/// Did a finger-prick of the last hours settle two signals for the other one (V1)?
pub(crate) fn settled_against(sight: &Sight, now: &Now) -> bool {
    sight.meters(now.at - 4 * HOUR, now.at).any(|(at, meter)| {
        let away = |signal: u16| {
            let own = sight.readings.iter().rev().find(|one| one.signal == signal && one.arrived <= at + MIN);
            own.filter(|one| at - one.measured <= 15 * MIN).map(|one| (one.value - meter).abs())
        };
        let other = away(1 - now.signal.min(1));
        away(now.signal).is_some_and(|far| far >= 40.0) && other.is_some_and(|near| near <= 20.0)
    })
}

/// That the limit stays 70 in pregnancy is K5's to judge.
pub(crate) fn limit_is_70(sight: &Sight, now: &Now) -> bool {
    now.value < 63.0 || !sight.record.settings.has("pregnancy")
}

/// Did the wearer want no ring of a low then?
fn asked_for_quiet(sight: &Sight, at: Ms) -> bool {
    let of_lows = |condition: Option<&str>| condition.is_none_or(|condition| condition.contains("low"));
    sight.record.given.iter().any(|given| match given.what {
        In::Mute { condition, until } => of_lows(condition) && given.at <= at && at < until,
        _ => false,
    })
}

/// A finger-prick in range holds the rings of a low for 15 minutes (M2).
fn denied_once(sight: &Sight, at: Ms) -> bool {
    sight.meters(at - 15 * MIN, at).any(|(_, meter)| meter >= 70.0)
}

/// After each treatment a check in 15 minutes, and at the third the second person.
fn l3(sight: &Sight, verdicts: &mut Verdicts) {
    let cadence = sight.record.settings.cadence;
    for line in &sight.lines {
        let treats = matches!(line.note, Note::Treated(Side::Low) | Note::Carbohydrate(_));
        let then = sight.at(line.at);
        let current = line.from - line.at < 10 * MIN && line.to > line.at + 20 * MIN;
        if !treats || !current || !then.below(70.0) || !sight.watched(line.at, line.at + 17 * MIN + cadence) {
            continue;
        }
        // Another treatment within the quarter of an hour moves the check to its own.
        let moved = sight
            .low_treatments(line.at - 20 * MIN, line.at + 17 * MIN)
            .any(|other| other.from > line.from || other.at > line.at);
        if moved {
            continue;
        }
        let due = line.at + 15 * MIN;
        let looked = sight
            .record
            .out
            .iter()
            .any(|out| look_at_low(out) && out.at >= due - 3 * MIN && out.at <= due + cadence + 2 * MIN);
        verdicts
            .judge("L3.check", line.at, looked, || format!("treated at {}, and no check 15 min later", shown(then)));
    }
}

/// How often it was treated since the low began.
fn treatments(sight: &Sight, now: &Now) -> usize {
    let since = now.low_since.unwrap_or(now.at) - 20 * MIN;
    sight.low_treatments(since, now.at).map(|line| line.at / MIN).collect::<std::collections::BTreeSet<_>>().len()
}

/// The words of a check that finds it still low.
fn l3_words(sight: &Sight, verdicts: &mut Verdicts) {
    let prompts = sight.record.out.iter().filter(|out| out.rings && out.to.is_none() && out.condition == "recheck_low");
    // What M2 asks for is no check of a treatment.
    for out in prompts.filter(|out| out.event == "prompt" && out.reason != "prick_again") {
        let now = sight.at(out.at);
        let count = treatments(sight, now);
        let text = words::all(out);
        if !now.fresh || !now.below(70.0) || count == 0 || words::says(&text, &["meter said"]) {
            continue;
        }
        if count < 3 {
            let again = words::treat(&text) && words::still_or_again(&text);
            verdicts.judge("L3.words", out.at, again, || {
                format!("treatment {count} and {}: not said as still low by one's plan: {}", shown(now), out.title)
            });
            if now.value < 54.0 {
                let prick = words::prick(&text);
                verdicts.judge("L3.prick", out.at, prick, || format!("below 54 without a finger-prick: {}", out.title));
            }
            continue;
        }
        // What is said in the very moment of a check may come after it.
        let at_once = sight.low_treatments(now.low_since.unwrap_or(now.at) - 20 * MIN, out.at);
        let at_once = at_once.filter(|line| line.from == out.at).count();
        let says = |count: usize| words::says(&text, &[&format!("{count} treatments")]) && words::help(&text);
        let counted = (count - at_once.min(count)..=count).any(says) || count - at_once.min(count) < 3;
        verdicts.judge("L3.third", out.at, counted, || {
            format!("treatment {count} and {}: not counted, no help named: {}", shown(now), out.title)
        });
        // Whoever has it holds calls for 20 minutes (P2), or 30 if they are there (P1): somebody knows, and is at it.
        let is_held = held_until(sight, out.at - HOUR, out.at) > out.at;
        // For a sensor in doubt, or denied by two finger-pricks (M2), nobody is called unless lows are hidden (G2).
        let doubted = sight.denied(out.at) || sight.mode("doubted", out.at) && !sight.hidden_lows(out.at);
        if sight.record.settings.reachable(out.at) && !is_held && !doubted && count - at_once.min(count) >= 3 {
            // Somebody who was called since the third, or within the 20 minutes after which calls go on (P1).
            let third = sight.low_treatments(now.low_since.unwrap_or(now.at) - 20 * MIN, out.at).nth(2);
            let since = third.map_or(out.at, |third| third.at).min(if count > 3 { out.at - 20 * MIN } else { out.at });
            let called = called_between(sight, since, out.at + 2 * MIN);
            verdicts.judge("L3.second", out.at, called, || {
                format!("treatment {count} and {}: the second person is not called", shown(now))
            });
        }
    }
}

/// Was anybody called then?
pub(crate) fn called_between(sight: &Sight, from: Ms, to: Ms) -> bool {
    sight.record.out.iter().any(|out| out.to.is_some() && out.event == "called" && (from..=to).contains(&out.at))
}

/// Noted food quietens forecasts of a low for 20 minutes.
fn l3_quiet(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| forecast_of_low(out) && out.to.is_none()) {
        let now = sight.at(out.at);
        let food = sight.known(out.at).any(|line| {
            // Of what happens in one moment the order is not known.
            let before = line.from < out.at && (0..20 * MIN).contains(&(out.at - line.at));
            matches!(line.note, Note::Carbohydrate(_)) && before
        });
        let asks = matches!(out.event.as_str(), "raised" | "repeated" | "withheld");
        if food && asks && now.at_least(70.0) && !now.falls(2.0) {
            verdicts.judge("L3.quiet", out.at, !out.rings, || {
                format!("a forecast rings within 20 min of noted food: {}", out.title)
            });
        }
    }
}

/// A check after back, and a ring when it slips.
fn l4(sight: &Sight, verdicts: &mut Verdicts) {
    let cadence = sight.record.settings.cadence;
    let mut before = None;
    for now in &sight.minutes {
        let is_back = now.back.is_some() && now.back != before;
        before = now.back;
        let end = now.at + 25 * MIN + 2 * cadence;
        if !is_back || !sight.watched(now.at, end) {
            continue;
        }
        let after = sight.span(now.at, now.at + 20 * MIN + cadence);
        let rang = sight.record.out.iter().any(|out| of_low(out) && out.at > now.at - 2 * HOUR && out.at <= now.at);
        if rang && after.iter().all(|now| now.at_least(70.0)) {
            let looked =
                sight.record.out.iter().any(|out| {
                    look_at_low(out) && out.at >= now.at + 10 * MIN && out.at <= now.at + 25 * MIN + cadence
                });
            verdicts.judge("L4.check", now.at, looked, || format!("back at {}, and never looked at again", shown(now)));
        }
        slips(sight, verdicts, now, end);
    }
}

/// By day at 70 to 79 and not rising, or falling at any time.
fn slips(sight: &Sight, verdicts: &mut Verdicts, back: &Now, end: Ms) {
    let at_check = sight.span(back.at + 15 * MIN, back.at + 20 * MIN);
    let all = |fits: &dyn Fn(&Now) -> bool| at_check.len() > 5 && at_check.iter().all(fits);
    let low_normal = all(&|now| now.between(70.0, 80.0) && !now.rises(0.5))
        && !at_check.iter().any(|now| sight.record.settings.is_night(now.at));
    let falls = all(&|now| now.at_least(70.0) && now.value < 120.0 && now.falls(1.0));
    // A low that came again before the check has told itself, and is back anew later.
    let low_again = sight.span(back.at, back.at + 20 * MIN).iter().any(|now| now.below(70.0));
    // Food that is noted quietens it (L3), and what was treated has its own check first.
    let fed = sight.low_treatments(back.at - 5 * MIN, end).next().is_some();
    if low_again || fed || (!low_normal && !falls) {
        return;
    }
    let kept = sight.rings(|out| out.event != "ended" && (of_low(out) || forecast_of_low(out)));
    // A ring that only says that it is low again comes too late.
    let kept = kept.iter().any(|ring| *ring > back.at + 2 * MIN && *ring <= end && !sight.at(*ring).below(70.0));
    verdicts.judge("L4.slips", back.at, kept, || {
        format!("back at {}, slipping at its check: {}, and nothing rings", shown(back), shown(&at_check[0]))
    });
}

/// The same low value is a doubt of the sensor; its floor is none; a sharp fall by night may be lying on it.
fn l5(sight: &Sight, verdicts: &mut Verdicts) {
    let mut asked: Option<Ms> = None;
    for now in &sight.minutes {
        if now.same_for < 45 * MIN || !now.below(70.0) || now.floor {
            if now.same_for < 45 * MIN {
                asked = None;
            }
            continue;
        }
        let end = now.at + 32 * MIN;
        if asked.is_some() || !sight.watched(now.at, end) || sight.span(now.at, end).iter().any(|now| now.value >= 70.0)
        {
            continue;
        }
        asked = Some(now.at);
        let pricked = sight.meters(now.at - HOUR, end).next().is_some();
        let kept = pricked
            || sight.record.out.iter().any(|out| {
                out.rings
                    && out.to.is_none()
                    && (now.at - 30 * MIN..=end).contains(&out.at)
                    && words::prick(&words::all(out))
            });
        verdicts.judge("L5.flat", now.at, kept, || {
            format!("{:.0} for {:.0} min and no finger-prick is asked for", now.value, minutes(now.same_for))
        });
    }
    for out in sight.record.out.iter().filter(|out| out.rings && out.to.is_none() && of_low(out)) {
        let now = sight.at(out.at);
        if now.fresh && now.floor && now.same_for >= 45 * MIN && !sight.mode("doubted", out.at) {
            let doubts = words::sensor_doubt(&words::all(out)) || out.title.ends_with('?');
            verdicts.judge("L5.floor", out.at, !doubts, || format!("flat at the floor is doubted: {}", out.title));
        }
    }
    l5_lying(sight, verdicts);
}

fn l5_lying(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings && out.to.is_none() && out.event == "raised") {
        let now = sight.at(out.at);
        if !of_low(out) || !now.below(70.0) || !sight.record.settings.is_night(out.at) {
            continue;
        }
        let before = sight.at(out.at - 11 * MIN);
        let fell = before.fresh && before.flat && before.value >= 80.0 && before.value - now.value >= 25.0;
        // A finger that was just pricked tells more than which side somebody lies on.
        let measured = sight.meters(out.at - 15 * MIN, out.at + MIN).next().is_some();
        if fell && !measured && now.signal == before.signal {
            verdicts.judge("L5.lying", out.at, words::turn_over(&words::all(out)), || {
                format!("from a steady {:.0} to {}, by night: {}", before.value, shown(now), out.title)
            });
        }
    }
}

/// Rising is never an order to wait.
fn l6(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings && of_low(out)) {
        let now = sight.at(out.at);
        if now.below(70.0) && (now.rises(0.5) || words::rising(&out.title)) {
            verdicts.judge("L6", out.at, !words::waits(&out.title), || {
                format!("told to wait at {}: {}", shown(now), out.title)
            });
        }
    }
}
