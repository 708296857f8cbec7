//! The promises about rules that meet: M, S, C, B and O. Judges a record, and knows nothing of the program.

use super::glance::Sight;
use super::highs::of_high;
use super::ketones::red_flag;
use super::lows::{forecast_of_low, limit_is_70, of_low};
use super::record::{HOUR, In, MIN, Ms, Note, Out, Side};
use super::verdict::{Duty, Stake, Verdicts, shown, walk};
use super::words;

pub(crate) fn judge(sight: &Sight, verdicts: &mut Verdicts) {
    m1(sight, verdicts);
    m2(sight, verdicts);
    s1(sight, verdicts);
    s2(sight, verdicts);
    c1(sight, verdicts);
    b1(sight, verdicts);
    o1(sight, verdicts);
    o2(sight, verdicts);
    o3(sight, verdicts);
    o4(sight, verdicts);
}

fn wearers<'s>(sight: &'s Sight) -> impl Iterator<Item = &'s Out> {
    sight.record.out.iter().filter(|out| out.rings && out.to.is_none())
}

/// A finger-prick below 70 starts the checks of a low, whatever the sensor says.
fn m1(sight: &Sight, verdicts: &mut Verdicts) {
    let cadence = sight.record.settings.cadence;
    for line in &sight.lines {
        let Note::Meter(value) = line.note else { continue };
        let (at, meter) = (line.from, f64::from(value) / 100.0);
        let end = at + 16 * MIN + cadence;
        if meter >= 70.0 || at - line.at > 5 * MIN || line.to < end || !sight.watched(at, end) {
            continue;
        }
        let newer = sight.meters(line.at + 1, end).next().is_some();
        // A treatment has its own check a quarter of an hour later (L3), and that the limit stays 70 is K5's to judge.
        let treated = sight.low_treatments(line.at, end).map(|line| line.at).max();
        let end = treated.map_or(end, |treated| end.max(treated + 16 * MIN + cadence));
        let pregnant = sight.record.settings.has("pregnancy") && meter >= 63.0;
        if newer || pregnant || !sight.watched(at, end) {
            continue;
        }
        let now = sight.at(at);
        let looked = sight.record.out.iter().any(|out| {
            let look = out.condition == "recheck_low" && matches!(out.event.as_str(), "look" | "prompt" | "ended");
            (look || (of_low(out) && out.rings)) && out.at > at + MIN && out.at <= end
        });
        verdicts.judge("M1.checks", at, looked, || format!("meter {meter:.0} beside {}: no check follows", shown(now)));
        if meter < 54.0 {
            // Where it was rung as very low just before, L1 says when again.
            let very_low = |out: &Out| out.at >= at || out.condition == "very_low" || now.below(54.0);
            let rang =
                wearers(sight).any(|out| of_low(out) && very_low(out) && out.at >= at - 15 * MIN && out.at <= end);
            verdicts
                .judge("M1.very_low", at, rang, || format!("meter {meter:.0} beside {}: nothing rings", shown(now)));
        }
    }
}

/// A finger-prick that denies a low holds its rings for 15 minutes; then a second one is asked for.
fn m2(sight: &Sight, verdicts: &mut Verdicts) {
    for line in &sight.lines {
        let Note::Meter(value) = line.note else { continue };
        let (at, meter) = (line.from, f64::from(value) / 100.0);
        let now = sight.at(at);
        let end = at + 17 * MIN + sight.record.settings.cadence;
        if meter < 70.0 || !now.below(70.0) || at - line.at > 5 * MIN || !sight.watched(at, end) {
            continue;
        }
        // A line that is deleted or moved meanwhile holds nothing (M3), and that the limit stays 70 is K5's to judge.
        if line.to < end || sight.span(at, end).iter().any(|now| !limit_is_70(sight, now)) {
            continue;
        }
        if now.value >= 54.0 && sight.span(at, at + 15 * MIN).iter().all(|now| now.between(54.0, 70.0)) {
            // Another finger-prick may say that it is a low.
            let until = sight.meters(line.at, at + 14 * MIN).filter(|(_, meter)| *meter < 70.0).map(|(at, _)| at).min();
            let until = until.unwrap_or(at + 14 * MIN);
            // That somebody else has it is told because they said so; the second finger-prick may be asked for two
            // minutes early, in one moment with something else (O1).
            let alone = |out: &&Out| {
                let early = out.reason == "prick_again" && out.at >= at + 13 * MIN;
                of_low(out) && out.reason != "answered" && !early
            };
            let rang = wearers(sight).filter(alone).find(|out| out.at > at && out.at < until);
            verdicts.judge("M2.holds", at, rang.is_none(), || {
                format!(
                    "meter {meter:.0} at {}, and the low rings on: {}",
                    shown(now),
                    rang.map_or("", |out| &out.title)
                )
            });
        }
        let stays = sight.span(at, end).iter().all(|now| now.below(70.0));
        let another = sight.meters(line.at + 1, end).next().is_some();
        let second = sight.meters(at - HOUR, at - 10 * MIN).any(|(_, meter)| meter >= 80.0);
        // Who mutes the checks of lows is asked in them no more; L1 rings on.
        let muted = sight.record.given.iter().any(|given| {
            matches!(given.what, In::Mute { condition: Some("recheck_low"), until } if until > at && given.at <= end)
        });
        if stays && !another && !second && !muted {
            let asked =
                wearers(sight).any(|out| words::prick(&words::all(out)) && out.at >= at + 10 * MIN && out.at <= end);
            verdicts.judge("M2.second", at, asked, || {
                format!("meter {meter:.0} at {}, 15 min later no second one is asked for", shown(now))
            });
        }
        let denied_again = second && sight.denied(at + MIN);
        let hour = at + HOUR + sight.record.settings.cadence + 2 * MIN;
        let later = sight.meters(line.at + 1, hour).next().is_some();
        if denied_again && !later && sight.watched(at, hour) && sight.span(at, hour).iter().all(|now| now.below(54.0)) {
            let asked =
                wearers(sight).any(|out| words::prick(&words::all(out)) && out.at >= at + 50 * MIN && out.at <= hour);
            verdicts.judge("M2.hour", at, asked, || "denied twice, and after an hour no new finger-prick".to_owned());
        }
    }
}

/// What was owed anyway is owed after a line of the diary became another: the stakes of the same side, counted again
/// where the change came within two hours before them.
pub(crate) fn m3(sight: &Sight, found: &[Stake]) -> Vec<Stake> {
    let lows = ["L1", "L2.again", "L3.check", "P1", "M1.checks"];
    let highs = ["H1", "H2", "H3", "H4.three", "H7"];
    let of = |note: &Note| match note {
        Note::Treated(Side::Low) | Note::Carbohydrate(_) | Note::Meter(_) => Some(Side::Low),
        Note::Treated(Side::High) | Note::Insulin(_) | Note::Ketones(_) => Some(Side::High),
        _ => None,
    };
    let after = |at: Ms, side: Side| {
        sight.lines.iter().any(|line| {
            let changed = line.to < Ms::MAX && line.to <= at && at - line.to < 2 * HOUR;
            changed && line.to - line.at < 4 * HOUR && of(&line.note) == Some(side)
        })
    };
    found
        .iter()
        .filter(|stake| {
            (lows.contains(&stake.promise) && after(stake.at, Side::Low))
                || (highs.contains(&stake.promise) && after(stake.at, Side::High))
        })
        .map(|stake| Stake { promise: "M3", ..stake.clone() })
        .collect()
}

/// A value that is not fresh is never "still", and has no rate.
fn s1(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings && (of_low(out) || of_high(out))) {
        let now = sight.at(out.at);
        if now.fresh || now.measured == 0 || words::first_glucose(&out.title).is_none() {
            continue;
        }
        // A finger-prick is a fresh value of its own.
        let said = words::first_glucose(&out.title).unwrap_or(0);
        let mut pricked = sight.meters(out.at - 15 * MIN, out.at + MIN);
        if pricked.any(|(_, meter)| (super::texts::as_shown(meter) - said).abs() <= 1) {
            continue;
        }
        let kept = !words::still(&out.title) && !words::rising(&out.title) && !words::falling(&out.title);
        verdicts.judge("S1.words", out.at, kept, || format!("{}: {}", shown(now), out.title));
    }
    let calls: Vec<Ms> =
        sight.record.out.iter().filter(|out| out.to.is_some() && out.event == "called").map(|out| out.at).collect();
    walk(
        sight,
        verdicts,
        &Duty {
            promise: "S1.calls",
            rings: &calls,
            holds: &|now| {
                let lost = !now.fresh && now.measured > 0 && now.value < 54.0 && now.at - now.measured < 2 * HOUR;
                let since = now.low_since.unwrap_or(now.measured);
                lost && calls.iter().any(|call| *call >= since && *call <= now.at)
                    && sight.low_treatments(since, now.at).next().is_none()
                    && sight.answers(since, now.at).is_empty()
                    && sight.record.settings.reachable(now.at)
            },
            due: &|last, start, _| last.map_or(start + 20 * MIN, |last| last + 20 * MIN),
            slack: 3 * MIN,
            why: "an untreated very low without a signal, and calls stop",
        },
    );
}

/// Without a signal, rings come at growing spans.
fn s2(sight: &Sight, verdicts: &mut Verdicts) {
    let mut rings: Vec<Ms> = Vec::new();
    // Ketones are measured without the signal, and are asked about at the times of their own table (K1).
    let about = |out: &Out| {
        out.condition != "ketones" && (of_low(out) || of_high(out))
            || matches!(out.condition.as_str(), "gap" | "source_failed")
    };
    // What answers a person in the moment in which they do something is no ring of the signal's loss.
    let acted = |at: Ms| {
        let of_a_person = |given: &super::record::Given| {
            given.at == at && !matches!(given.what, In::Reading { .. } | In::Channels { .. })
        };
        sight.record.given.iter().any(of_a_person)
    };
    let rings_alone = |out: &&Out| out.rings && about(out) && out.reason != "answered" && !acted(out.at);
    let all: Vec<Ms> = sight.record.out.iter().filter(rings_alone).map(|out| out.at).collect();
    let mut next = 0;
    for now in &sight.minutes {
        // A finger-prick is a value, and not nothing.
        let measured = sight.meters(now.at - 15 * MIN, now.at).next().is_some();
        if now.fresh || !now.watched || measured {
            rings.clear();
        }
        while let Some(at) = all.get(next).filter(|at| **at <= now.at) {
            next += 1;
            // The first two hours of a very low are S1's.
            if now.fresh || now.at - now.measured < 2 * HOUR || rings.last().is_some_and(|last| at - last < 2 * MIN) {
                continue;
            }
            rings.push(*at);
            if let [.., first, second, third] = rings[..] {
                let grows = third - second >= (second - first) * 9 / 10 && third - second >= 30 * MIN;
                verdicts.judge("S2", *at, grows, || {
                    format!(
                        "no reading for {} min, and it rings after {} min, then after {} min",
                        (now.at - now.measured) / MIN,
                        (second - first) / MIN,
                        (third - second) / MIN
                    )
                });
            }
        }
    }
}

/// Nobody is told "not recovering" before the check after the latest treatment.
fn c1(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.to.is_some() && out.event == "called" && of_low(out)) {
        let now = sight.at(out.at);
        // What was said in the very moment of a call may have been said after it.
        let known = sight.low_treatments(out.at - HOUR, out.at).filter(|line| line.from < out.at);
        let Some(treated) = known.map(|line| line.at).max() else { continue };
        // A finger-prick is a value from after the treatment, too.
        let is_old = now.measured <= treated && sight.meters(treated + 1, out.at).next().is_none();
        let early = out.at - treated < 15 * MIN && (words::not_recovering(out) || is_old);
        let stale = words::not_recovering(out) && is_old;
        verdicts.judge("C1", out.at, !early && !stale, || {
            format!("called {} min after a treatment, {}: {}", (out.at - treated) / MIN, out.reason, out.title)
        });
    }
}

/// A late batch whose newest value is current is told whole.
fn b1(sight: &Sight, verdicts: &mut Verdicts) {
    let mut place = 0;
    while let Some(first) = sight.readings.get(place) {
        let batch: Vec<_> = sight.readings[place..].iter().take_while(|one| one.arrived == first.arrived).collect();
        place += batch.len();
        let Some(newest) =
            batch.last().filter(|newest| batch.len() >= 4 && first.arrived - newest.measured <= 10 * MIN)
        else {
            continue;
        };
        if newest.value >= 70.0 || !sight.at(first.arrived).watched {
            continue;
        }
        let limit = if newest.value < 54.0 { 54.0 } else { 70.0 };
        let began = batch.iter().rev().take_while(|one| one.value < limit).last().map_or(0, |one| one.measured);
        let known = sight.at(first.arrived - 1).value;
        if newest.measured - began < 15 * MIN || (known > 0.0 && known < limit) {
            continue;
        }
        let said = wearers(sight).filter(|out| (first.arrived..=first.arrived + MIN).contains(&out.at));
        let said: Vec<String> = said.map(words::all).collect();
        let minute = began.rem_euclid(24 * HOUR) / MIN;
        let kept = said.iter().any(|text| words::since(text).is_some_and(|since| (since - minute).abs() <= 6));
        verdicts.judge("B1", first.arrived, kept, || {
            format!(
                "{:.0} in a late batch, below {limit:.0} for {} min: {said:?}",
                newest.value,
                (first.arrived - began) / MIN
            )
        });
    }
}

/// A ring that always stands: the first of a worse level, one that L1 or an emergency asks for.
fn always(sight: &Sight, out: &Out) -> bool {
    let now = sight.at(out.at);
    // A low that begins anew, or is there after a silence, is told as the first was.
    let anew = matches!(out.reason.as_str(), "new_episode" | "still_beyond") && of_low(out);
    let first = (out.event == "raised" || anew) && matches!(out.condition.as_str(), "very_low" | "low" | "very_high");
    first || (of_low(out) && now.below(54.0)) || words::emergency(&out.title)
}

/// One moment, one ring; and at most six in half an hour.
fn o1(sight: &Sight, verdicts: &mut Verdicts) {
    let rings: Vec<&Out> = wearers(sight).collect();
    for pair in rings.windows(2) {
        let apart = pair[1].at - pair[0].at;
        if apart > 5 * MIN {
            continue;
        }
        let stands = always(sight, pair[1]) && apart > 0;
        // What a person did in between may make a ring of its own moment.
        let acted =
            sight.record.given.iter().any(|given| {
                given.at > pair[0].at && given.at <= pair[1].at && !matches!(given.what, In::Reading { .. })
            });
        // Two things that a person does, or one and a reading, may come at the same instant, and each is answered.
        let here = || sight.record.given.iter().filter(|given| given.at == pair[1].at);
        let together = here().count() > 1 && here().any(|given| !matches!(given.what, In::Reading { .. }));
        let several = apart == 0 && together && pair[0].reason != pair[1].reason && always(sight, pair[1]);
        // That somebody else has it is told because they say so.
        let said =
            pair[1].reason == "answered" && here().any(|given| matches!(given.what, In::Seen { .. } | In::With { .. }));
        let kept = stands || acted || several || said || apart > 2 * MIN;
        verdicts.judge("O1.one", pair[1].at, kept, || {
            format!("two rings within {} s: {} | {}", apart / 1_000, pair[0].title, pair[1].title)
        });
    }
    let mut told: Ms = 0;
    for (place, out) in rings.iter().enumerate() {
        let half_hour: Vec<&&Out> = rings[place..].iter().take_while(|later| later.at - out.at < 30 * MIN).collect();
        if half_hour.len() < 4 || out.at < told + 30 * MIN {
            continue;
        }
        told = out.at;
        let counted = half_hour.iter().filter(|out| !always(sight, out)).count();
        verdicts.judge("O1.six", out.at, counted <= 6, || {
            let titles: Vec<&str> = half_hour.iter().map(|out| out.title.as_str()).collect();
            format!("{} rings in 30 min: {}", half_hour.len(), titles.join(" | "))
        });
    }
}

/// While low, only what concerns the low rings.
fn o2(sight: &Sight, verdicts: &mut Verdicts) {
    for out in wearers(sight) {
        let now = sight.at(out.at);
        if !now.below(70.0) || !now.watched {
            continue;
        }
        // In pregnancy each value is a row worse (K5).
        let above = if sight.record.settings.has("pregnancy") { 59 } else { 150 };
        let grave = sight.ketones(out.at).is_some_and(|(at, value)| value > above && out.at - at < 12 * HOUR)
            || sight
                .known(out.at)
                .any(|line| matches!(line.note, Note::Urine("moderate" | "large")) && out.at - line.at < 12 * HOUR)
            || sight.known(out.at).any(|line| matches!(line.note, Note::Symptoms(words) if red_flag(words)));
        let concerns = of_low(out)
            || forecast_of_low(out)
            || matches!(out.condition.as_str(), "not_watching" | "two_signals" | "mode" | "sensor" | "gap" | "flood")
            || (out.condition == "channel_failed" && words::says(&out.title, &["nothing can", "a way"]))
            || (words::ketones(out) && grave)
            || words::emergency(&out.title)
            // What is asked about its treatment.
            || out.reason == "treated_before";
        verdicts.judge("O2", out.at, concerns, || format!("at {}: {} {}", shown(now), out.condition, out.title));
    }
}

/// The end of a high is not said while a low is treated.
fn o3(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.event == "ended" && of_high(out) && out.to.is_none()) {
        let now = sight.at(out.at);
        let treated = sight.low_treatments(out.at - 15 * MIN, out.at).any(|line| sight.at(line.at).below(70.0));
        if now.low_since.is_some() || treated {
            verdicts.judge("O3", out.at, !out.rings, || format!("at {}: {}", shown(now), out.title));
        }
    }
}

/// "Over" stands on a fresh value of the signal that was low.
fn o4(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings && of_low(out) && words::over(&out.title)) {
        let now = sight.at(out.at);
        // A finger-prick in range is a value, too.
        let measured = sight.meters(out.at - 15 * MIN, out.at).any(|(_, meter)| meter >= 70.0);
        let lowest = sight.readings.iter().rev().find(|one| one.arrived <= out.at && one.value < 70.0);
        // Of several signals the value that is said is what counts, and not the newest of any.
        let said = words::first_glucose(&out.title);
        let own = |lowest: &super::glance::Point| {
            let newest = sight.readings.iter().rev().find(|one| one.signal == lowest.signal && one.arrived <= out.at);
            newest.is_some_and(|one| {
                let shown = said.is_none_or(|said| (super::texts::as_shown(one.value) - said).abs() <= 1);
                one.value >= 70.0 && out.at - one.measured <= 20 * MIN && shown
            })
        };
        let same = lowest
            .is_none_or(|lowest| lowest.signal == now.signal || sight.record.settings.signals == 1 || own(lowest));
        if !limit_is_70(sight, now) {
            continue;
        }
        let kept = measured || (now.at_least(70.0) && same) || (same && lowest.is_some_and(own));
        verdicts.judge("O4", out.at, kept, || {
            let other = if same { "" } else { ", another signal" };
            format!("{}{other}: {}", shown(now), out.title)
        });
    }
}
