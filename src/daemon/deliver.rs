//! Sends what is due, one message at a time on each channel, and writes down what came of it.

use super::clock::stopwatch;
use super::run::{Daemon, Heard};
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::Decision;
use crate::engine::event::Event;
use crate::outbox::health::summary;
use crate::outbox::message::Message;
use crate::outbox::outcome::Outcome;
use crate::outbox::plan::{self, Address, Order};
use crate::outbox::retry;
use crate::store;
use crate::store::queue::Due;

/// After the store could not be used, it is left alone for this long.
const STORE_RESTS_SECONDS: i64 = 1;

/// What came of a try, not yet written down.
pub(super) type Unwritten = (i64, Timestamp, Span, String, Option<u32>, retry::Next);

/// What came of one try.
#[derive(Debug)]
pub(super) struct Tried {
    channel: String,
    due: Due,
    outcome: Outcome,
    took: Span,
}

impl Daemon {
    /// Starts a try on every channel that is free and owed one.
    pub(super) fn deliver(&mut self) {
        let now = self.clock.now();
        if self.store_rests_until.is_some_and(|until| now < until) {
            return;
        }
        if let Err(error) = self.deliver_due(now) {
            // Not written is not sent: it would be an unmarked repeat after a crash. Tried again soon.
            tracing::error!(%error, "cannot use the outbox");
            self.store_rests_until = Some(now + Span::seconds(STORE_RESTS_SECONDS));
        }
    }

    fn deliver_due(&mut self, now: Timestamp) -> Result<(), store::Error> {
        // What came of tries that could not be written down when it came.
        while let Some((message, at, took, words, handle, next)) = self.unwritten.first().cloned() {
            self.store.tried(message, at, took, &words, handle, &next)?;
            self.unwritten.remove(0);
        }
        self.store.expire(now)?;
        for place in 0..self.channels.len() {
            let channel = self.channels[place].clone();
            let name = channel.name().to_owned();
            if self.in_flight.contains(&name) {
                continue;
            }
            let Some(due) = self.store.due(&name, now)? else { continue };
            self.store.trying(due.number)?;
            self.in_flight.insert(name.clone());
            let tried = self.tried_sender.clone();
            tokio::spawn(async move {
                let began = stopwatch();
                let outcome = channel.send(due.message.clone(), due.replaces).await;
                let took = Span::millis(i64::try_from(began.elapsed().as_millis()).unwrap_or(i64::MAX));
                // The loop that hears this ends only with the program.
                let _ = tried.send(Tried { channel: name, due, outcome, took });
            });
        }
        self.store_rests_until = None;
        Ok(())
    }

    /// When the next message falls due on a channel that is free.
    pub(super) fn next_due(&self) -> Option<Timestamp> {
        let free = self.channels.iter().filter(|channel| !self.in_flight.contains(channel.name()));
        let due = free.filter_map(|channel| self.store.next_due(channel.name()).ok().flatten()).min();
        self.store_rests_until.max(due.filter(|_| self.store_rests_until.is_none()))
    }

    /// Takes in what came of a try.
    pub(super) fn tried(&mut self, tried: Tried) -> Option<Event> {
        let now = self.clock.now();
        self.in_flight.remove(&tried.channel);
        let Tried { channel, due, outcome, took } = tried;
        let next = retry::next(&outcome, due.tries + 1, now, due.message.expires);
        let (words, handle) = match &outcome {
            Outcome::Accepted { handle } => ("accepted".to_owned(), *handle),
            Outcome::Failed { words, .. } | Outcome::Absent { words } | Outcome::Refused { words } => {
                (words.clone(), None)
            }
        };
        tracing::info!(%channel, title = %due.message.title, took_ms = took.as_millis(), outcome = %words, "tried");
        if let Err(error) = self.store.tried(due.number, now, took, &words, handle, &next) {
            tracing::error!(%error, "cannot write down a try yet");
            self.unwritten.push((due.number, now, took, words, handle, next));
        }
        if matches!(outcome, Outcome::Accepted { .. }) {
            self.hear(Heard::Delivered { channel: channel.clone(), title: due.message.title.clone() });
            if let Err(error) = self.store.hasten(&channel, now) {
                tracing::error!(%error, "cannot hasten what was put off");
            }
            self.tell_missed(&channel, now);
        }
        self.learn_health(&channel, &outcome)
    }

    /// Learns how a channel is; an event when the engine should know.
    pub(super) fn learn_health(&mut self, channel: &str, outcome: &Outcome) -> Option<Event> {
        let health = self.health.iter_mut().find(|health| health.channel == channel)?;
        health.learn(outcome);
        let failure = match outcome {
            Outcome::Accepted { .. } => None,
            Outcome::Failed { words, .. } | Outcome::Absent { words } | Outcome::Refused { words } => {
                Some(words.as_str())
            }
        };
        if let Err(error) = self.store.channel_tried(channel, self.clock.now(), failure) {
            tracing::error!(%error, "cannot write down how a channel is");
        }
        let now = summary(&self.health);
        // Told when it differs from what the engine holds, which may be from before a restart.
        let open = self.engine.snapshot().channels_fail();
        let trouble = (now.working == 0 || !now.failing.is_empty()).then_some(now.working == 0);
        let news = match (open, trouble) {
            (Some(none_works), Some(none_works_now)) => !none_works && none_works_now,
            (open, trouble) => open.is_some() != trouble.is_some(),
        };
        news.then_some(Event::Channels { working: now.working, failing: now.failing })
    }

    fn tell_missed(&mut self, channel: &str, now: Timestamp) {
        let key = format!("{}-missed-{}-{channel}", self.addresses.life, now.millis());
        let (of, policy) = (self.addresses.of(channel), self.engine.policy());
        let told = self.store.tell_missed(channel, |titles| plan::missed(channel, of, titles, key, policy, now));
        if let Err(error) = told {
            tracing::error!(%error, "cannot tell what was missed");
        }
    }

    /// The store cannot be written: what rings is sent at once, unsaved, and the failure with it.
    pub(super) fn send_unsaved(&mut self, decisions: &[Decision], now: Timestamp, error: &str) {
        let mut messages: Vec<Message> = Vec::new();
        if !self.unsaved {
            self.unsaved = true;
            messages.extend(self.words_of_trouble(
                "Cannot save; alerts go on unsaved",
                &format!("{error}. Free some space, or check the disk."),
                now,
            ));
        }
        for (place, decision) in decisions.iter().enumerate() {
            let number = -now.millis() - i64::try_from(place).unwrap_or(0);
            if let Some(Order::Send(more)) = plan::plan(decision, number, &self.addresses, self.engine.policy(), now) {
                messages.extend(more);
            }
        }
        for message in messages {
            let Some(channel) = self.channels.iter().find(|channel| channel.name() == message.channel).cloned() else {
                continue;
            };
            tokio::spawn(async move {
                let title = message.title.clone();
                let outcome = channel.send(message, None).await;
                tracing::warn!(%title, ?outcome, "sent unsaved");
            });
        }
    }

    /// A message about the alerting itself, by every channel of the wearer: others could do nothing about it.
    pub(super) fn words_of_trouble(&self, title: &str, body: &str, now: Timestamp) -> Vec<Message> {
        let wearers = self.addresses.channels.iter().filter(|address| address.of.is_wearer());
        wearers
            .map(|Address { name, .. }| {
                let key = format!("{}-trouble-{}-{name}", self.addresses.life, now.millis());
                plan::trouble(name, key, title, body, &self.addresses, self.engine.policy(), now)
            })
            .collect()
    }
}
