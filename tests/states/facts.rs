//! What must survive when a state is taken over, as plain lines that name no field of the state. This is the one place
//! that knows the state's present form: where the form changes, this is rewritten, and the stored facts are not.

use super::super::behaviour::DAY;
use recheck::domain::glucose::Glucose;
use recheck::domain::reading::SourceId;
use recheck::domain::time::Timestamp;
use recheck::engine::Engine;
use recheck::engine::alert::alarm::AlarmState;
use recheck::engine::alert::{Alert, Because, Detail, Standing};
use recheck::engine::effect::{Condition, Id};
use recheck::engine::recheck_high::Stage;
use recheck::engine::two_signals::Trust;
use serde_json::Value;

/// All of them, in one order.
pub(super) fn facts(engine: &Engine) -> Vec<String> {
    let form = serde_json::to_value(engine.snapshot()).unwrap();
    let mut facts = alerts(engine, &form);
    facts.extend(forecasts(engine));
    facts.extend(care(engine));
    facts.extend(calls(engine, &form));
    facts.extend(silences_and_rings(engine, &form));
    facts.extend(modes(engine, &form));
    facts.extend(sources(engine, &form));
    facts.extend(reminders(engine, &form));
    facts.extend(what_was(engine, &form));
    facts.extend(checks(&form));
    facts
}

/// Hours and minutes from the day on which all situations begin, as in a timeline.
pub(super) fn clock(at: Timestamp) -> String {
    let millis = at.millis() - DAY * 1_000;
    let (minutes, rest) = (millis.div_euclid(60_000), millis.rem_euclid(60_000));
    let seconds = if rest == 0 { String::new() } else { format!("+{rest}ms") };
    format!("{:02}:{:02}{seconds}", minutes.div_euclid(60), minutes.rem_euclid(60))
}

fn shown(at: Option<Timestamp>) -> String {
    at.map_or_else(|| "-".to_owned(), clock)
}

/// A time in the JSON form.
fn time(value: &Value) -> Option<Timestamp> {
    value.as_i64().map(Timestamp::from_millis)
}

fn of(part_of: Option<Id>) -> String {
    part_of.map_or_else(String::new, |id| format!(" of #{id}"))
}

const fn seen(seen: bool) -> &'static str {
    if seen { "seen" } else { "unseen" }
}

/// As a number of mg/dL; what a sensor cannot put a number to keeps its word.
fn glucose(value: Glucose) -> String {
    let (whole, rest) = (value.hundredths() / 100, value.hundredths() % 100);
    format!("{whole}.{rest:02} {:?}", value.measured())
}

fn alerts(engine: &Engine, form: &Value) -> Vec<String> {
    let register = &engine.snapshot().register;
    let mut facts = Vec::new();
    for condition in Condition::LEVELS {
        let (name, stands) = (condition.name(), engine.alarm_state(condition));
        let delay = list(&form["register"]["pending"]).iter().find(|one| one["condition"] == name);
        match (register.of(condition), delay) {
            (Some(alert), _) => {
                let told = match alert.silent() {
                    None => "rang",
                    Some(Because::Held) => "held",
                    Some(Because::SpokenFor) => "hidden",
                    Some(Because::Followed) => "followed",
                    Some(Because::Unsure | Because::Covered) => panic!("{alert:?}"),
                };
                facts.push(format!(
                    "alert {name} #{}{} since {} told {told}, last {}, {}: {}",
                    alert.id,
                    of(alert.part_of),
                    clock(alert.since),
                    shown(alert.told_at),
                    seen(alert.is_acknowledged()),
                    stands.name()
                ));
            }
            (None, Some(delay)) => {
                facts.push(format!("delay {name} since {}: {}", shown(time(&delay["since"])), stands.name()));
            }
            (None, None) if stands != AlarmState::Normal => facts.push(format!("level {name}: {}", stands.name())),
            (None, None) => {}
        }
    }
    facts.extend(register.returned.iter().map(|one| {
        let Standing::ReturnedUnacknowledged { until } = one.standing else { panic!("{one:?}") };
        let (since, until) = (clock(one.since), clock(until));
        format!("returned {} #{} since {since} until {until}, unanswered", one.condition.name(), one.id)
    }));
    if let Some(trouble) = register.of(Condition::ChannelFailed) {
        let none_works = trouble.detail == (Detail::Channels { none_works: true });
        let work = if none_works { "none works" } else { "some work" };
        facts.push(format!("channels fail #{}, {work}, {}", trouble.id, seen(trouble.is_acknowledged())));
    }
    if let Some(two) = register.of(Condition::TwoSignals) {
        let (since, told) = (clock(two.since), shown(two.told_at));
        facts.push(format!("two signals #{} since {since} told {told}, {}", two.id, seen(two.is_acknowledged())));
    }
    let state = engine.snapshot();
    facts.extend(state.trust.map(|trust| match trust {
        Trust::Source(source) => format!("trust source {}", source.0),
        Trust::Signal { ours, other, other_at, .. } => {
            format!("trust signal at {}, not at {} from {}", glucose(ours), glucose(other), clock(other_at))
        }
    }));
    facts
}

fn forecasts(engine: &Engine) -> Vec<String> {
    let standing = Condition::FORECASTS.into_iter().filter_map(|one| Some((one, engine.forecast(one)?)));
    let told = |rang| if rang { "rang" } else { "silent" };
    let fact = |(condition, open): (Condition, &Alert)| {
        let Detail::Forecast { by, .. } = open.detail else { panic!("{open:?}") };
        format!(
            "forecast {} #{}{} since {} by {}, {}, {}",
            condition.name(),
            open.id,
            of(open.part_of),
            clock(open.since),
            clock(by),
            told(open.has_rung()),
            seen(open.is_acknowledged())
        )
    };
    standing.map(fact).collect()
}

/// Checks on what was treated, or asked about.
fn care(engine: &Engine) -> Vec<String> {
    let state = engine.snapshot();
    let mut facts = Vec::new();
    if let Some(care) = state.plan.low() {
        facts.push(format!("care low #{}{} since {}", care.id, of(care.part_of), clock(care.since)));
        let treated = care.treated.map(|treated| format!("{} {}", clock(treated.at), treated.told.words()));
        facts.push(format!("care low treated {}", treated.unwrap_or_else(|| "by nobody".to_owned())));
        facts.push(format!("care low looks unseen {}", care.unseen));
        facts.extend(care.cautious.map(|limit| format!("care low limit {}", glucose(limit))));
        facts.extend(care.by_meter.then(|| "care low by meter".to_owned()));
    }
    if let Some(care) = state.plan.high() {
        facts.push(format!("care high #{}{} since {}", care.id, of(care.part_of), clock(care.since)));
        facts.extend(care.ketones.then(|| "care high ketones asked".to_owned()));
        facts.push(match &care.stage {
            Stage::Asking { marked, asked } => {
                format!("care high asked {asked} times, {}", if *marked { "marked" } else { "unmarked" })
            }
            Stage::Looking { treated, asked_for, unseen } => format!(
                "care high treated {} {}, look asked for {}, look unseen {unseen}",
                clock(treated.at),
                treated.told.words(),
                shown(*asked_for)
            ),
        });
    }
    facts
}

fn people(what: &str, about: &str, told: &[(u8, Timestamp)]) -> Vec<String> {
    told.iter().map(|(person, at)| format!("{what} {about}: person {person} at {}", clock(*at))).collect()
}

fn answered(at: Option<Timestamp>, by: Option<&String>) -> String {
    let by = by.map_or_else(String::new, |by| format!(" by {by}"));
    at.map_or_else(|| "unanswered".to_owned(), |at| format!("answered {}{by}", clock(at)))
}

/// Calls under way for a low, and the other alerts that wait for an answer.
fn calls(engine: &Engine, form: &Value) -> Vec<String> {
    let state = engine.snapshot();
    let mut facts = Vec::new();
    for (calls, form) in state.register.calls.iter().zip(list(&form["register"]["calls"])) {
        let answer = answered(calls.answered_at(), calls.answered_by());
        let (id, since) = (calls.id, clock(calls.since));
        let name = if calls.of_low().is_some() {
            let very_low = shown(time(&form["reason"]["low"]["very_low"]));
            facts.push(format!("call low #{id} since {since} {answer}, very low from {very_low}"));
            "low"
        } else {
            facts.push(format!("waits {} #{id} since {since} {answer}", calls.condition.name()));
            calls.condition.name()
        };
        facts.extend(people("called for", name, &calls.called));
        facts.extend(people("told of", name, &calls.informed));
    }
    facts
}

fn held(what: &str, ring: &Value) -> String {
    let (decision, at) = (&ring["decision"], shown(time(&ring["at"])));
    let word = |key: &str| decision[key].as_str().unwrap().to_owned();
    format!("{what} {} {} #{} since {at}", word("what"), word("condition"), decision["id"])
}

fn silences_and_rings(engine: &Engine, form: &Value) -> Vec<String> {
    let state = engine.snapshot();
    let mute = |(one, form): (&recheck::engine::alert::quiet::Quiet, &Value)| {
        let withheld = if form["withheld"] == true { ", something withheld" } else { "" };
        format!("mute {} until {}{withheld}", one.condition.name(), clock(one.until))
    };
    let mut facts: Vec<String> = state.quiet.iter().zip(list(&form["quiet"])).map(mute).collect();
    facts.extend(list(&form["kept"]["rings"]).iter().map(|ring| held("held", ring)));
    facts.push(format!("held beside these {}", form["kept"]["more"]));
    facts.extend(list(&form["flood"]["rung"]).iter().map(|rung| held("rang lately", &rung["first"])));
    let open = &form["flood"]["open"];
    if !open.is_null() {
        let told = shown(time(&open["told"]));
        facts.push(format!("flood since {}, {} alerts, told {told}", shown(time(&open["first"]["at"])), open["count"]));
        facts.extend(list(&open["withheld"]["rings"]).iter().map(|ring| held("withheld in the flood", ring)));
    }
    facts
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn modes(engine: &Engine, form: &Value) -> Vec<String> {
    let modes = &engine.snapshot().modes;
    let mut facts = Vec::new();
    for one in &modes.running {
        let name = one.mode.name();
        facts.push(format!("mode {name} #{} since {} until {}", one.id, clock(one.since), clock(one.until)));
        facts.extend(one.after.map(|after| format!("mode {name} after until {}", clock(after))));
        facts.extend(one.look.map(|look| format!("mode {name} looks next {}", clock(look))));
        facts.extend(one.ketones.map(|at| format!("mode {name} asks for ketones {}", clock(at))));
    }
    if let Some(hold) = engine.snapshot().plan.driving() {
        facts.push(format!("hold driving #{} since {} until {}", hold.id, clock(hold.since), shown(hold.until())));
    }
    facts.extend(time(&form["modes"]["ketones"]).map(|at| format!("ketones noted {}", clock(at))));
    facts
}

fn sources(engine: &Engine, form: &Value) -> Vec<String> {
    let mut facts = Vec::new();
    for (number, source) in list(&form["sources"]).iter().enumerate() {
        if let Some(lost) = engine.snapshot().register.lost(SourceId(u16::try_from(number).unwrap())) {
            facts.push(format!(
                "lost source {number}: {} #{} since {} {}, told {}, spoken for by {}",
                lost.condition.name(),
                lost.id,
                clock(lost.since),
                seen(lost.is_acknowledged()),
                shown(lost.told_at),
                lost.part_of.map_or_else(|| "null".to_owned(), |id| id.to_string())
            ));
        }
        if source["grave"] == true {
            facts.push(format!("grave silence of source {number}"));
        }
        facts.push(format!("source {number} gave last {}", shown(time(&source["newest"]))));
        let session = &source["session"];
        facts.extend(time(&session["started"]).map(|at| format!("sensor of source {number} started {}", clock(at))));
        facts.extend(time(&session["stopped"]).map(|at| format!("sensor of source {number} stopped {}", clock(at))));
        let checks = list(&source["checks"]["checks"]).len();
        facts.extend((checks > 0).then(|| format!("compared with a meter {checks} times: source {number}")));
        let scan = &source["scan"];
        facts.extend(
            time(&scan["asked"]).map(|at| format!("scan of source {number} asked for {} #{}", clock(at), scan["id"])),
        );
        facts.extend(time(&scan["noted"]).map(|at| format!("scan of source {number} noted {}", clock(at))));
    }
    if let Some((value, at, _)) = engine.newest() {
        facts.push(format!("newest {} at {}", glucose(value), clock(at)));
    }
    facts
}

fn reminders(engine: &Engine, form: &Value) -> Vec<String> {
    let all = engine.snapshot().reminders.iter().zip(list(&form["reminders"]));
    all.map(|(one, form)| {
        let (every, only, wall) = (&form["every"], &form["only"], &form["wall"]);
        format!("reminder #{} {:?} due {}, wall {wall}, every {every}, only {only}", one.id, one.text, clock(one.due))
    })
    .collect()
}

/// What is remembered of what was, because something later depends on it.
fn what_was(engine: &Engine, form: &Value) -> Vec<String> {
    let state = engine.snapshot();
    let mut facts: Vec<String> = state.doses.taken().map(|at| format!("dose {}", clock(at))).collect();
    facts.extend(
        engine
            .switched_off()
            .iter()
            .map(|one| format!("off {} since {}, {:?}", one.off.condition.name(), clock(one.off.since), one.because)),
    );
    if let Some(at) = time(&form["meter"][0]) {
        facts.push(format!(
            "meter {} at {}",
            glucose(serde_json::from_value(form["meter"][1].clone()).unwrap()),
            clock(at)
        ));
    }
    if let Some(look) = state.plan.evening() {
        let treated = clock(look.treated.at);
        facts.push(format!("look in the small hours #{} after what was treated {treated}", look.id));
    }
    let meal = &form["meal"];
    if !meal.is_null() {
        let since = shown(time(&meal["since"]));
        facts.push(format!("rise followed since {since}, noticed {}, #{}", shown(time(&meal["noticed"])), meal["id"]));
    }
    let low = &form["last_low"];
    if !low.is_null() {
        let (since, last) = (shown(time(&low["since"])), shown(time(&low["last"])));
        facts.push(format!("last low {since} to {last}, over {}", shown(time(&low["over"]))));
    }
    facts.extend(time(&form["two_signals_last"]).map(|at| format!("two signals last seen {}", clock(at))));
    let late = list(&form["past"]).len();
    facts.extend((late > 0).then(|| format!("late readings {late}, not told yet")));
    let left_out = list(&form["left_out"]).iter();
    facts.extend(left_out.map(|one| format!("left out {} to {}", shown(time(&one[0])), shown(time(&one[1])))));
    facts.extend(form["last_rung"].as_str().map(|name| format!("rang most recently {name}")));
    facts.push(format!("numbers given so far {}", form["last_id"]));
    facts
}

/// Everything that falls due, and when.
fn checks(form: &Value) -> Vec<String> {
    let mut due: Vec<(i64, String)> = list(&form["plan"]["due"])
        .iter()
        .map(|entry| (entry[1].as_i64().unwrap(), format!("due {} at {}", due_name(&entry[0]), shown(time(&entry[1])))))
        .collect();
    due.sort();
    due.into_iter().map(|(_, fact)| fact).collect()
}

fn due_name(name: &Value) -> String {
    match name {
        Value::Object(one) => {
            let (name, inner) = one.iter().next().unwrap();
            format!("{name} {}", due_name(inner))
        }
        Value::String(name) => match name.as_str() {
            "low_check" => "low_look",
            "high_check" => "high_look",
            "evening_check" => "evening_look",
            "low_calls" => "chain",
            "other_calls" => "waiting",
            "unmute" => "quiet",
            name => name,
        }
        .to_owned(),
        other => other.to_string(),
    }
}
