//! The promises about what is said, and what comes and goes: Q, N, V, G and F. Judges a record, and knows nothing of
//! the program.

use super::glance::{Point, Sight};
use super::highs::of_high;
use super::lows::of_low;
use super::record::{HOUR, In, MIN, Ms, Note, Out, within};
use super::texts::as_shown;
use super::verdict::{Duty, Verdicts, shown, walk};
use super::words;

pub(crate) fn judge(sight: &Sight, verdicts: &mut Verdicts) {
    q1(sight, verdicts);
    q2(sight, verdicts);
    n1(sight, verdicts);
    v1(sight, verdicts);
    g1(sight, verdicts);
    g2(sight, verdicts);
    f1(sight, verdicts);
}

fn wearers<'s>(sight: &'s Sight) -> impl Iterator<Item = &'s Out> {
    sight.record.out.iter().filter(|out| out.rings && out.to.is_none())
}

/// Mutes, each with what it is of, and until when it really held.
fn mutes(sight: &Sight) -> Vec<(Ms, Ms, Option<&'static str>)> {
    let mut found: Vec<(Ms, Ms, Option<&'static str>)> = Vec::new();
    for given in &sight.record.given {
        if let In::Mute { condition, until } = given.what {
            let answer = sight.record.out.iter().find(|out| out.at == given.at && out.event == "answer");
            // The program may grant less than was asked for; what counts is what it said.
            let said = answer
                .and_then(|out| words::until(&words::all(out)))
                .map(|minute| given.at + (minute - given.at.rem_euclid(24 * HOUR) / MIN).rem_euclid(24 * 60) * MIN);
            found.push((given.at, said.map_or(until, |said| until.min(said)), condition));
        }
    }
    found
}

/// What a mute withheld is said at its end as it is then.
fn q1(sight: &Sight, verdicts: &mut Verdicts) {
    for (from, until, condition) in mutes(sight) {
        let Some(condition) = condition.filter(|_| until - from >= 10 * MIN) else { continue };
        let end = until + 2 * MIN + sight.record.settings.cadence;
        let now = sight.at(until);
        if !sight.watched(until - 10 * MIN, end) || within_quiet(sight, until) {
            continue;
        }
        // A high by night waits for the morning in any case; a low and a very high do not.
        let still = match condition {
            "low" => now.between(54.0, 70.0) && !now.rises(0.5),
            "very_low" => now.below(54.0),
            "very_high" => now.at_least(260.0) && !now.falls(0.5),
            "high" => now.between(200.0, 250.0) && !now.falls(0.5) && !sight.record.settings.is_night(until),
            _ => false,
        };
        // A look that asked nothing was not withheld.
        let withheld = sight.record.out.iter().any(|out| {
            out.event == "withheld"
                && out.reason == "quiet"
                && out.to.is_none()
                && out.condition == condition
                && out.at > from
                && out.at < until
        });
        let answered = sight.answers(from, until).iter().any(|(at, _)| *at > from);
        if still && withheld && !answered && sight.span(until, end).iter().all(|now| now.fresh) {
            let side_low = condition.contains("low");
            let rang = wearers(sight).any(|out| {
                (if side_low { of_low(out) } else { of_high(out) }) && out.at >= until - MIN && out.at <= end
            });
            verdicts
                .judge("Q1.mute", until, rang, || format!("the mute of {condition} ends at {}, silence", shown(now)));
        }
    }
    for out in wearers(sight).filter(|out| matches!(out.condition.as_str(), "morning" | "digest")) {
        let now = sight.at(out.at);
        let Some(first) = words::first_glucose(&out.title).filter(|_| now.fresh) else { continue };
        let kept = (as_shown(now.value) - first).abs() <= 2;
        verdicts.judge("Q1.hours", out.at, kept, || format!("it is {}: {}", shown(now), out.title));
    }
}

fn within_quiet(sight: &Sight, at: Ms) -> bool {
    sight.record.settings.quiet_hours.is_some_and(|hours| within(hours, at))
}

/// The answer to a mute says what will be quiet, and until when.
fn q2(sight: &Sight, verdicts: &mut Verdicts) {
    for (from, until, condition) in mutes(sight) {
        let Some(condition) = condition else { continue };
        // Something else may be answered at the same time.
        let answers = || sight.record.out.iter().filter(|out| out.at == from && out.event == "answer");
        let answer = answers().find(|out| out.reason.starts_with("quiet")).or_else(|| answers().next());
        let text = answer.map(words::all).unwrap_or_default();
        let rang = wearers(sight)
            .find(|out| out.at > from + MIN && out.at < until && out.condition == condition && out.event != "ended");
        let called = sight.record.out.iter().find(|out| {
            out.to.is_some() && out.event == "called" && out.at > from && out.at < until && out.condition == condition
        });
        let kept = !text.is_empty() && ((rang.is_none() && called.is_none()) || words::all_the_same(&text));
        verdicts.judge("Q2", from, kept, || {
            let title = rang.or(called).map_or("", |out| out.title.as_str());
            format!("{condition} quiet, said {text:?}, and then: {title}")
        });
    }
}

/// "Since" survives gaps and stops.
fn n1(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings && (of_low(out) || of_high(out))) {
        // What is joined to a ring is of something else, such as the last night (O1).
        let text = words::all(out);
        let own = text.split("also: ").next().unwrap_or_default();
        let Some(said) = words::since(own) else { continue };
        let now = sight.at(out.at);
        let began = match out.condition.as_str() {
            "very_low" => now.very_low_since,
            "very_high" => now.very_high_since,
            _ if of_low(out) => now.low_since,
            _ => now.high_since,
        };
        let Some(began) = began else { continue };
        let hole = sight.span(began, out.at).iter().any(|now| !now.watched || !now.fresh);
        if !hole {
            continue;
        }
        let minute = began.rem_euclid(24 * HOUR) / MIN;
        let later = (said - minute).rem_euclid(24 * 60);
        verdicts.judge("N1", out.at, later <= 15 || later > 12 * 60, || {
            format!("it began at {:02}:{:02}: {} | {}", minute / 60, minute % 60, out.title, out.body)
        });
    }
}

/// A change or a rate comes from one signal; a finger-prick settles two signals.
fn v1(sight: &Sight, verdicts: &mut Verdicts) {
    if sight.record.settings.signals < 2 {
        return;
    }
    let reach = (20 * MIN).max(sight.record.settings.cadence * 16 / 5);
    for out in sight.record.out.iter().filter(|out| out.rings && (of_low(out) || of_high(out))) {
        let before: Vec<&Point> =
            sight.readings.iter().filter(|one| one.arrived <= out.at && out.at - one.measured <= reach).collect();
        let apart = |signal: u16| before.iter().rfind(|one| one.signal == signal).map(|one| one.value);
        let (Some(one), Some(other)) = (apart(0), apart(1)) else { continue };
        let says = words::rising(&out.title) || words::falling(&out.title);
        let enough = [0, 1].iter().all(|signal| before.iter().filter(|one| one.signal == *signal).count() >= 2);
        if (one - other).abs() < 30.0 || !enough || !(says || words::change(&out.title).is_some()) {
            continue;
        }
        // The rate of a signal is that of the time before its own newest reading.
        let moves = [0, 1].map(|signal| {
            let known = || sight.readings.iter().filter(|one| one.signal == signal && one.arrived <= out.at);
            let newest = known().next_back().map_or(out.at, |one| one.measured);
            let own: Vec<f64> = known().filter(|one| newest - one.measured <= reach).map(|one| one.value).collect();
            own.last().unwrap_or(&0.0) - own.first().unwrap_or(&0.0)
        });
        let agrees = if words::falling(&out.title) {
            moves.iter().any(|change| *change < -2.0)
        } else if words::rising(&out.title) {
            moves.iter().any(|change| *change > 2.0)
        } else {
            true
        };
        verdicts.judge("V1.rate", out.at, agrees, || {
            format!("signals at {one:.0} ({:+.0}) and {other:.0} ({:+.0}): {}", moves[0], moves[1], out.title)
        });
    }
    v1_change(sight, verdicts);
    v1_settled(sight, verdicts);
}

/// The change that a title tells is that of the signal whose value it names.
fn v1_change(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings) {
        let (Some(change), Some(span)) = (words::change(&out.title), words::change_span(&out.title)) else { continue };
        let Some(said) = words::first_glucose(&out.title).filter(|_| span <= 60) else { continue };
        let known: Vec<&Point> = sight.readings.iter().filter(|one| one.arrived <= out.at).collect();
        let newest = |signal: u16| known.iter().rfind(|one| one.signal == signal && out.at - one.measured <= 20 * MIN);
        let (Some(first), Some(second)) = (newest(0), newest(1)) else { continue };
        if (first.value - second.value).abs() < 30.0 {
            continue;
        }
        let shown = [first, second].into_iter().find(|one| (as_shown(one.value) - said).abs() <= 1);
        // A change may be counted from a little before or after; a signal is further away than it moves in that time.
        let moved = |own: &Point, since: Ms| {
            let then = known.iter().filter(|one| one.signal == own.signal && (one.measured - since).abs() <= 16 * MIN);
            then.map(|one| (as_shown(own.value - one.value) - change).abs()).min()
        };
        if let Some(off) = shown.and_then(|own| moved(own, out.at - span * MIN)) {
            verdicts.judge("V1.change", out.at, off <= 15, || {
                format!("signals at {:.0} and {:.0}: {}", first.value, second.value, out.title)
            });
        }
    }
}

fn v1_settled(sight: &Sight, verdicts: &mut Verdicts) {
    let open = |at: Ms| {
        let two = sight.record.out.iter().rev().find(|out| {
            out.at < at && out.condition == "two_signals" && matches!(out.event.as_str(), "raised" | "ended")
        });
        two.is_some_and(|out| out.event == "raised")
    };
    for line in &sight.lines {
        let Note::Meter(value) = line.note else { continue };
        let meter = f64::from(value) / 100.0;
        let newest = |signal: u16| {
            let own = sight.readings.iter().rev().find(|one| one.signal == signal && one.arrived <= line.from);
            own.filter(|one| line.from - one.measured <= 15 * MIN).map(|one| one.value)
        };
        let (Some(one), Some(other)) = (newest(0), newest(1)) else { continue };
        let near = (one - meter).abs().min((other - meter).abs());
        let far = (one - meter).abs().max((other - meter).abs());
        if !open(line.from) || near > 15.0 || far < 40.0 || line.from - line.at > 5 * MIN {
            continue;
        }
        let settled = sight.record.out.iter().any(|out| {
            out.condition == "two_signals"
                && (line.from..=line.from + 6 * MIN).contains(&out.at)
                && out.event != "escalated"
        });
        verdicts.judge("V1.prick", line.from, settled, || {
            format!("signals at {one:.0} and {other:.0}, meter {meter:.0}: two signals go on")
        });
    }
}

/// "You are told" is kept when the mode is over, and by night too.
fn g1(sight: &Sight, verdicts: &mut Verdicts) {
    let limit = 90.0;
    for given in &sight.record.given {
        let In::Mode { mode: "driving", until } = given.what else { continue };
        let low = sight.span(given.at, until).iter().rfind(|now| now.below(limit) && now.watched);
        let Some(low) = low.filter(|_| sight.mode("driving", until - MIN)) else { continue };
        let told_so = sight.record.out.iter().any(|out| {
            (given.at..=low.at).contains(&out.at)
                && words::says(&words::all(out), &["you are told", "told at", "drive yet", "do not drive"])
        });
        // Back from the first reading at the limit on, for 45 minutes without a hole.
        let Some(back) = sight.span(low.at, low.at + HOUR).iter().find(|now| now.at_least(limit)) else { continue };
        let end = back.at + 45 * MIN + sight.record.settings.cadence + 3 * MIN;
        let whole = sight.watched(low.at, end) && sight.span(back.at, end).iter().all(|now| now.at_least(limit));
        if told_so && whole {
            // In the same moment something worse may lead, and say it in its body (O1).
            let says = |out: &Out| out.condition == "mode" || words::says(&words::all(out), &["check yourself"]);
            let told = wearers(sight).any(|out| says(out) && out.at >= back.at + 40 * MIN && out.at <= end);
            verdicts.judge("G1.told", end, told, || {
                format!("back at {} since {} min, and not told", shown(sight.at(end)), (end - back.at) / MIN)
            });
        }
    }
    let driving = |at: Ms| sight.mode("driving", at) || sight.mode("driving", at - HOUR);
    let drives = sight.record.given.iter().any(|given| matches!(given.what, In::Mode { mode: "driving", .. }));
    for out in sight.record.out.iter().filter(|out| drives && (out.rings || out.event == "answer") && driving(out.at)) {
        let text = words::all(out);
        verdicts.judge("G1.may", out.at, !words::may_drive(&text), || text.clone());
    }
}

/// A doubted sensor's low repeats within 30 minutes; with lows hidden it calls as usual.
fn g2(sight: &Sight, verdicts: &mut Verdicts) {
    if !sight.record.given.iter().any(|given| matches!(given.what, In::Mode { mode: "doubted", .. })) {
        return;
    }
    let rings = sight.rings(of_low);
    walk(
        sight,
        verdicts,
        &Duty {
            promise: "G2",
            rings: &rings,
            holds: &|now| {
                now.between(54.0, 70.0)
                    && sight.mode("doubted", now.at)
                    && sight.meters(now.at - 30 * MIN, now.at).next().is_none()
            },
            due: &|last, start, _| last.map_or(start, |last| last + 30 * MIN),
            slack: sight.record.settings.cadence + 2 * MIN,
            why: "a doubted sensor's low, and no ring for 30 min",
        },
    );
}

/// What comes and goes is one message with a count; a person is called at most once a night for it.
fn f1(sight: &Sight, verdicts: &mut Verdicts) {
    let comes_and_goes = |out: &Out| matches!(out.condition.as_str(), "channel_failed" | "gap" | "source_failed");
    let flaps: Vec<Ms> = sight
        .record
        .given
        .iter()
        .filter(|given| matches!(given.what, In::Channels { failing: 1.., working: 1.. }))
        .map(|given| given.at)
        .collect();
    for three in flaps.windows(3) {
        let (from, to) = (three[0], three[2] + 5 * MIN);
        if to - from > 90 * MIN || !sight.watched(from, to) {
            continue;
        }
        let told =
            wearers(sight).filter(|out| out.condition == "channel_failed" && (from..=to).contains(&out.at)).count();
        verdicts.judge("F1.channel", to, told <= 2, || format!("a channel failed three times, and {told} messages"));
    }
    let mut nights: std::collections::BTreeMap<(String, Ms), usize> = std::collections::BTreeMap::new();
    for out in sight.record.out.iter().filter(|out| comes_and_goes(out) && sight.record.settings.is_night(out.at)) {
        // A very low without a signal keeps its calls (S1).
        let keeps = sight.at(out.at).value < 54.0 && out.at - sight.at(out.at).measured < 2 * HOUR;
        if let Some(person) = out.to.as_ref().filter(|_| out.event == "called" && !keeps) {
            let night = (out.at - 12 * HOUR).div_euclid(24 * HOUR);
            let calls = nights.entry((person.clone(), night)).or_default();
            *calls += 1;
            let calls = *calls;
            verdicts.judge("F1.person", out.at, calls <= 1, || {
                format!("{person} is called {calls} times in a night: {}", out.title)
            });
        }
    }
}
