//! Why, in one sentence: for `why`, the log and the timeline.

use super::Voice;
use super::reason_calls::of_calls;
use crate::engine::effect::{Decision, Side, What};
use crate::engine::event::Cause;
use crate::engine::reason::{Call, Reason};
use crate::engine::two_signals::Trust;

/// One line: what was decided, on what value, and why.
#[must_use]
pub fn line(decision: &Decision, voice: Voice) -> String {
    let about = match (decision.glucose, decision.reading_at) {
        // What is answered depends on what was said; the value beside it explains nothing.
        _ if decision.what == What::Answer => String::new(),
        (Some(glucose), Some(at)) => format!(" on {} at {}", voice.value_with_unit(glucose), voice.clock(at)),
        _ => String::new(),
    };
    let rate = decision.rate.filter(|_| !about.is_empty());
    let rate = rate.map_or_else(String::new, |rate| format!(" ({})", rate.direction().words()));
    let verb = match decision.what {
        What::Look => "looked",
        What::Prompt => "asked",
        What::Answer => "answered",
        other => other.name(),
    };
    let rebound = decision.after_low.filter(|_| !matches!(decision.reason, Reason::AfterLow { .. }));
    let rebound =
        rebound.map_or_else(String::new, |low| format!("; may be a rebound after the low of {}", voice.clock(low)));
    format!("{} {verb}{about}{rate}: {}{rebound}", decision.condition.name(), sentence(&decision.reason, voice))
}

/// The reason alone.
#[must_use]
#[expect(clippy::too_many_lines, reason = "a table: one row for each reason")]
pub fn sentence(reason: &Reason, voice: Voice) -> String {
    match reason {
        Reason::ComingDown { .. }
        | Reason::TooEarly { .. }
        | Reason::NotComingDown { .. }
        | Reason::HighStays(_)
        | Reason::FallingTooFast { .. }
        | Reason::EveningLook { .. }
        | Reason::Stacked { .. }
        | Reason::NothingToAsk { .. }
        | Reason::AfterLow { .. }
        | Reason::LowNobodyMarked { .. }
        | Reason::StillLow { .. }
        | Reason::NoFreshReading { .. }
        | Reason::MeterAgain { .. }
        | Reason::MeterDisagrees { .. }
        | Reason::PrickAgain { .. }
        | Reason::SecondDecides { .. }
        | Reason::LowByMeter { .. }
        | Reason::Back { .. }
        | Reason::StillHigh { .. }
        | Reason::NightOver { .. }
        | Reason::QuietHoursOver { .. } => super::looks::sentence(reason, voice),
        Reason::Landing { .. } => super::landing::sentence(reason, voice),
        Reason::UnnotedRise { .. } => super::rise::sentence(reason, voice),
        Reason::Compared(compared) => super::compare::sentence(compared, voice),
        Reason::Likely(_)
        | Reason::CameTrue { .. }
        | Reason::DidNotCome { .. }
        | Reason::FoodNoted { .. }
        | Reason::StaysBack { .. }
        | Reason::SlipsBack { .. }
        | Reason::RangLately { .. }
        | Reason::LookComes { .. } => super::forecast::sentence(reason, voice),
        Reason::BeyondLimit { .. }
        | Reason::NewEpisode { .. }
        | Reason::StillBeyond { .. }
        | Reason::NoLongerWorse { .. }
        | Reason::WorseActive { .. }
        | Reason::Covered { .. }
        | Reason::BackWithin { .. }
        | Reason::ConditionGone => super::level_reason::sentence(reason, voice),
        Reason::NothingReached { .. }
        | Reason::OneCause { .. }
        | Reason::Arriving
        | Reason::Unreadable { .. }
        | Reason::Absurd { .. }
        | Reason::ChannelsFail { .. }
        | Reason::ChannelsWork
        | Reason::ChannelFlaps { .. }
        | Reason::Unwatched { .. } => of_sources(reason, voice),
        Reason::ClockAhead { .. }
        | Reason::ClockBehind { .. }
        | Reason::HistoryOnly { .. }
        | Reason::TwoSignals { .. }
        | Reason::OneSignal
        | Reason::Chosen
        | Reason::Trusts { .. }
        | Reason::NothingToChoose
        | Reason::AllCount
        | Reason::WrittenTwice { .. }
        | Reason::ScanDue { .. }
        | Reason::Scanned
        | Reason::Lost { .. }
        | Reason::WarmingUp { .. }
        | Reason::SensorStarted { .. }
        | Reason::SensorOff { .. }
        | Reason::SensorEnds { .. }
        | Reason::NoSuchSource { .. } => of_sensors(reason, voice),
        Reason::Night { .. }
        | Reason::QuietHours { .. }
        | Reason::Quiet { .. }
        | Reason::QuietUntil { .. }
        | Reason::QuietWhat { .. }
        | Reason::QuietOff { .. }
        | Reason::QuietOver { .. }
        | Reason::Morning { .. }
        | Reason::Digest { .. }
        | Reason::SaidWith { .. }
        | Reason::WhileLow
        | Reason::RangJustNow { .. }
        | Reason::Flood { .. }
        | Reason::FloodTold { .. }
        | Reason::FloodOver { .. }
        | Reason::SwitchedOff { .. } => super::waits::of_what_waits(reason, voice),
        Reason::Bedtime { evening } => super::bedtime::sentence(evening, voice),
        Reason::Unanswered { .. }
        | Reason::StillUnanswered { .. }
        | Reason::NotRecovering { .. }
        | Reason::StillCalled(_)
        | Reason::HowIsIt { .. }
        | Reason::ChildSeen
        | Reason::LowLasts { .. }
        | Reason::HighUnanswered { .. }
        | Reason::Answered { .. }
        | Reason::LowOver { .. }
        | Reason::NoLongerWatched { .. }
        | Reason::NoSuchPerson { .. } => of_calls(reason, voice),
        Reason::Past { .. }
        | Reason::LooksPlanned { .. }
        | Reason::WhichOne { .. }
        | Reason::NoSuchAlert { .. }
        | Reason::Noted
        | Reason::NoLongerTreated { .. }
        | Reason::MarkedSeen { .. }
        | Reason::DiaryLineRefused { .. }
        | Reason::DiaryLineAsks { .. } => of_what_was_said(reason, voice),
        Reason::SetNoted { .. }
        | Reason::NewSet { .. }
        | Reason::RapidForLong { .. }
        | Reason::MistakenLook { .. }
        | Reason::MistakenOver { .. }
        | Reason::KeptAnswered { .. } => super::watched::sentence(reason, voice),
        Reason::Meant { .. }
        | Reason::NothingInQuestion
        | Reason::LongActingWhileLow { .. }
        | Reason::TreatedBefore { .. } => super::asked::sentence(reason, voice),
        Reason::ReminderDue { .. }
        | Reason::ReminderUnseen { .. }
        | Reason::ReminderNotMet { .. }
        | Reason::ReminderSet { .. }
        | Reason::RemindersCancelled { .. }
        | Reason::NoSuchReminder { .. }
        | Reason::TooManyReminders { .. } => super::reminder::sentence(reason, voice),
        Reason::Mode { said } => super::mode::sentence(said, voice),
        Reason::Ketones { said } => super::ketones::sentence(said, voice),
    }
}

/// The same of silence, of rows that cannot be read, of ways that fail and of time without watching.
fn of_sources(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    match reason {
        Reason::NothingReached { since: Some(since), grave } => {
            let grave = if *grave { "; the last value was low or falling" } else { "" };
            format!("nothing reached me since {}{grave}", clock(*since))
        }
        Reason::NothingReached { since: None, .. } => "nothing has reached me since I started".to_owned(),
        Reason::OneCause { first } => {
            format!("another source was lost in the same minute, and its alert {first} speaks for this one")
        }
        Reason::Arriving => "readings arrive again".to_owned(),
        Reason::Unreadable { since, words } => {
            format!("rows cannot be read since {}: {words}", clock(*since))
        }
        Reason::Absurd { since, values } => {
            format!("{values} values in a row since {} cannot be glucose in this unit", clock(*since))
        }
        Reason::ChannelsFail { working, words } => {
            format!("ways to reach the wearer that work: {working}; that fail: {}", words.join("; "))
        }
        Reason::ChannelFlaps { times, since, .. } => {
            let since = since.map_or_else(String::new, |since| format!(" since {}", clock(since)));
            format!("a channel comes and goes: it failed {times} times{since}, which is told once an hour")
        }
        Reason::ChannelsWork => "every way to reach the wearer works".to_owned(),
        Reason::Unwatched { from, to, cause } => {
            let cause = match cause {
                Cause::Stopped => "stopped",
                Cause::Killed => "ended without being stopped",
                Cause::Slept => "the computer slept",
            };
            format!("not watching from {} to {}: {cause}", clock(*from), clock(*to))
        }
        other => other.word().replace('_', " "),
    }
}

/// The reasons of what is told once: of what was missed, of answers to what the wearer says, of what a diary brings.
fn of_what_was_said(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    match reason {
        Reason::Past { spans, more } => {
            format!("{} stretches in readings that came in late", spans.len() + more)
        }
        Reason::LooksPlanned { side, treated, looks, .. } => {
            let side = match side {
                Side::Low => "low",
                Side::High => "high",
            };
            let looks: Vec<String> = looks.iter().map(|look| clock(*look)).collect();
            format!(
                "{side} {} at {}, looks at {}",
                treated.told.words().to_lowercase(),
                clock(treated.at),
                looks.join(", ")
            )
        }
        Reason::WhichOne { open } => format!("{} open alerts could be meant", open.len()),
        Reason::NoSuchAlert { id } => format!("no open alert has the number {id}"),
        Reason::Noted => "noted, nothing follows from it".to_owned(),
        Reason::NoLongerTreated { next, .. } => {
            let next = next.map_or_else(String::new, |next| format!(", asked about again at {}", clock(next)));
            format!("the diary no longer says that it was treated{next}")
        }
        Reason::DiaryLineRefused { words, more: 0 } => format!("a diary line was not understood: {words}"),
        Reason::DiaryLineRefused { words, more } => {
            format!("{} diary lines were not understood, the first: {words}", more.saturating_add(1))
        }
        Reason::DiaryLineAsks { whence, at, open } => {
            format!("{whence} says treated at {}, {} open alerts could be meant", clock(*at), open.len())
        }
        Reason::MarkedSeen { ids } => format!("{} marked as seen", ids.len()),
        other => other.word().replace('_', " "),
    }
}

/// The same of sensors, sources and their signals.
fn of_sensors(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    match reason {
        Reason::ClockAhead { by } => format!("the source's clock is {by} ahead of this computer's"),
        Reason::ClockBehind { by } => {
            format!(
                "single readings come as they are made, each {by} late: the source's clock, zone or export is behind"
            )
        }
        Reason::HistoryOnly { late } => {
            format!("readings come {late} late or more, time after time: good for history, not for alerts")
        }
        Reason::TwoSignals { lower, higher, since } => format!(
            "readings go back and forth between {} and {} since {}",
            voice.value(*lower),
            voice.value(*higher),
            clock(*since)
        ),
        Reason::OneSignal => "no reading has gone back and forth for an hour".to_owned(),
        Reason::Chosen => "you chose which signal counts".to_owned(),
        Reason::Trusts { trust: None } => "all readings count".to_owned(),
        Reason::Trusts { trust: Some(Trust::Source(_)) } => "only one source counts".to_owned(),
        Reason::Trusts { trust: Some(Trust::Signal { ours, other, .. }) } => {
            format!("the signal at {} counts, the one at {} does not", voice.value(*ours), voice.value(*other))
        }
        Reason::NothingToChoose => "readings do not alternate between two signals".to_owned(),
        Reason::AllCount => {
            "the other signal has ended, or the chosen one fell silent: all readings count again".to_owned()
        }
        Reason::WrittenTwice { by } => format!("each value is written again {by} later; the second is left out"),
        Reason::ScanDue { call, last, full } => {
            let why = match call {
                Call::Waking => "you wake",
                Call::Bedtime => "you go to sleep",
                Call::Export => "the scan you noted has not been exported",
                Call::Soon => "the memory fills",
                Call::Last => "last call",
                Call::Full => "the memory is full",
            };
            format!("{why}; last scan {}, memory full {}", clock(*last), clock(*full))
        }
        Reason::Scanned => "the sensor was scanned".to_owned(),
        Reason::Lost { from, to } => {
            format!(
                "not read before the sensor's memory was full: {} from {} to {}",
                *to - *from,
                clock(*from),
                clock(*to)
            )
        }
        Reason::WarmingUp { until } => format!("a new sensor warms up until {}", clock(*until)),
        Reason::SensorStarted { at, until, end, .. } => {
            let end = end.map_or_else(String::new, |end| format!(", ends {}", clock(end)));
            format!("sensor started {}, warms up until {}{end}", clock(*at), clock(*until))
        }
        Reason::SensorOff { until } => format!("the sensor is off; its silence is no alert until {}", clock(*until)),
        Reason::SensorEnds { end } => format!("the sensor ends {}", clock(*end)),
        Reason::NoSuchSource { names } => format!("no such source; there are: {}", names.join(", ")),
        other => other.word().replace('_', " "),
    }
}
