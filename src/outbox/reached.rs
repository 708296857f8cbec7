//! Which decisions of one instant reach somebody, and which of them arrive as one message. Makes no words.

use super::plan::{Asks, asks};
use crate::engine::effect::{Audience, Decision, Id, What};

/// A message that is being made.
#[derive(Debug)]
struct Waiting {
    to: Audience,
    thread: Option<Id>,
    /// The places of its decisions.
    of: Vec<usize>,
}

/// Of the decisions of one instant, in their order, each with the place of the one whose text arrives; none where
/// nothing is sent. One person gets one message of a thread in an instant: the outbox lets a later one take the place of
/// one that is not sent yet, and takes back what is over before it is sent, but for what others are told.
#[must_use]
pub fn reached(decisions: &[&Decision]) -> Vec<Option<usize>> {
    let mut messages: Vec<Waiting> = Vec::new();
    for (place, decision) in decisions.iter().enumerate() {
        match asks(decision) {
            Asks::Nothing => {}
            Asks::Send(thread) => {
                let known = |one: &&mut Waiting| thread.is_some() && one.thread == thread && one.to == decision.to;
                match messages.iter_mut().find(known) {
                    Some(message) => message.of.push(place),
                    None => messages.push(Waiting { to: decision.to, thread, of: vec![place] }),
                }
            }
            Asks::Withdraw(thread) => messages.retain(|one| {
                let arrives = one.of.last().is_some_and(|last| decisions[*last].what == What::Told);
                one.thread != Some(thread) || arrives
            }),
        }
    }
    let mut all = vec![None; decisions.len()];
    for message in &messages {
        for place in &message.of {
            all[*place] = message.of.last().copied();
        }
    }
    all
}
