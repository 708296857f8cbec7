//! The promises about highs and what treats them, H1 to H6. Judges a record, and knows nothing of the program.

use super::glance::{Line, Now, Sight};
use super::record::{HOUR, KetoneTest, MIN, Ms, Note, Out, Side, Therapy};
use super::verdict::{Duty, Verdicts, shown, walk};
use super::words;

/// A word about a high: not a forecast of one.
pub(crate) fn of_high(out: &Out) -> bool {
    let condition = out.condition.as_str();
    let several = condition == "flood" && words::says(&words::all(out), &["high"]);
    let high = condition.contains("high") || condition.contains("ketone") || condition == "landing";
    several || (high && !condition.starts_with("forecast"))
}

/// A question about ketones; without strips it is one about pen or set.
pub(crate) fn ketone_question(sight: &Sight, out: &Out) -> bool {
    let none = sight.record.settings.ketone_test == KetoneTest::None && words::pen_or_set(out);
    // Advice for the case that it lasts, in the first words of a very high, is no question yet.
    let first = matches!(out.event.as_str(), "raised" | "repeated") && !words::says(&out.title, &["ketone", "ketones"]);
    out.rings && out.to.is_none() && out.event != "answer" && !first && (words::ketones(out) || none)
}

fn pump(sight: &Sight) -> bool {
    matches!(sight.record.settings.therapy, Therapy::Pump | Therapy::SelfAdjusting)
}

pub(crate) fn judge(sight: &Sight, verdicts: &mut Verdicts) {
    questions(sight, verdicts);
    h3(sight, verdicts);
    h4(sight, verdicts);
    h5(sight, verdicts);
    h6(sight, verdicts);
}

/// The first dose that was noted for the high that goes on now.
fn first_dose<'s>(sight: &'s Sight, now: &Now) -> Option<&'s Line> {
    let since = now.high_since.or(now.very_high_since)?;
    sight.doses(since, now.at).min_by_key(|line| line.at)
}

/// Food within an hour of that dose.
pub(crate) fn with_a_meal(sight: &Sight, dose: Ms, at: Ms) -> bool {
    sight.known(at).any(|line| matches!(line.note, Note::Carbohydrate(_)) && (line.at - dose).abs() <= HOUR)
}

/// When the next question about ketones is due in this stretch (H1, H2, H10), and by which promise.
pub(crate) fn due(sight: &Sight, now: &Now, asked: &[Ms]) -> (&'static str, Ms) {
    let start = now.very_high_since.unwrap_or(now.at);
    let settings = &sight.record.settings;
    let asked: Vec<Ms> = asked.iter().copied().filter(|at| *at >= start).collect();
    let steps: &[Ms] = if pump(sight) { &[2 * HOUR] } else { &[2 * HOUR, 3 * HOUR, 4 * HOUR] };
    let mut answer = 0;
    if let Some((at, value)) = sight.ketones(now.at).filter(|(at, _)| now.at - at < 8 * HOUR) {
        let long = if pump(sight) || settings.therapy == Therapy::Unknown { 2 * HOUR } else { 4 * HOUR };
        answer = at
            + if value < 60 {
                long
            } else if value <= 150 {
                2 * HOUR
            } else {
                HOUR
            };
        // By night, pens, below 300, not ill, not rising by 30 since, not raised: six hours, or waking.
        let calm = value < 60
            && settings.therapy == Therapy::Injections
            && settings.is_night(now.at)
            && now.value < 300.0
            && !sight.mode("sick", now.at)
            && now.value < sight.at(at).value + 30.0;
        if calm {
            answer = at + 6 * HOUR;
        }
    }
    // Urine has rows of its own, and runs hours behind: it answers as long as where things can change within hours.
    let urine = sight.known(now.at).filter_map(|line| match line.note {
        Note::Urine("negative" | "trace") => Some(line.at + 2 * HOUR),
        Note::Urine(_) => Some(line.at + HOUR),
        _ => None,
    });
    answer = urine.max().unwrap_or(0).max(answer);
    if let Some(last) = asked.last() {
        let step = steps.get(asked.len() - 1).or(steps.last()).copied().unwrap_or(2 * HOUR);
        return ("H2", (last + step).max(answer));
    }
    let dose = first_dose(sight, now).map(|line| line.at);
    let wait = if pump(sight) { 90 * MIN } else { 2 * HOUR };
    // A dose before the stretch began counts from its own time: the earlier of the two.
    let base = dose.filter(|dose| *dose > start - 3 * HOUR).map_or(start, |dose| dose.min(start));
    let meal = dose.is_some_and(|dose| with_a_meal(sight, dose, now.at)) && !(now.value > 250.0 && now.rises(1.0));
    ("H1", (base + wait + if meal { 30 * MIN } else { 0 }).max(answer))
}

fn questions(sight: &Sight, verdicts: &mut Verdicts) {
    let all: Vec<&Out> = sight.record.out.iter().filter(|out| ketone_question(sight, out)).collect();
    let times: Vec<Ms> = all.iter().map(|out| out.at).collect();
    let mut next = 0;
    let mut owed: Option<(&'static str, Ms)> = None;
    let mut asked: Vec<Ms> = Vec::new();
    let mut low = 0;
    for now in &sight.minutes {
        low = if now.low_since.is_some() { now.at } else { low };
        if now.very_high_since.is_none() || !now.watched || !now.fresh {
            owed = None;
        }
        while let Some(at) = times.get(next).filter(|at| **at <= now.at) {
            if let Some((promise, since)) = owed.take().filter(|(_, due)| *at >= due - 30 * MIN) {
                verdicts.judge(promise, since, true, String::new);
            }
            asked.push(*at);
            next += 1;
        }
        // After a low, by sensor or finger-prick (M1), it stays silent; while falling or below it is not owed.
        let pricked = sight.meters(now.at - 2 * HOUR, now.at).any(|(_, meter)| meter < 70.0);
        if !now.watched
            || !now.at_least(sight.record.settings.asked_from())
            || now.falls(1.0)
            || now.at - low < 2 * HOUR
            || pricked
        {
            owed = None;
            continue;
        }
        let (promise, at) = due(sight, now, &asked);
        owed = Some((promise, at));
        let standing = sight.span(at.max(now.at - 7 * MIN), now.at);
        let stood = standing
            .iter()
            .all(|now| now.watched && now.at_least(sight.record.settings.asked_from()) && !now.falls(1.0));
        if stood && now.at > at + sight.record.settings.cadence + 2 * MIN && standing.len() >= 7 {
            let rang =
                asked.last().map_or_else(|| "never".to_owned(), |last| format!("{} min ago", (now.at - last) / MIN));
            verdicts.judge(promise, now.at, false, || format!("{}, ketones were asked about {rang}", shown(now)));
            asked.push(now.at);
            owed = None;
        }
    }
    for out in all.iter().filter(|out| of_high(out) && sight.at(out.at).at_least(sight.record.settings.asked_from())) {
        verdicts.judge("H1.words", out.at, words::pen_or_set(out), || format!("neither pen nor set: {}", out.title));
    }
}

/// Treatments of a high that goes on, in the order of their times; a dose and "treated" at one time are one.
fn treated<'s>(sight: &'s Sight) -> Vec<&'s Line> {
    let mut found: Vec<&Line> = sight
        .lines
        .iter()
        .filter(|line| matches!(line.note, Note::Treated(Side::High) | Note::Insulin(_)))
        .filter(|line| line.from - line.at < 20 * MIN && line.to > line.at + 2 * HOUR)
        .filter(|line| sight.at(line.at).at_least(180.0))
        .collect();
    found.sort_by_key(|line| line.at);
    found.dedup_by_key(|line| line.at / (5 * MIN));
    found
}

/// A pump at its first check: set, ketones, plan; never "wait".
fn h3(sight: &Sight, verdicts: &mut Verdicts) {
    if sight.record.settings.therapy != Therapy::Pump {
        return;
    }
    let cadence = sight.record.settings.cadence;
    for line in treated(sight) {
        let (then, due) = (sight.at(line.at), line.at + HOUR);
        // By what the diary says when the check is due: a line that was moved meanwhile is where it is (M3).
        let first = sight.doses(line.at - 3 * HOUR, due).all(|other| other.at >= line.at);
        if !first || !sight.watched(line.at, due + cadence + 3 * MIN) {
            continue;
        }
        let check = sight.at(due);
        let stays = check.at_least(250.0) && check.value >= then.value && !check.falls(1.0);
        let another = sight.doses(line.at + MIN, due).next().is_some();
        if !stays || another || with_a_meal(sight, line.at, due) {
            continue;
        }
        let near = |out: &&Out| (due - 5 * MIN..=due + cadence + 2 * MIN).contains(&out.at) && out.to.is_none();
        let rings: Vec<&Out> = sight.record.out.iter().filter(|out| out.rings && of_high(out)).filter(near).collect();
        let kept = rings.iter().any(|out| words::set(out) && words::ketones(out))
            && !rings.iter().any(|out| words::waits(&words::all(out)));
        verdicts.judge("H3", due, kept, || {
            let said = rings.first().map_or("nothing", |out| out.title.as_str());
            format!("pump, treated at {}, an hour later {}: {said}", shown(then), shown(check))
        });
    }
}

/// What a further dose does not move, and what is not said too early.
fn h4(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.rings && out.to.is_none() && of_high(out)) {
        let Some(dose) = sight.doses(out.at - 2 * HOUR, out.at).map(|line| line.at).max() else { continue };
        if sight.at(out.at).at_least(180.0) && out.at - dose >= 10 * MIN {
            verdicts.judge("H4.decide", out.at, !words::decide(&words::all(out)), || {
                format!("told to decide {} min after a dose: {}", (out.at - dose) / MIN, out.title)
            });
        }
    }
    let mut done: Option<Ms> = None;
    for line in treated(sight) {
        let (then, due) = (sight.at(line.at), line.at + 3 * HOUR);
        if !then.at_least(250.0) || done.is_some_and(|done| line.at < done) {
            continue;
        }
        done = Some(due);
        let end = due + sight.record.settings.cadence + 2 * MIN;
        let without_response = sight.watched(line.at, end)
            && sight.span(line.at, end).iter().all(|now| now.at_least(250.0))
            && sight.at(due).value >= then.value - 10.0
            && !sight.at(due).falls(1.0);
        if without_response {
            let kept = sight.record.out.iter().any(|out| {
                out.rings
                    && out.to.is_none()
                    && (due - HOUR..=end).contains(&out.at)
                    && words::ketones(out)
                    && words::team(&words::all(out))
            });
            verdicts.judge("H4.three", due, kept, || {
                format!(
                    "no response in 3 h, {} then {}: no ketones, pen or set, team",
                    shown(then),
                    shown(sight.at(due))
                )
            });
        }
    }
}

/// A high is not over while it falls fast or much of a dose is to come.
fn h5(sight: &Sight, verdicts: &mut Verdicts) {
    let by_rate_alone = sight.record.settings.therapy == Therapy::SelfAdjusting;
    // That a treatment was none ends its check and not the high.
    let over =
        |out: &&Out| out.event == "ended" && out.condition == "recheck_high" && out.reason != "no_longer_treated";
    for out in sight.record.out.iter().filter(over) {
        let now = sight.at(out.at);
        let to_come = if by_rate_alone { 0.0 } else { sight.effect_to_come(out.at) };
        if !now.at_least(70.0) || !sight.watched(out.at - MIN, out.at) {
            continue;
        }
        if now.falls(2.0) || (now.falls(1.0) && to_come > 0.34) {
            verdicts.judge("H5.over", out.at, false, || {
                format!("over at {}, {:.0} % of a dose to come: {}", shown(now), to_come * 100.0, out.title)
            });
        } else {
            verdicts.judge("H5.over", out.at, true, String::new);
        }
    }
    h5_landing(sight, verdicts, by_rate_alone);
}

/// A landing is looked at every 30 minutes until it is flat or the dose is spent.
fn h5_landing(sight: &Sight, verdicts: &mut Verdicts, by_rate_alone: bool) {
    let looks: Vec<Ms> = sight
        .record
        .out
        .iter()
        .filter(|out| {
            let kind = matches!(out.event.as_str(), "look" | "prompt" | "raised" | "repeated" | "ended");
            kind && (of_high(out) || super::lows::of_low(out) || super::lows::forecast_of_low(out))
        })
        .map(|out| out.at)
        .collect();
    // It begins with more than a third of a dose to come, or fast, and goes on until level or nine tenths are spent; what
    // is over in range begins anew when it is high again. A high that nothing was said about has nothing to be over.
    let limit = f64::from(sight.record.settings.limits[2]) / 100.0;
    let (mut lands, mut is_over) = (false, false);
    let landing: Vec<bool> = sight
        .minutes
        .iter()
        .map(|now| {
            let to_come = if by_rate_alone { 0.0 } else { sight.effect_to_come(now.at) };
            let begins = now.falls(2.0) || (now.falls(1.0) && to_come > 0.34);
            let over = now.flat || (to_come <= 0.1 && !now.falls(2.0));
            is_over = now.value <= limit && (is_over || (lands && over));
            lands = !is_over && (begins || (lands && !over));
            lands
        })
        .collect();
    let falling_from_high = |now: &Now| {
        let since = now.high_since.or(sight.at(now.at - HOUR).high_since);
        let said = |since: Ms| sight.record.out.iter().any(|out| of_high(out) && (since..=now.at).contains(&out.at));
        let to_come = sight.effect_to_come(now.at);
        let treated = sight.doses(now.at - 4 * HOUR, now.at).any(|dose| sight.at(dose.at).at_least(180.0));
        since.is_some_and(said)
            && treated
            && landing[sight.index(now.at)]
            && now.at_least(70.0)
            && if by_rate_alone { now.falls(2.0) } else { now.falls(1.0) && to_come > 0.1 }
    };
    walk(
        sight,
        verdicts,
        &Duty {
            promise: "H5.landing",
            rings: &looks,
            holds: &falling_from_high,
            due: &|last, start, _| last.map_or(start + 30 * MIN, |last| (last + 30 * MIN).max(start + 5 * MIN)),
            slack: sight.record.settings.cadence + 2 * MIN,
            why: "falling from a treated high, and not looked at for 30 min",
        },
    );
}

/// While a treated high is followed, very high and a forecast do not ring anew.
fn h6(sight: &Sight, verdicts: &mut Verdicts) {
    for out in sight.record.out.iter().filter(|out| out.to.is_none()) {
        let anew = matches!(out.event.as_str(), "raised" | "repeated" | "held" | "withheld");
        if !anew || !matches!(out.condition.as_str(), "very_high" | "forecast_high") {
            continue;
        }
        let now = sight.at(out.at);
        let dose = sight
            .doses(out.at - 3 * HOUR, out.at)
            .filter(|line| line.from <= out.at && line.at < out.at && sight.at(line.at).at_least(180.0))
            .max_by_key(|line| line.at);
        let Some(dose) = dose else { continue };
        let risen = now.value >= sight.at(dose.at).value + 50.0;
        // One that was over since, and began anew, is another high.
        let same = now.high_since.is_some_and(|since| since <= dose.at);
        let unbroken = same && sight.span(dose.at, out.at).iter().all(|now| now.high_since.is_some() && now.fresh);
        if unbroken && !risen {
            verdicts.judge("H6", out.at, !out.rings, || {
                format!("{} rings {} min after a dose: {}", out.condition, (out.at - dose.at) / MIN, out.title)
            });
        }
    }
}
