//! The loop. It reads the clock once a turn, hands what happened to the engine, writes the whole turn to
//! the store, and only then sends. It sleeps until the next deadline or the longest nap.

use super::alive::{self, Lock};
use super::clock::{Clock, Happened};
use super::control::Ear;
use super::deliver::Tried;
use crate::channels::{Channel, Click};
use crate::config::{ChannelSettings, Settings};
use crate::domain::diary::Note;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Decision, What};
use crate::engine::event::{Cause, Event};
use crate::engine::policy::{Policy, SourceKind, SourcePolicy};
use crate::intake::folder::{Folder, Wake};
use crate::intake::stdin::Lines;
use crate::intake::{Incoming, QUEUE_MAX};
use crate::outbox::health::{Health, Summary};
use crate::outbox::outcome::Outcome;
use crate::outbox::plan::Addresses;
use crate::store::commit::{Answered, Intake, Turn, Written};
use crate::store::{self, Store};
use crate::wording::answer::answer;
use crate::wording::{Voice, reason};
use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::mpsc::Sender;
use std::time::Duration;
use tokio::sync::mpsc;

/// The longest nap: a computer that slept is noticed this soon after it woke.
const NAP: Duration = Duration::from_secs(30);

/// How often the store is told that the program is alive when nothing else is written.
const ALIVE_EVERY_SECONDS: i64 = 60;

/// A stop waits this long for tries under way.
const STOP_MAX: Duration = Duration::from_secs(5);

/// Stretches without watching shorter than this are a restart, not an event.
const UNWATCHED_MIN_SECONDS: i64 = 90;

/// What a daemon is started with.
#[derive(Debug)]
pub struct Plan {
    /// The settings.
    pub settings: Settings,
    /// The state folder.
    pub folder: PathBuf,
    /// The clock.
    pub clock: Clock,
    /// Put before every title.
    pub mark: Option<&'static str>,
    /// Read standard input instead of folders.
    pub stdin: bool,
    /// Told what happens, as it happens.
    pub listener: Option<mpsc::UnboundedSender<Heard>>,
}

/// What a listener hears.
#[derive(Debug, Clone, PartialEq)]
pub enum Heard {
    /// New readings were taken in.
    Readings(Vec<Reading>),
    /// Something was decided.
    Decided(Timestamp, Decision),
    /// A message was accepted by a channel.
    Delivered {
        /// The channel.
        channel: String,
        /// The title.
        title: String,
    },
}

/// Why a daemon could not start.
#[derive(Debug)]
pub enum StartError {
    /// The state folder cannot be used.
    Folder(PathBuf, std::io::Error),
    /// Another daemon watches with this state folder.
    AlreadyRuns(PathBuf),
    /// The store cannot be used.
    Store(store::Error),
    /// A channel cannot be set up.
    Channel(String, String),
}

impl std::fmt::Display for StartError {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Folder(path, error) => write!(out, "cannot use the state folder {}: {error}", path.display()),
            Self::AlreadyRuns(path) => write!(out, "another recheck is watching with {}", path.display()),
            Self::Store(error) => error.fmt(out),
            Self::Channel(name, words) => write!(out, "channel {name}: {words}"),
        }
    }
}

impl std::error::Error for StartError {}

impl From<store::Error> for StartError {
    fn from(error: store::Error) -> Self {
        Self::Store(error)
    }
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

/// The running program.
#[derive(Debug)]
pub struct Daemon {
    pub(super) clock: Clock,
    pub(super) store: Store,
    pub(super) engine: Engine,
    pub(super) addresses: Addresses,
    pub(super) channels: Vec<Channel>,
    pub(super) health: Vec<Health>,
    pub(super) health_told: Option<Summary>,
    pub(super) in_flight: BTreeSet<String>,
    pub(super) tried_sender: mpsc::UnboundedSender<Tried>,
    pub(super) wakers: Vec<(SourceId, Sender<Wake>)>,
    pub(super) looking: usize,
    pub(super) stdin_source: SourceId,
    pub(super) input_ended: bool,
    pub(super) unsaved: bool,
    listener: Option<mpsc::UnboundedSender<Heard>>,
    nap: Duration,
    alive_at: Timestamp,
    ear: Ear,
    tries: mpsc::UnboundedReceiver<Tried>,
    clicks: mpsc::UnboundedReceiver<Click>,
    queue: mpsc::Receiver<Incoming>,
    _lock: Lock,
}

impl Daemon {
    /// Opens everything and goes on where the last run ended. Watching begins with [`Daemon::run`].
    ///
    /// # Errors
    /// When the state folder, the store or a channel cannot be used, or another daemon runs.
    pub fn start(plan: Plan) -> Result<Self, StartError> {
        let Plan { settings, folder, clock, mark, stdin, listener } = plan;
        let in_folder = |error| StartError::Folder(folder.clone(), error);
        std::fs::create_dir_all(&folder).map_err(in_folder)?;
        let lock = Lock::take(&folder).map_err(in_folder)?.ok_or_else(|| StartError::AlreadyRuns(folder.clone()))?;
        let store = Store::open(&folder)?;
        let ear = Ear::open(&folder).map_err(in_folder)?;
        let repeats = store.recover_tries()?;
        if repeats > 0 {
            tracing::warn!(repeats, "messages were being tried when the last run ended; they are sent again, marked");
        }
        let (click_sender, clicks) = mpsc::unbounded_channel();
        let (tried_sender, tries) = mpsc::unbounded_channel();
        let (queue_sender, queue) = mpsc::channel(QUEUE_MAX);
        let channels = open_channels(&settings.channels, &click_sender)?;
        let addresses = Addresses {
            channels: channels.iter().map(|channel| channel.name().to_owned()).collect(),
            mark,
            life: store.life()?,
        };
        let policy = policy_by_number(&store, &settings, stdin)?;
        let now = clock.now();
        let (engine, first) = wake_engine(&store, policy)?;
        let mut daemon = Self {
            health: channels.iter().map(|channel| Health::untried(channel.name())).collect(),
            clock,
            store,
            engine,
            addresses,
            channels,
            health_told: None,
            in_flight: BTreeSet::new(),
            tried_sender,
            wakers: Vec::new(),
            looking: 0,
            stdin_source: SourceId(0),
            input_ended: false,
            unsaved: false,
            listener,
            nap: alive::wanted_every().map_or(NAP, |wanted| NAP.min(wanted)),
            alive_at: now,
            ear,
            tries,
            clicks,
            queue,
            _lock: lock,
        };
        daemon.open_sources(&settings, stdin, &queue_sender)?;
        // A fault in these first events is met like any other, by the loop.
        daemon.first_turns(first, now);
        Ok(daemon)
    }

    /// Watches until asked to stop.
    pub async fn run(&mut self, stop: impl Future<Output = ()>) -> Stopped {
        tokio::pin!(stop);
        alive::ready();
        loop {
            self.deliver();
            alive::turned();
            let wait = self.wait();
            let turned = tokio::select! {
                () = &mut stop => return self.stop().await,
                Some(incoming) = self.queue.recv() => self.incoming(incoming),
                Some(tried) = self.tries.recv() => match self.tried(tried) {
                    Some(event) => self.turn(Some(event), None, None).map(drop),
                    None => Ok(()),
                },
                Some(click) = self.clicks.recv() => self.click(&click),
                () = self.ear.heard() => self.inbox(),
                () = tokio::time::sleep(wait) => Ok(()),
            };
            let turned = turned.and_then(|()| self.time_passed());
            if turned.is_err() {
                self.say_broken().await;
                return Stopped::Broken;
            }
            if self.input_ended && self.queue.is_empty() {
                self.drain().await;
                return Stopped::InputEnded;
            }
        }
    }

    /// One turn of the engine, written whole before anything is sent.
    pub(super) fn turn(&mut self, event: Option<Event>, intake: Option<&Intake>, line: Option<(i64, Option<&Note>)>) -> Result<(), Broken> {
        let now = self.clock.now();
        let mut next = self.engine.clone();
        let judged = catch_unwind(AssertUnwindSafe(|| event.as_ref().map_or_else(Vec::new, |event| next.handle(event, now))));
        let Ok(decisions) = judged else {
            tracing::error!(?event, "the engine failed on this event");
            // The rows are kept as history and the place moves on, so that a restart does not meet them again.
            let written = self.write(now, None, &self.engine.clone(), &[], intake, None);
            if let Err(error) = written {
                tracing::error!(%error, "cannot write down the event that failed");
            }
            return Err(Broken);
        };
        let voice = Voice::new(next.policy(), now);
        let said = line.map(|(line, note)| {
            let answer = decisions.iter().find(|decision| decision.what == What::Answer).map(|decision| answer(decision, next.policy(), now));
            (line, note, answer)
        });
        let answered = said.as_ref().map(|(line, note, answer)| Answered {
            line: *line,
            accepted: answer.as_ref().is_none_or(|answer| answer.accepted),
            words: answer.as_ref().map_or("Noted.", |answer| &answer.words),
            note: *note,
        });
        match self.write(now, event.as_ref(), &next, &decisions, intake, answered) {
            Ok(written) => {
                self.unsaved = false;
                self.take_down(written.withdrawn);
            }
            Err(error) => {
                tracing::error!(%error, "cannot save a turn");
                self.send_unsaved(&decisions, now, &error.to_string());
                if intake.is_some() {
                    self.go_back();
                }
            }
        }
        self.engine = next;
        for decision in decisions {
            tracing::info!(id = decision.id.0, priority = decision.priority.name(), rings = decision.rings, "{}", reason::line(&decision, voice));
            self.hear(Heard::Decided(now, decision));
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

    /// Asks the clock what happened, and gives the engine its tick when one is due.
    fn time_passed(&mut self) -> Result<(), Broken> {
        match self.clock.look() {
            Happened::Nothing => {}
            Happened::Set(by) => {
                tracing::warn!(by = %by, "the computer's clock was set");
                self.turn(Some(Event::ClockStepped { by }), None, None)?;
            }
            Happened::Slept(from, to) => {
                self.turn(Some(Event::Unwatched { from, to, cause: Cause::Slept }), None, None)?;
                for (_, waker) in &self.wakers {
                    let _ = waker.send(Wake::Changed);
                }
            }
        }
        let now = self.clock.now();
        // Until every folder was looked at once, what is due waits: the reading it misses may be there.
        if self.looking == 0 && self.engine.next_deadline().is_some_and(|deadline| deadline <= now) {
            self.turn(Some(Event::Tick), None, None)?;
        }
        if (now - self.alive_at) >= Span::seconds(ALIVE_EVERY_SECONDS) {
            self.alive_at = now;
            if let Err(error) = self.store.alive(now, false) {
                tracing::error!(%error, "cannot save that I am alive");
            }
        }
        Ok(())
    }

    fn wait(&self) -> Duration {
        let deadline = self.engine.next_deadline().filter(|_| self.looking == 0);
        [deadline, self.next_due()]
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

    fn first_turns(&mut self, first: Option<Event>, now: Timestamp) {
        let mut events = Vec::new();
        match self.store.last_alive() {
            Ok(Some(alive)) if now - alive.at >= Span::seconds(UNWATCHED_MIN_SECONDS) => {
                let cause = if alive.stopped { Cause::Stopped } else { Cause::Killed };
                events.push(Event::Unwatched { from: alive.at, to: now, cause });
            }
            Ok(_) => {}
            Err(error) => tracing::error!(%error, "cannot tell how long nobody was watching"),
        }
        events.extend(first);
        for channel in self.channels.clone() {
            if let Channel::Desktop(desktop) = &channel {
                if let Some(words) = desktop.absent() {
                    events.extend(self.learn_health(channel.name(), &Outcome::Absent { words }));
                }
            }
        }
        for event in events {
            if self.turn(Some(event), None, None).is_err() {
                tracing::error!("the engine failed on an event of the start; going on without it");
            }
        }
        if self.inbox().is_err() {
            tracing::error!("the engine failed on something said; going on without it");
        }
    }

    fn open_sources(&mut self, settings: &Settings, stdin: bool, queue: &mpsc::Sender<Incoming>) -> Result<(), StartError> {
        if stdin {
            let format = settings.sources.first().map_or_else(crate::config::meant::plain_format, |source| source.format.clone());
            self.stdin_source = SourceId(self.store.source_number("stdin")?);
            let lines = Lines::new(self.stdin_source, format);
            let queue = queue.clone();
            std::thread::spawn(move || lines.read(std::io::stdin().lock(), &queue));
            return Ok(());
        }
        for source in &settings.sources {
            let number = SourceId(self.store.source_number(&source.name)?);
            let first_sight = !self.store.has_readings(number)?;
            let places = self.store.places(number)?;
            let (folder, waker) = Folder::new(number, source.clone(), places, first_sight, queue.clone());
            std::thread::spawn(move || folder.watch());
            self.wakers.push((number, waker));
            self.looking += 1;
        }
        Ok(())
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
        for channel in &self.channels {
            let message = self.word_of_trouble(
                channel.name(),
                "Alerts are not working. Use the sensor's own",
                "recheck failed inside and is starting again. Use your sensor's own display, and look at `recheck status`.",
                now,
            );
            if let Err(error) = self.store.add_message(&message) {
                tracing::error!(%error, "cannot save the word of trouble");
            }
        }
        self.drain().await;
    }
}

fn open_channels(settings: &[ChannelSettings], clicks: &mpsc::UnboundedSender<Click>) -> Result<Vec<Channel>, StartError> {
    let open = |one: &ChannelSettings| {
        Channel::new(one, clicks.clone()).map_err(|words| StartError::Channel(one.name().to_owned(), words))
    };
    settings.iter().map(open).collect()
}

/// The policy with its sources in the order of their lasting numbers. A source that is no longer in the
/// settings keeps its number, and is not watched.
fn policy_by_number(store: &Store, settings: &Settings, stdin: bool) -> Result<Policy, StartError> {
    let mut policy = settings.policy.clone();
    let wanted: Vec<SourcePolicy> = if stdin {
        vec![SourcePolicy { name: "stdin".to_owned(), kind: SourceKind::Streaming }]
    } else {
        policy.sources.clone()
    };
    for source in &wanted {
        store.source_number(&source.name)?;
    }
    policy.sources = store
        .source_names()?
        .into_iter()
        .map(|name| {
            let kind = wanted.iter().find(|source| source.name == name).map_or(SourceKind::Scanned, |source| source.kind);
            SourcePolicy { name, kind }
        })
        .collect();
    Ok(policy)
}

/// The engine as it was saved, or rebuilt from events, or new; and the event it begins with.
fn wake_engine(store: &Store, policy: Policy) -> Result<(Engine, Option<Event>), StartError> {
    let Some(saved) = store.saved()? else { return Ok((Engine::new(policy), Some(Event::Started))) };
    let changed = (saved.policy.as_ref() != Some(&policy)).then(|| Event::PolicyChanged(Box::new(policy.clone())));
    let lived_by = saved.policy.unwrap_or(policy);
    if let Some(state) = saved.state {
        return Ok((Engine::restore(lived_by, state), changed));
    }
    let (events, unknown) = store.events()?;
    tracing::warn!(events = events.len(), unknown, "the saved state is of another version; rebuilt from events");
    let mut engine = Engine::new(lived_by);
    for (at, event) in events {
        while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < at) {
            engine.handle(&Event::Tick, deadline);
        }
        engine.handle(&event, at);
    }
    Ok((engine, changed))
}
