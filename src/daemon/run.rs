//! The loop. It reads the clock once a turn, hands what happened to the engine, writes the whole turn to
//! the store, and only then sends. It sleeps until the next deadline or the longest nap.

use super::alive::{self, Lock};
use super::answers::{Taken, failed_inside, treatment};
use super::clock::{Clock, Happened};
use super::control::Ear;
use super::deliver::{Tried, Unwritten};
use crate::channels::{Channel, Click};
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::Engine;
use crate::engine::effect::Decision;
use crate::engine::event::{Cause, Event};
use crate::intake::Incoming;
use crate::intake::folder::Wake;
use crate::outbox::health::Health;
use crate::outbox::plan::Addresses;
use crate::store::commit::{Answered, Intake, Turn, Written};
use crate::store::{self, Store};
use crate::wording::{Voice, reason};
use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::Sender;
use std::time::Duration;
use tokio::sync::mpsc;

/// The longest nap: a computer that slept is noticed this soon after it woke.
pub(super) const NAP: Duration = Duration::from_secs(30);

/// How often the store is told that the program is alive when nothing else is written.
const ALIVE_EVERY_SECONDS: i64 = 60;

/// A clock set forward this soon after the start was wrong before.
const CLOCK_FOUND_MIN: i64 = 10;

/// The first look at a folder is waited for this long: it may lie on a disk that hangs.
const FIRST_LOOK_MAX_MIN: i64 = 2;

/// A stop waits this long for tries under way.
const STOP_MAX: Duration = Duration::from_secs(5);

/// What a listener hears.
#[derive(Debug, Clone, PartialEq)]
pub enum Heard {
    /// New readings were taken in.
    Readings(Vec<Reading>),
    /// Something was decided.
    Decided(Timestamp, Box<Decision>),
    /// A message was accepted by a channel.
    Delivered {
        /// The channel.
        channel: String,
        /// The title.
        title: String,
    },
}

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stopped {
    /// It was asked to.
    InOrder,
    /// Standard input ended; nothing is watched any more.
    InputEnded,
    /// The engine failed. The wearer was told; the event in hand will not be judged again.
    Broken,
}

/// The engine failed in a turn.
#[derive(Debug)]
pub(super) struct Broken;

/// What ended a nap.
enum Woke {
    Incoming(Incoming),
    Tried(Box<Tried>),
    Click(Click),
    Said,
    Slept,
}

/// What is known of standard input.
#[derive(Debug)]
pub(super) struct Stdin {
    /// Its source.
    pub(super) source: SourceId,
    /// Nothing about now has come from it yet.
    pub(super) past: bool,
    /// It has ended.
    pub(super) ended: bool,
}

/// The running program.
#[derive(Debug)]
pub struct Daemon {
    pub(super) clock: Clock,
    pub(super) wall: WallClock,
    pub(super) store: Store,
    pub(super) engine: Engine,
    pub(super) addresses: Addresses,
    pub(super) channels: Vec<Channel>,
    pub(super) health: Vec<Health>,
    pub(super) unwritten: Vec<Unwritten>,
    pub(super) store_rests_until: Option<Timestamp>,
    pub(super) went_back: Option<Timestamp>,
    pub(super) owes_going_back: bool,
    pub(super) handled_unsaved: BTreeSet<i64>,
    pub(super) refused_unsaved: BTreeSet<String>,
    pub(super) started: Timestamp,
    pub(super) in_flight: BTreeSet<String>,
    pub(super) tried_sender: mpsc::UnboundedSender<Tried>,
    pub(super) wakers: Vec<(SourceId, Sender<Wake>)>,
    pub(super) looking: usize,
    pub(super) stdin: Stdin,
    pub(super) unsaved: bool,
    /// Not all that was said is taken in yet.
    pub(super) more_said: bool,
    pub(super) listener: Option<mpsc::UnboundedSender<Heard>>,
    pub(super) before_judging: Option<fn(&Event)>,
    pub(super) nap: Duration,
    pub(super) alive_at: Timestamp,
    pub(super) ear: Ear,
    pub(super) tries: mpsc::UnboundedReceiver<Tried>,
    pub(super) clicks: mpsc::UnboundedReceiver<Click>,
    pub(super) queue: mpsc::Receiver<Incoming>,
    pub(super) _lock: Lock,
}

impl Daemon {
    /// Watches until asked to stop.
    pub async fn run(&mut self, stop: impl Future<Output = ()>) -> Stopped {
        tokio::pin!(stop);
        alive::ready();
        loop {
            self.deliver();
            alive::turned();
            let wait = self.wait();
            let woke = tokio::select! {
                () = &mut stop => return self.stop().await,
                Some(incoming) = self.queue.recv() => Woke::Incoming(incoming),
                Some(tried) = self.tries.recv() => Woke::Tried(Box::new(tried)),
                Some(click) = self.clicks.recv() => Woke::Click(click),
                () = self.ear.heard() => Woke::Said,
                () = tokio::time::sleep(wait) => Woke::Slept,
            };
            // A sleep is known before anything is judged after it.
            let turned = self.look_at_clock().and_then(|()| self.live_by_zone());
            let turned = turned.and_then(|()| match woke {
                Woke::Incoming(incoming) => self.incoming(incoming),
                Woke::Tried(tried) => match self.tried(*tried) {
                    Some(event) => self.turn(Some(&event), None, None),
                    None => Ok(()),
                },
                Woke::Click(click) => self.click(&click),
                Woke::Said => self.inbox(),
                Woke::Slept if self.more_said => self.inbox(),
                Woke::Slept => Ok(()),
            });
            let turned = turned.and_then(|()| self.time_passed());
            if turned.is_err() {
                self.say_broken().await;
                return Stopped::Broken;
            }
            if self.stdin.ended && self.queue.is_empty() {
                self.drain().await;
                return Stopped::InputEnded;
            }
        }
    }

    /// One turn of the engine, written whole before anything is sent.
    pub(super) fn turn(
        &mut self,
        event: Option<&Event>,
        intake: Option<&Intake>,
        taken: Option<Taken<'_>>,
    ) -> Result<(), Broken> {
        let now = self.clock.now();
        let mut next = self.engine.clone();
        let judged = catch_unwind(AssertUnwindSafe(|| {
            let Some(event) = event else { return Vec::new() };
            if let Some(look) = self.before_judging {
                look(event);
            }
            next.handle(event, now)
        }));
        let Ok(decisions) = judged else {
            tracing::error!(?event, "the engine failed on this event");
            // Rows are kept as history, a place moves on, a line counts as answered and what was due is given
            // up, so that a restart does not meet the same event again.
            let mut before = self.engine.clone();
            before.give_up_due(now);
            let answer = failed_inside();
            let failed = taken.map(|taken| taken.answered(&answer, None));
            let written = self.write(now, None, &before, &[], intake, failed);
            if let Err(error) = written {
                tracing::error!(%error, "cannot write down the event that failed");
            }
            return Err(Broken);
        };
        let voice = Voice::new(next.policy(), now);
        let answer = taken.map(|taken| taken.answer(&decisions, next.policy(), now));
        let treatment = event.and_then(|event| treatment(event, &decisions));
        let answered = taken.zip(answer.as_ref());
        let answered = answered.map(|(taken, answer)| taken.answered(answer, treatment.as_ref()));
        match self.write(now, event, &next, &decisions, intake, answered) {
            Ok(written) => {
                self.unsaved = false;
                self.take_down(written.withdrawn);
            }
            Err(error) => {
                tracing::error!(%error, "cannot save a turn");
                self.send_unsaved(&decisions, now, &error.to_string());
                self.handled_unsaved.extend(taken.map(|taken| taken.line));
                if intake.is_some() {
                    self.go_back(now);
                }
            }
        }
        self.engine = next;
        for decision in decisions {
            tracing::info!(
                id = decision.id.0,
                priority = decision.priority.name(),
                rings = decision.rings,
                "{}",
                reason::line(&decision, voice)
            );
            self.hear(Heard::Decided(now, Box::new(decision)));
        }
        Ok(())
    }

    /// Tells the listener, if there is one.
    pub(super) fn hear(&self, heard: Heard) {
        if let Some(listener) = &self.listener {
            // A listener that has gone does not matter to the alerts.
            let _ = listener.send(heard);
        }
    }

    fn write(
        &mut self,
        at: Timestamp,
        event: Option<&Event>,
        engine: &Engine,
        decisions: &[Decision],
        intake: Option<&Intake>,
        answer: Option<Answered<'_>>,
    ) -> Result<Written, store::Error> {
        let turn = Turn { at, event, state: engine.snapshot(), policy: engine.policy(), decisions, intake, answer };
        let written = self.store.commit(&turn, &self.addresses)?;
        self.alive_at = at;
        Ok(written)
    }

    /// Asks the clock what happened to time.
    fn look_at_clock(&mut self) -> Result<(), Broken> {
        match self.clock.look() {
            Happened::Nothing => {}
            Happened::Set(by) => {
                tracing::warn!(by = %by, "the computer's clock was set");
                let now = self.clock.now();
                let just_started = now - by - self.started < Span::minutes(CLOCK_FOUND_MIN);
                self.started = self.started + by;
                if just_started && by > Span::minutes(1) {
                    // A computer that starts with yesterday's clock finds the right one a little later: what
                    // was saved was saved by the right one, and the time between is time nobody watched.
                    let event = Event::Unwatched { from: now - by, to: now, cause: Cause::Stopped };
                    self.turn(Some(&event), None, None)?;
                } else {
                    self.turn(Some(&Event::ClockStepped { by }), None, None)?;
                    if let Err(error) = self.store.shift_messages(by) {
                        tracing::error!(%error, "cannot move waiting messages with the clock");
                    }
                }
            }
            Happened::Slept(from, to) => {
                self.turn(Some(&Event::Unwatched { from, to, cause: Cause::Slept }), None, None)?;
                for (_, waker) in &self.wakers {
                    let _ = waker.send(Wake::Changed);
                }
            }
        }
        Ok(())
    }

    /// Until every folder was looked at once, what is due waits, for a bounded time: the reading that it
    /// misses may be there.
    fn still_looking(&self) -> bool {
        self.looking > 0 && self.clock.now() - self.started < Span::minutes(FIRST_LOOK_MAX_MIN)
    }

    /// Gives the engine its tick when one is due.
    fn time_passed(&mut self) -> Result<(), Broken> {
        let now = self.clock.now();
        if !self.still_looking() && self.engine.next_deadline().is_some_and(|deadline| deadline <= now) {
            self.turn(Some(&Event::Tick), None, None)?;
        }
        if (now - self.alive_at) >= Span::seconds(ALIVE_EVERY_SECONDS) {
            self.alive_at = now;
            if self.owes_going_back {
                self.go_back(now);
            }
            // A word said just as we started may have woken nobody.
            self.inbox()?;
            if let Err(error) = self.store.alive(now, false) {
                tracing::error!(%error, "cannot save that I am alive");
            }
        }
        Ok(())
    }

    fn wait(&self) -> Duration {
        if self.more_said {
            return Duration::ZERO;
        }
        let deadline = self.engine.next_deadline().filter(|_| !self.still_looking());
        [deadline, self.next_due(), self.wall.next_change(self.clock.now())]
            .into_iter()
            .flatten()
            .map(|at| self.clock.until(at))
            .fold(self.nap, Duration::min)
    }

    fn take_down(&self, withdrawn: Vec<(String, u32)>) {
        for (name, handle) in withdrawn {
            if let Some(channel) = self.channels.iter().find(|channel| channel.name() == name).cloned() {
                tokio::spawn(async move { channel.withdraw(handle).await });
            }
        }
    }

    /// Takes down whatever is shown.
    pub async fn take_down_all(&self) {
        for channel in &self.channels {
            channel.withdraw_all().await;
        }
    }

    async fn stop(&mut self) -> Stopped {
        alive::stopping();
        for (_, waker) in &self.wakers {
            let _ = waker.send(Wake::Stop);
        }
        self.drain().await;
        if let Err(error) = self.store.alive(self.clock.now(), true) {
            tracing::error!(%error, "cannot save that I was stopped");
        }
        Stopped::InOrder
    }

    /// Sends what is due and waits for tries under way, for a bounded time.
    async fn drain(&mut self) {
        let drained = tokio::time::timeout(STOP_MAX, async {
            loop {
                self.deliver();
                if self.in_flight.is_empty() {
                    return;
                }
                if let Some(tried) = self.tries.recv().await {
                    self.tried(tried);
                }
            }
        });
        if drained.await.is_err() {
            tracing::warn!("stopped while messages were being tried; the next run sends them again, marked");
        }
    }

    async fn say_broken(&mut self) {
        let now = self.clock.now();
        let messages = self.words_of_trouble(
            "Alerts are not working. Use the sensor's own",
            "recheck failed inside and is starting again. Use your sensor's own display, and look at `recheck status`.",
            now,
        );
        for message in messages {
            if let Err(error) = self.store.add_message(&message) {
                tracing::error!(%error, "cannot save the word of trouble");
            }
        }
        self.drain().await;
    }
}
