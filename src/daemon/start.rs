//! Starting: opens everything, and goes on where the last run ended.

use super::alive::{self, Lock};
use super::clock::Clock;
use super::control::Ear;
use super::run::{Daemon, Heard, NAP, Stdin};
use super::travel;
use crate::channels::{Channel, Click};
use crate::config::{ChannelSettings, Settings};
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::Audience;
use crate::engine::event::{Cause, Event};
use crate::engine::policy::{Policy, SourceKind, SourcePolicy};
use crate::intake::folder::Folder;
use crate::intake::places::Places;
use crate::intake::stdin::Lines;
use crate::intake::{Incoming, QUEUE_MAX};
use crate::outbox::health::Health;
use crate::outbox::outcome::Outcome;
use crate::outbox::plan::{Address, Addresses};
use crate::store::{self, Store};
use std::collections::BTreeSet;
use std::path::PathBuf;
use tokio::sync::mpsc;

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
    /// Called with each event before the engine judges it: tests let it fail, to see what happens then.
    pub before_judging: Option<fn(&Event)>,
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
            Self::AlreadyRuns(path) => {
                write!(out, "another recheck is watching with {}", path.display())
            }
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

impl Daemon {
    /// Opens everything and goes on where the last run ended. Watching begins with [`Daemon::run`].
    ///
    /// # Errors
    /// When the state folder, the store or a channel cannot be used, or another daemon runs.
    pub fn start(plan: Plan) -> Result<Self, StartError> {
        let Plan { settings, folder, clock, mark, stdin, listener, before_judging } = plan;
        let in_folder = |error| StartError::Folder(folder.clone(), error);
        std::fs::create_dir_all(&folder).map_err(in_folder)?;
        let lock = Lock::take(&folder).map_err(in_folder)?.ok_or_else(|| StartError::AlreadyRuns(folder.clone()))?;
        let mut store = Store::open(&folder)?;
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
            channels: channels.iter().map(|channel| address(channel.name(), &settings)).collect(),
            mark,
            life: store.life()?,
        };
        let mut policy = policy_by_number(&store, &settings, stdin)?;
        let now = clock.now();
        let wall = travel::at_start(&mut store, policy.zone, now)?;
        policy.zone = wall.zone_at(now);
        let Woken { engine, first, rebuilt } = wake_engine(&store, policy)?;
        let mut daemon = Self {
            health: channels.iter().map(|one| Health::untried(one.name(), addresses.of(one.name()))).collect(),
            clock,
            wall,
            store,
            engine,
            addresses,
            channels,
            unwritten: Vec::new(),
            store_rests_until: None,
            went_back: None,
            owes_going_back: false,
            handled_unsaved: BTreeSet::new(),
            refused_unsaved: BTreeSet::new(),
            started: now,
            in_flight: BTreeSet::new(),
            tried_sender,
            wakers: Vec::new(),
            looking: 0,
            stdin: Stdin { source: SourceId(0), past: stdin, ended: false },
            unsaved: false,
            more_said: false,
            listener,
            before_judging,
            nap: alive::wanted_every().map_or(NAP, |wanted| NAP.min(wanted)),
            alive_at: now,
            ear,
            tries,
            clicks,
            queue,
            _lock: lock,
        };
        daemon.open_sources(&settings, stdin, &queue_sender)?;
        if rebuilt {
            daemon.say_rebuilt(now);
        }
        // A fault in these first events is met like any other, by the loop.
        daemon.first_turns(first, now);
        Ok(daemon)
    }

    /// What was open is not known for sure: the wearer is told so, by every way of theirs.
    fn say_rebuilt(&self, now: Timestamp) {
        let messages = self.words_of_trouble(
            "What was open may be lost. See `recheck status`",
            "recheck could not read what it had saved, and worked it out again from what came in before. Look at what is \
             open, at your reminders and at what is quiet: `recheck status`, `recheck remind`.",
            now,
        );
        for message in messages {
            if let Err(error) = self.store.add_message(&message) {
                tracing::error!(%error, "cannot save the word that the engine was rebuilt");
            }
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
            if let Channel::Desktop(desktop) = &channel
                && let Some(words) = desktop.absent()
            {
                events.extend(self.learn_health(channel.name(), &Outcome::Absent { words }));
            }
        }
        for event in events {
            if self.turn(Some(&event), None, None).is_err() {
                tracing::error!("the engine failed on an event of the start; going on without it");
            }
        }
        if self.looking == 0 && self.inbox().is_err() {
            tracing::error!("the engine failed on something said; going on without it");
        }
    }

    fn open_sources(
        &mut self,
        settings: &Settings,
        stdin: bool,
        queue: &mpsc::Sender<Incoming>,
    ) -> Result<(), StartError> {
        if stdin {
            let format = settings.first_format();
            self.stdin.source = SourceId(self.store.source_number("stdin")?);
            let (waker, told) = std::sync::mpsc::channel();
            let lines = Lines::new(self.stdin.source, format).with_travels(self.wall.travels(), told);
            self.wakers.push((self.stdin.source, waker));
            let queue = queue.clone();
            std::thread::spawn(move || lines.read(std::io::stdin().lock(), &queue));
            return Ok(());
        }
        for source in &settings.sources {
            let number = SourceId(self.store.source_number(&source.name)?);
            let first_sight = !self.store.has_readings(number)?;
            let mut places = Places::default();
            self.store.each_place(number, |path, body| places.read(path, body))?;
            let (folder, waker) = Folder::new(number, source.clone(), places, first_sight, queue.clone());
            let folder = folder.with_travels(self.wall.travels());
            std::thread::spawn(move || folder.watch());
            self.wakers.push((number, waker));
            self.looking += 1;
        }
        Ok(())
    }
}

fn address(name: &str, settings: &Settings) -> Address {
    let reach = settings.reaches.get(name).cloned().unwrap_or_default();
    let of = reach.owner.map_or(Audience::Wearer, Audience::Person);
    Address { name: name.to_owned(), of, later: reach.later, discreet: reach.discreet }
}

fn open_channels(
    settings: &[ChannelSettings],
    clicks: &mpsc::UnboundedSender<Click>,
) -> Result<Vec<Channel>, StartError> {
    let open = |one: &ChannelSettings| {
        Channel::new(one, clicks.clone()).map_err(|words| StartError::Channel(one.name().to_owned(), words))
    };
    settings.iter().map(open).collect()
}

/// The policy with its sources in the order of their lasting numbers. A source that is no longer in the
/// settings keeps its number, and is not watched.
fn policy_by_number(store: &Store, settings: &Settings, stdin: bool) -> Result<Policy, StartError> {
    let mut policy = settings.policy.clone();
    let wanted: Vec<SourcePolicy> =
        if stdin { vec![SourcePolicy::new("stdin", SourceKind::Streaming)] } else { policy.sources.clone() };
    for source in &wanted {
        store.source_number(&source.name)?;
    }
    policy.sources = store
        .source_names()?
        .into_iter()
        .map(|name| {
            let known = wanted.iter().find(|source| source.name == name).cloned();
            known.unwrap_or_else(|| SourcePolicy::new(&name, SourceKind::History))
        })
        .collect();
    Ok(policy)
}

/// The engine at the start.
struct Woken {
    engine: Engine,
    /// What it begins with.
    first: Option<Event>,
    /// What was saved could not be read.
    rebuilt: bool,
}

/// The engine as it was saved, or rebuilt from events, or new.
fn wake_engine(store: &Store, policy: Policy) -> Result<Woken, StartError> {
    let Some(saved) = store.saved()? else {
        return Ok(Woken { engine: Engine::new(policy), first: Some(Event::Started), rebuilt: false });
    };
    let first = (saved.policy.as_ref() != Some(&policy)).then(|| Event::PolicyChanged(Box::new(policy.clone())));
    if saved.policy.is_none() {
        tracing::warn!("the settings that the saved state lived by cannot be read; it goes on by the present ones");
    }
    let lived_by = saved.policy.unwrap_or(policy);
    if let Some(state) = saved.state {
        return Ok(Woken { engine: Engine::restore(lived_by, state), first, rebuilt: false });
    }
    // The last resort: events are kept for a season only, and the settings may have been others meanwhile.
    let (events, unknown) = store.events()?;
    let why = saved.unread.map_or_else(String::new, |unread| unread.to_string());
    tracing::warn!(events = events.len(), unknown, why, "what was saved cannot be read; rebuilt from stored events");
    let mut engine = Engine::new(lived_by);
    for (at, event) in events {
        while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < at) {
            engine.handle(&Event::Tick, deadline);
        }
        engine.handle(&event, at);
    }
    Ok(Woken { engine, first, rebuilt: true })
}
