//! What the wearer is answered when they say something: what was understood, or what is still asked.

use super::text::{Said, capital};
use super::{Voice, mode};
use crate::domain::change::{NotChanged, WhichLine, treated};
use crate::domain::diary::{Kind, Note};
use crate::domain::time::Timestamp;
use crate::domain::written::{Entry, Written};
use crate::engine::effect::{Condition, Decision, Side, What};
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;
use crate::engine::two_signals::Trust;

/// The answer where nothing follows.
const NOTED: &str = "Noted.";

/// An answer: accepted, or a question back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// It asks, and is said before anything else.
    pub first: bool,
    /// Was it taken in?
    pub accepted: bool,
    /// The words.
    pub words: String,
}

/// The same to a diary line: what was noted is said first, because words and amounts are easily mistaken.
#[must_use]
pub fn to_note(note: &Note, answer: &Answer, policy: &Policy, now: Timestamp) -> String {
    if matches!(note.kind, Kind::SensorStart(_) | Kind::SensorStop(_)) {
        // Its answer says it already.
        return answer.words.clone();
    }
    let noted = format!("Noted: {}.", line_of(note, Voice::new(policy, now)));
    match (answer.words.as_str(), answer.first) {
        (NOTED, _) => noted,
        (words, true) => format!("{words}\n{noted}"),
        (words, false) => format!("{noted}\n{words}"),
    }
}

/// The same to a change of the diary: what it says now, what it said, and what follows from that.
#[must_use]
pub fn to_change(
    number: i64,
    was: Option<&Note>,
    is: Option<&Note>,
    answers: &[Answer],
    policy: &Policy,
    now: Timestamp,
) -> Answer {
    let told = |note: &Note| line_of(note, Voice::new(policy, now));
    let words = match (was, is) {
        (Some(was), Some(is)) => format!("Line {number} now: {}.\nIt was: {}.", told(is), told(was)),
        (Some(was), None) => {
            format!("Deleted line {number}: {}.\n`recheck diary restore {number}` brings it back.", told(was))
        }
        (None, Some(is)) => format!("Line {number} counts again: {}.", told(is)),
        (None, None) => String::new(),
    };
    let follows = answers.iter().map(|answer| answer.words.as_str()).filter(|words| *words != NOTED);
    let words: Vec<&str> = std::iter::once(words.as_str()).chain(follows).collect();
    Answer { first: false, accepted: true, words: words.join("\n") }
}

/// A line of the diary, as it was understood: `insulin 4 U supper, at 14:05`.
#[must_use]
pub fn line_of(note: &Note, voice: Voice) -> String {
    format!("{}, at {}", what_of(note), voice.clock(note.at))
}

/// The same without its time.
#[must_use]
pub fn what_of(note: &Note) -> String {
    let what = match treated(note) {
        Some(which) => Entry::Treated(which),
        None => Entry::Noted { kind: note.kind.clone(), words: note.words.clone() },
    };
    Written { at: note.at, what }.to_string()
}

/// Why a line of the diary is not changed.
#[must_use]
pub fn not_changed(which: WhichLine, not: NotChanged) -> String {
    match not {
        NotChanged::NoSuchLine => format!("The diary has no line {which}. `recheck diary` lists them."),
        NotChanged::IsDeleted => format!("Line {which} is deleted. `recheck diary restore {which}` brings it back."),
        NotChanged::NotDeleted => format!("Line {which} is not deleted: there is nothing to bring back."),
        NotChanged::SaysSo => format!("Line {which} says that already."),
        NotChanged::OtherSaysSo(other) => {
            format!(
                "Line {other} says that already. Two lines that agree are one: delete one, or give one other words."
            )
        }
        NotChanged::InFuture => "That would be in the future.".to_owned(),
    }
}

/// The answer in a decision, if it is one.
#[must_use]
pub fn answer(decision: &Decision, policy: &Policy, now: Timestamp) -> Answer {
    let voice = Voice::new(policy, now);
    let yes = |words: String| Answer { first: false, accepted: true, words };
    let no = |words: String| Answer { first: false, accepted: false, words };
    if let Some(answer) = of_quiet(&decision.reason, voice).or_else(|| of_reminders(&decision.reason, voice)) {
        return answer;
    }
    let asked = super::asked::answer(&decision.reason, voice);
    if let Some(answer) = asked.or_else(|| super::watched::answer(&decision.reason, policy, voice)) {
        return answer;
    }
    if let Reason::Mode { said } = &decision.reason {
        return mode::answer(said, decision, policy, now);
    }
    if let Reason::Ketones { said } = &decision.reason {
        return super::ketones::answer(said, &Said { voice, decision, policy });
    }
    if let Some(words) = super::meter::answer(&decision.reason, policy, voice) {
        return yes(words);
    }
    if let Reason::Compared(compared) = &decision.reason {
        return yes(super::compare::answer(compared, voice));
    }
    match &decision.reason {
        Reason::Stacked { .. } => yes(super::insulin::stacked(&decision.reason, policy, voice)),
        Reason::LooksPlanned { side, treated, looks, night_rule } => {
            let what = match side {
                Side::High => "High",
                Side::Low => "Low",
            };
            let of = treated.alert_since.map_or_else(String::new, |since| format!(" of {}", voice.clock(since)));
            let at = voice.clock(treated.at);
            let looks: Vec<String> = looks.iter().map(|look| voice.clock(*look)).collect();
            let looks = match (looks.is_empty(), side) {
                (true, _) => "looking now".to_owned(),
                (false, Side::Low) => {
                    format!("looks at {}, and every {} until it is back", looks.join(", "), policy.recheck.low_look)
                }
                (false, Side::High) => format!("looks at {}", looks.join(", ")),
            };
            let night = if *night_rule {
                format!(
                    "\nBy night, and in quiet hours, a look rings only above {} and not falling, or when falling fast.",
                    voice.limit(policy.levels.very_high.limit)
                )
            } else {
                String::new()
            };
            yes(format!("{what}{of}, {} {at}: {looks}{night}", treated.told.words().to_lowercase()))
        }
        Reason::WhichOne { open } if open.is_empty() => {
            no("No alert is open. Say what was treated: `recheck treated high` or `recheck treated low`.".to_owned())
        }
        Reason::WhichOne { open } => {
            let lines: Vec<String> = open
                .iter()
                .map(|open| {
                    format!(
                        "  recheck treated {:<4} {} since {}",
                        open.id.to_string(),
                        open.condition.name(),
                        voice.clock(open.since)
                    )
                })
                .collect();
            no(format!("Several alerts are open. Which one was treated?\n{}", lines.join("\n")))
        }
        Reason::NoLongerTreated { side, since, next } => yes(no_longer_treated(*side, *since, *next, voice)),
        Reason::NoSuchAlert { id } => no(format!("No open alert has the number {id}. `recheck status` lists them.")),
        Reason::Trusts { trust: None } => yes("All readings count.".to_owned()),
        Reason::Trusts { trust: Some(Trust::Source(source)) } => {
            let name = policy.sources.get(usize::from(source.0)).map_or("", |source| source.name.as_str());
            yes(format!(
                "Only {name} counts. The others are kept as history. If it falls silent, or with `recheck trust all`, all count again."
            ))
        }
        Reason::Trusts { trust: Some(Trust::Signal { ours, other, .. }) } => yes(format!(
            "The signal at {} counts, the one at {} does not. When they meet, or one of them ends, or with `recheck trust all`, all count again.",
            voice.value(*ours),
            voice.value(*other)
        )),
        Reason::NothingToChoose => no("The readings do not alternate between two signals now.".to_owned()),
        Reason::SensorStarted { .. } | Reason::SensorOff { .. } => yes(of_sensor(&decision.reason, voice)),
        Reason::NoSuchSource { names } => no(format!("There is no such source. There are: {}.", names.join(", "))),
        Reason::NoSuchPerson { names } if names.is_empty() => {
            no("The settings name nobody beside you. Without --by it is you who has seen it.".to_owned())
        }
        Reason::NoSuchPerson { names } => no(format!("There is no such person. There are: {}.", names.join(", "))),
        Reason::ChildSeen => {
            yes("Seen. It quietens nothing: a carer answers with `recheck seen --by NAME`, or say `recheck treated`."
                .to_owned())
        }
        Reason::MarkedSeen { ids } if ids.is_empty() => yes("No alert is open.".to_owned()),
        Reason::MarkedSeen { ids } => {
            let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
            yes(format!("Seen: {}. The re-checks go on.", ids.join(", ")))
        }
        _ => yes(NOTED.to_owned()),
    }
}

/// What is answered to a sensor that is put on, or taken off.
fn of_sensor(reason: &Reason, voice: Voice) -> String {
    match reason {
        Reason::SensorStarted { at, until, end, asks } => {
            let end = end.map_or_else(String::new, |end| {
                format!(" It ends {}; you are told the evening before.", voice.clock(end))
            });
            let ask = if *asks {
                " How long until its first value? See what came with it, and set warm_up of its source."
            } else {
                ""
            };
            format!(
                "Sensor started {}. Its silence is no alert until {}. Values of its first day carry a doubt: check with a meter.{end}{ask}",
                voice.clock(*at),
                voice.clock(*until)
            )
        }
        Reason::SensorOff { until } => format!(
            "Sensor off. Nothing is watched until a reading comes; after {} its silence is an alert again.",
            voice.clock(*until)
        ),
        _ => NOTED.to_owned(),
    }
}

/// The answer in the decisions of a turn, if there is one: one word may have several.
#[must_use]
pub fn whole_answer(decisions: &[Decision], policy: &Policy, now: Timestamp) -> Option<Answer> {
    let all = decisions.iter().filter(|decision| decision.what == What::Answer);
    let all: Vec<Answer> = all.map(|decision| answer(decision, policy, now)).collect();
    (!all.is_empty()).then(|| together(&all))
}

/// All that is answered to one word, in one; that it was noted goes without saying where more is said.
#[must_use]
pub fn together(all: &[Answer]) -> Answer {
    let accepted = all.iter().all(|answer| answer.accepted);
    let first = all.iter().any(|answer| answer.first);
    let more: Vec<&str> = all.iter().map(|answer| answer.words.as_str()).filter(|words| *words != NOTED).collect();
    Answer { first, accepted, words: if more.is_empty() { NOTED.to_owned() } else { more.join("\n") } }
}

/// What becomes of a high or a low that was treated by a line that is no more.
fn no_longer_treated(side: Side, since: Option<Timestamp>, next: Option<Timestamp>, voice: Voice) -> String {
    let what = if side == Side::High { "high" } else { "low" };
    match (since, next, side) {
        (None, _, _) => format!("No look at a {what} hangs on it any more."),
        (Some(since), Some(next), Side::High) => format!(
            "The high of {} is not marked as treated now. If it stays, you are asked about it at {}.",
            voice.clock(since),
            voice.clock(next)
        ),
        (Some(since), Some(next), Side::Low) => format!(
            "The low of {} is not marked as treated now. If nobody answers it, it rings again at {}.",
            voice.clock(since),
            voice.clock(next)
        ),
        (Some(since), None, _) => format!("The {what} of {} is not marked as treated now.", voice.clock(since)),
    }
}

/// What rings while a condition is muted: what the mute does not reach, the calls for what nobody answers among it.
pub(super) const fn rings_all_the_same(condition: Condition) -> &'static str {
    match condition {
        Condition::VeryLow => {
            "its first ring, one every 15 min while it lasts, its checks, and calls when nobody answers"
        }
        Condition::Low => "its checks, very low, and the ring and the calls when nobody answers",
        Condition::RecheckLow => "the low itself, very low, and the ring and the calls when nobody answers",
        Condition::High | Condition::VeryHigh => "its checks, and everything else",
        Condition::RecheckHigh => "a word every four hours at the very high limit or above, and everything else",
        Condition::Gap | Condition::SourceFailed | Condition::TwoSignals => {
            "calls to others when nobody answers, and everything else"
        }
        _ => "everything else, and what is graver",
    }
}

/// Answers about limited silence.
fn of_quiet(reason: &Reason, voice: Voice) -> Option<Answer> {
    let (accepted, words) = match reason {
        Reason::QuietUntil { condition, until, capped } => {
            let capped = capped.map_or_else(String::new, |most| format!(" {most} is the longest for it."));
            let (name, until) = (capital(&condition.name().replace('_', " ")), voice.clock(*until));
            let others = rings_all_the_same(*condition);
            (true, format!("{name} does not ring until {until}.{capped} All the same ring: {others}."))
        }
        Reason::QuietWhat { last } => {
            let last = match last {
                Some(last) => format!("{} rang last; name it to have it quiet", last.name()),
                None => "Nothing has rung yet".to_owned(),
            };
            (false, format!("{last}: recheck quiet 30m CONDITION."))
        }
        Reason::QuietOff { conditions } if conditions.is_empty() => (true, "Nothing was quiet.".to_owned()),
        Reason::QuietOff { conditions } => {
            let names: Vec<&str> = conditions.iter().map(|condition| condition.name()).collect();
            (true, format!("These ring again: {}.", names.join(", ")))
        }
        _ => return None,
    };
    Some(Answer { first: false, accepted, words })
}

/// Answers about the wearer's own reminders.
fn of_reminders(reason: &Reason, voice: Voice) -> Option<Answer> {
    let (accepted, words) = match reason {
        Reason::ReminderSet { reminder } => {
            (true, format!("Reminder {}, {}", reminder.id, super::reminder::reminder(reminder, voice)))
        }
        Reason::RemindersCancelled { ids } if ids.is_empty() => (true, "There are no reminders.".to_owned()),
        Reason::RemindersCancelled { ids } => {
            let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
            (true, format!("Cancelled: {}.", ids.join(", ")))
        }
        Reason::NoSuchReminder { id } => {
            (false, format!("No reminder has the number {id}. `recheck remind` lists them."))
        }
        Reason::TooManyReminders { most } => {
            (false, format!("There are {most} reminders, and that is the most. `recheck remind cancel` ends one."))
        }
        _ => return None,
    };
    Some(Answer { first: false, accepted, words })
}
