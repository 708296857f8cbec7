//! The promises about others, P1 to P6. Judges a record, and knows nothing of the program.

use super::glance::Sight;
use super::lows::of_low;
use super::record::{HOUR, In, MIN, Ms, Out, Side};
use super::verdict::{Duty, Verdicts, shown, walk};
use super::words;

pub(crate) fn judge(sight: &Sight, verdicts: &mut Verdicts) {
    if !sight.record.settings.people.is_empty() {
        p1(sight, verdicts);
        p2(sight, verdicts);
        p4(sight, verdicts);
        p5(sight, verdicts);
        p6(sight, verdicts);
    }
    p3(sight, verdicts);
}

/// A call about a low.
fn is_call(out: &Out) -> bool {
    out.to.is_some() && out.event == "called" && of_low(out)
}

/// Who came last, by "I have it" or "I am with them", and until when that holds calls.
pub(crate) fn held_until(sight: &Sight, from: Ms, at: Ms) -> Ms {
    let held =
        sight.record.given.iter().filter(|given| given.at >= from && given.at <= at).map(|given| match given.what {
            In::Seen { by: Some(_) } => given.at + 20 * MIN,
            In::With { .. } => given.at + 30 * MIN,
            _ => 0,
        });
    held.max().unwrap_or(0)
}

/// From the first call on, calls go on while it is below 54.
fn p1(sight: &Sight, verdicts: &mut Verdicts) {
    let calls: Vec<Ms> = sight.record.out.iter().filter(|out| is_call(out)).map(|out| out.at).collect();
    walk(
        sight,
        verdicts,
        &Duty {
            promise: "P1",
            rings: &calls,
            holds: &|now| {
                let since = now.low_since.unwrap_or(now.at);
                let called = calls.iter().any(|call| *call >= since && *call <= now.at);
                called && now.below(54.0) && sight.record.settings.reachable(now.at) && !sight.denied(now.at)
            },
            due: &|last, start, now| {
                let last = last.unwrap_or(start);
                // A treatment puts a call off once, by 20 minutes at most.
                let treated = sight.low_treatments(last, now.at).map(|line| line.at).min();
                let latest = sight.low_treatments(last, now.at).map(|line| line.at).max();
                let due = last + 20 * MIN;
                let due = treated.map_or(due, |treated| due.max(treated + 20 * MIN));
                // Nobody is called on a value from before the latest treatment until its check (C1).
                let due = latest.filter(|latest| *latest >= now.measured).map_or(due, |at| due.max(at + 15 * MIN));
                due.max(held_until(sight, last - HOUR, now.at))
            },
            slack: sight.record.settings.cadence + 2 * MIN,
            why: "below 54 and no call for 20 min",
        },
    );
}

/// Who has it is asked first when it is still below 54 or not rising.
fn p2(sight: &Sight, verdicts: &mut Verdicts) {
    for given in &sight.record.given {
        let In::Seen { by: Some(by) } = &given.what else { continue };
        let (due, end) = (given.at + 20 * MIN, given.at + 22 * MIN + sight.record.settings.cadence);
        if !sight.at(given.at).below(70.0) || !sight.watched(given.at, end) {
            continue;
        }
        // Of two who say so in the same moment only one can be asked first.
        let again =
            sight.answers(given.at, end).iter().any(|(at, who)| who.is_some_and(|who| *at > given.at || who != by));
        let calls: Vec<&Out> =
            sight.record.out.iter().filter(|out| is_call(out) && out.at > given.at && out.at <= end).collect();
        let early = calls.iter().find(|call| call.at < due - 2 * MIN);
        verdicts.judge("P2.holds", given.at, early.is_none(), || {
            format!(
                "{by} has it, and {} min later somebody is called",
                early.map_or(0, |call| (call.at - given.at) / MIN)
            )
        });
        let then = sight.at(due);
        let stays = sight.span(due, end).iter().all(|now| now.below(54.0) || (now.below(70.0) && !now.rises(0.5)));
        let treated = sight.low_treatments(given.at, due).next().is_some();
        let there = sight.record.settings.people.iter().any(|person| &person.name == by && person.hours.is_none());
        if stays && !again && !treated && there {
            let first = calls.iter().find(|call| call.at >= due - 2 * MIN).and_then(|call| call.to.as_ref());
            verdicts.judge("P2.asked", due, first == Some(by), || {
                format!(
                    "{by} had it at {}, 20 min later {}: {by} is not asked first",
                    shown(sight.at(given.at)),
                    shown(then)
                )
            });
        }
    }
}

/// No text says that nobody answered when somebody did.
fn p3(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings && words::nobody(&words::all(out))) {
        let now = sight.at(out.at);
        let (side, began) = if of_low(out) {
            (Some(Side::Low), now.low_since.unwrap_or(out.at))
        } else if super::highs::of_high(out) {
            (Some(Side::High), now.high_since.unwrap_or(out.at))
        } else {
            let first = sight.record.out.iter().find(|other| other.alert == out.alert && other.event == "raised");
            (None, first.map_or(out.at, |first| first.at))
        };
        // Where the text says since when, that is what it says, by the clock of the computer.
        let ahead: Ms = sight
            .record
            .given
            .iter()
            .filter_map(|given| match given.what {
                In::ClockStepped { by } if given.at <= out.at => Some(by),
                _ => None,
            })
            .sum();
        let clock = out.at + ahead;
        let day = clock.div_euclid(24 * HOUR) * 24 * HOUR;
        let said = words::unanswered_since(&words::all(out)).map(|minute| day + minute * MIN);
        let said = said.map(|said| if said > clock { said - 24 * HOUR } else { said } - ahead);
        let answers = sight.answers_to(side, said.map_or(began, |said| said + MIN), out.at - 1);
        verdicts.judge("P3", out.at, answers.is_empty(), || {
            let (at, who) = answers.last().copied().unwrap_or((out.at, None));
            let who = who.unwrap_or("the wearer");
            format!("{who} answered {} min before: {} | {}", (out.at - at) / MIN, out.title, out.body)
        });
    }
}

/// Whoever was called is told when it is over.
fn p4(sight: &Sight, verdicts: &mut Verdicts) {
    let mut before = None;
    for now in &sight.minutes {
        let is_back = now.back.is_some() && now.back != before;
        before = now.back;
        let end = now.at + HOUR;
        if !is_back || !sight.watched(now.at, end) || sight.span(now.at, end).iter().any(|now| !now.at_least(70.0)) {
            continue;
        }
        for person in &sight.record.settings.people {
            let to = |out: &&Out| out.to.as_ref() == Some(&person.name);
            let heard: Vec<&Out> = sight.record.out.iter().filter(to).collect();
            let called = heard.iter().rfind(|out| is_call(out) && out.at <= now.at && out.at > now.at - 4 * HOUR);
            let Some(called) = called else { continue };
            let of_this = sight.span(called.at, now.at).iter().all(|one| one.low_since.is_some() || one.at == now.at);
            if of_this {
                let told = heard.iter().any(|out| out.at > called.at && out.at <= end && out.event != "called");
                verdicts.judge("P4", now.at, told, || {
                    format!("{} was called, and is not told that it is over", person.name)
                });
            }
        }
    }
}

/// What to do for somebody who does not wake.
fn p5(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| is_call(out)) {
        let text = words::all(out);
        verdicts.judge("P5", out.at, words::first_aid(&text), || format!("{} | {}", out.title, out.body));
    }
}

/// A child: the carer is rung first, and a child's "seen" quietens nothing.
fn p6(sight: &Sight, verdicts: &mut Verdicts) {
    if !sight.record.settings.has("child") {
        return;
    }
    for out in sight.record.out.iter().filter(|out| out.event == "raised" && out.rings && out.to.is_none()) {
        if !matches!(out.condition.as_str(), "low" | "very_low") || !sight.record.settings.reachable(out.at) {
            continue;
        }
        let carer =
            sight.record.out.iter().any(|other| {
                other.to.is_some() && of_low(other) && (out.at - 2 * MIN..=out.at + MIN).contains(&other.at)
            });
        verdicts.judge("P6", out.at, carer, || format!("a child's carer is not rung: {}", out.title));
    }
}
