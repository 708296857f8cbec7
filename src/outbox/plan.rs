//! A decision becomes messages: one for each channel that is owed one.

use super::message::Message;
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Audience, Condition, Decision, Id, Priority, What};
use crate::engine::policy::{Policy, Ways};
use crate::engine::reason::Reason;
use crate::wording::mode::asks_for_meter;
use crate::wording::people;
use crate::wording::still_low::asks_for_prick;
use crate::wording::text::{Text, shortened, text};

/// Most missed titles told in one line.
const MISSED_TOLD_MAX: usize = 3;

/// What to do with the outbox after a decision.
#[derive(Debug, Clone, PartialEq)]
pub enum Order {
    /// Send these; older unsent ones of the same thread and channel are superseded.
    Send(Vec<Message>),
    /// The thread's alert is over: unsent ones are superseded, shown ones may be taken down.
    Withdraw(Id),
}

/// One channel, as far as it matters to whom a message goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    /// Its name.
    pub name: String,
    /// Whose it is.
    pub of: Audience,
    /// Kept for alerts that nobody answers.
    pub later: bool,
    /// Without values.
    pub discreet: bool,
}

/// Where messages go, and how they are marked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Addresses {
    /// The channels that are set up.
    pub channels: Vec<Address>,
    /// Put before every title: `DEMO` or `TRY`.
    pub mark: Option<&'static str>,
    /// Tells one installation's keys from another's.
    pub life: String,
}

/// What a decision asks for, before it is put into words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Asks {
    Nothing,
    /// A message, in its thread.
    Send(Option<Id>),
    Withdraw(Id),
}

pub(super) fn asks(decision: &Decision) -> Asks {
    let thread = thread(decision);
    if !decision.rings {
        return match (decision.what, thread) {
            // What was foreseen is there: the level goes on in its thread.
            (What::Ended, _) if matches!(decision.reason, Reason::CameTrue { .. }) => Asks::Nothing,
            (What::Ended, Some(thread)) => Asks::Withdraw(thread),
            (_, _) => Asks::Nothing,
        };
    }
    if matches!(decision.reason.first(), Reason::ChannelsFail { working: 0, .. }) {
        // No way is left to say so; one that works again would be saying what is no longer true. The log
        // and `status` say it.
        return Asks::Nothing;
    }
    Asks::Send(thread)
}

/// What a decision asks of the outbox. `number` is the decision's number in the store.
#[must_use]
pub fn plan(decision: &Decision, number: i64, addresses: &Addresses, policy: &Policy, now: Timestamp) -> Option<Order> {
    let thread = match asks(decision) {
        Asks::Nothing => return None,
        Asks::Withdraw(thread) => return Some(Order::Withdraw(thread)),
        Asks::Send(thread) => thread,
    };
    let said = text(decision, policy, now);
    let unsaid = discreet(decision, policy, now);
    let hidden = Decision {
        glucose: None,
        rate: None,
        doubt: None,
        after_low: None,
        mode: None,
        also: Vec::new(),
        ..decision.clone()
    };
    let messages = addresses
        .channels
        .iter()
        .filter(|address| address.of == decision.to && (!address.later || goes_by_all(decision)))
        .map(|address| Message {
            key: format!("{}-{number}-{}", addresses.life, address.name),
            channel: address.name.clone(),
            thread,
            title: marked(addresses.mark, if address.discreet { &unsaid.title } else { &said.title }),
            body: if address.discreet { unsaid.body.clone() } else { said.body.clone() },
            decision: Some(if address.discreet { hidden.clone() } else { decision.clone() }),
            what: decision.what.name().to_owned(),
            priority: decision.priority,
            decided: now,
            expires: now + lifetime(decision.priority),
            unit: policy.unit,
            zone: policy.zone,
            may_repeat: false,
        })
        .collect();
    Some(Order::Send(messages))
}

/// Does it go by the ways kept for later too? That a way fails must not go by that way alone; others are called late
/// enough, and are told by the same ways what came of it.
fn goes_by_all(decision: &Decision) -> bool {
    if decision.also.iter().any(goes_by_all) {
        return true;
    }
    match (decision.what, &decision.reason) {
        (_, Reason::FloodTold { held, .. } | Reason::FloodOver { held, .. }) => {
            held.iter().any(|held| goes_by_all(&held.decision))
        }
        (What::Escalated | What::Called, reason) => reason.ways() == Ways::All,
        (What::Told, _) if !decision.to.is_wearer() => true,
        (_, _) => decision.condition == Condition::ChannelFailed,
    }
}

/// Where the values are, for somebody who sees none.
const LOOK: &str = "Values are hidden here. Look at the sensor's own display.";

/// A text without a value.
fn discreet(decision: &Decision, policy: &Policy, now: Timestamp) -> Text {
    if let Some(said) = people::discreet(decision, policy, now) {
        return said;
    }
    let title = match decision.condition {
        Condition::Low if asks_for_meter(decision) => "Check with a meter",
        Condition::Mode if decision.what == What::Prompt => "Check, and measure",
        Condition::RecheckLow if asks_for_prick(decision) => "Do a finger-prick",
        condition => condition.row().discreet,
    };
    Text { title: title.to_owned(), body: LOOK.to_owned() }
}

/// A trial for one channel.
#[must_use]
pub fn trial(channel: &str, key: String, policy: &Policy, now: Timestamp) -> Message {
    Message {
        key,
        channel: channel.to_owned(),
        thread: None,
        title: format!("TRY {}: this way works", policy.zone.clock(now)),
        body: "You asked for a trial. No alert is behind it.".to_owned(),
        decision: None,
        what: "trial".to_owned(),
        priority: Priority::Information,
        decided: now,
        expires: now + Span::minutes(1),
        unit: policy.unit,
        zone: policy.zone,
        may_repeat: false,
    }
}

/// One line for what expired while a channel was down, for whoever that channel reaches.
#[must_use]
pub fn missed(channel: &str, of: Audience, titles: &[String], key: String, policy: &Policy, now: Timestamp) -> Message {
    // What was to be done then is no longer what is to be done: only the fact is told.
    let fact = |title: &String| title.split(". ").next().unwrap_or_default().to_owned();
    let told: Vec<String> = titles.iter().rev().take(MISSED_TOLD_MAX).map(fact).collect();
    let more = titles.len().saturating_sub(told.len());
    let more = if more > 0 { format!("; and {more} more") } else { String::new() };
    let now_true = if of.is_wearer() {
        "What is true now is in `recheck status`.".to_owned()
    } else {
        format!("Ask {} what is true now.", policy.name.as_deref().unwrap_or("the wearer"))
    };
    Message {
        what: "missed".to_owned(),
        expires: now + lifetime(Priority::Information),
        title: shortened(&format!("While this way was down: {}", told.first().map_or("", String::as_str))),
        body: format!("These did not reach you here in time: {}{more}. {now_true}", told.join("; ")),
        ..trial(channel, key, policy, now)
    }
}

/// A message about the alerting itself: it is grave, and it waits for a network as other alerts do.
#[must_use]
pub fn trouble(
    channel: &str,
    key: String,
    title: &str,
    body: &str,
    addresses: &Addresses,
    policy: &Policy,
    now: Timestamp,
) -> Message {
    Message {
        what: "trouble".to_owned(),
        priority: Priority::High,
        expires: now + lifetime(Priority::Medium),
        title: marked(addresses.mark, title),
        body: body.to_owned(),
        ..trial(channel, key, policy, now)
    }
}

impl Addresses {
    /// Whose a channel is.
    #[must_use]
    pub fn of(&self, channel: &str) -> Audience {
        self.channels.iter().find(|address| address.name == channel).map_or(Audience::Wearer, |address| address.of)
    }
}

/// A title with its mark.
#[must_use]
pub fn marked(mark: Option<&str>, title: &str) -> String {
    mark.map_or_else(|| title.to_owned(), |mark| shortened(&format!("{mark} {title}")))
}

/// Messages about one excursion of glucose, or one lost source, replace each other. That somebody else has it takes
/// nothing off the wearer's own screen.
fn thread(decision: &Decision) -> Option<Id> {
    if decision.to.is_wearer() && matches!(decision.reason, Reason::Answered { .. }) {
        return None;
    }
    let id = decision.part_of.unwrap_or(decision.id);
    (id != Id(0)).then_some(id)
}

/// How long a message is of help.
const fn lifetime(priority: Priority) -> Span {
    match priority {
        Priority::High => Span::minutes(30),
        Priority::Medium | Priority::Low => Span::minutes(60),
        Priority::Information => Span::minutes(120),
    }
}
