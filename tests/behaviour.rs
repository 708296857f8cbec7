//! Runs the documents in docs/behaviour: every fenced `timeline` is lived through by the engine, and what
//! it decides must be what the document says, word for word and in order.
//!
//! Forecasts are off in a timeline that sets nothing of them: each document shows one thing.
//!
//! Lines of a timeline (times are UTC on one invented day, and may run past 24:00):
//! `set KEY=VALUE` before anything else, as on the command line;
//! `10:00 reads 120`, `10:00-11:00 reads 120 to 180` (every 5 minutes, in a straight line),
//! `10:00-11:00 every 15m reads 120 to 180`; `10:00-11:00 every 5m alternates 248 and 70` (two signals);
//! `10:00-11:00 every 5m doubles 120 to 180` (each again two minutes later); `10:00 reads 120 from 1` (the
//! second source by name); `08:00 brings 02:10-03:05 at 60` (late readings, one batch);
//! `10:00 treated [high|low|NUMBER] [at 09:50] [look 60m]`, `10:00 notes insulin|long-acting|carbohydrate|symptoms|text`,
//! `10:00 notes scan|sensor-start|sensor-stop|exercise|ketones`, `10:00 notes insulin:4|ketones:large|symptoms:vomiting
//! [at 09:50]`, `10:00 trusts 248|all|source 1`, `10:00 quiet 30m [CONDITION]`,
//! `10:00 mode driving|exercise|alcohol|sick|doubted [2h]`, `10:00 mode off [driving]`,
//! `10:00 meter 142`, `10:00 seen [NUMBER|by NAME]`; `10:00 refused 3`, `10:00 lost [from 1]`, `10:00 odd file`, `10:00 channels 0 failing`,
//! `10:00 channels 1`, `10:00 unwatched 09:00 slept|stopped|killed`, `10:00 settings KEY=VALUE`,
//! `10:00 writes treated [high|low] [at 09:50]`, `10:00 writes insulin|carbohydrate|symptoms|scan|text [at 09:50]`,
//! `10:00 writes seen [by NAME] [at 09:50]` (a diary file brings a line at 10:00), `10:00 writes 3 odd lines`,
//! `10:00 amends insulin at 09:50 to 09:40`, `10:00 amends insulin at 09:50 into carbohydrate`,
//! `10:00 kept` (a line that was kept until then is answered), `10:00 meant` (the dose that was asked about last); `10:00 deletes treated high at 09:50`, `10:00 restores insulin at 09:50` (what stands in the diary is kept by it);
//! `10:00 excludes 09:00-09:30` (a stretch that is not to be counted);
//! `10:00 started`, `10:00 later` (time passes); `10:00 reminds 14:30|45m WORDS`, and after the words, each after
//! `; `, `every 1d|12h|mon,thu`, `above 180`, `below 80`; `10:00 reminds 51 times`, `10:00 cancels 1|all`.
//! `10:00 -> WHAT CONDITION REASON [rings]`, optionally followed by the title in quotes, is expected; `, 50 times`
//! at its end stands for so many lines.

use recheck::config::meant::{Purpose, settings};
use recheck::config::words::span;
use recheck::domain::change::treatment;
use recheck::domain::diary::{Amount, Kind, Note};
use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::Zone;
use recheck::domain::mode::{Mode, Wish};
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::reminder::{Asked, Every, Only, Wall, Weekdays, When};
use recheck::domain::time::{Span, Timestamp};
use recheck::domain::written::Excursion;
use recheck::engine::effect::{Audience, Condition, Decision, Id, Side};
use recheck::engine::event::{Cause, Event, Trusted, Which};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;
use recheck::engine::{Engine, State};
use recheck::formats::noted;
use recheck::wording::text::text;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// 2026-03-02 00:00 UTC, a Monday.
pub(super) const DAY: i64 = 1_772_409_600;

/// A timeline that is being lived through; the stored states are made by the same lines.
pub(super) struct Life {
    pub(super) engine: Engine,
    sets: Vec<String>,
    pub(super) told: Vec<Told>,
    /// What happened, the ticks between left out.
    pub(super) happened: Vec<(Timestamp, Event)>,
    /// What stands in the diary, and what was deleted last.
    diary: Vec<Note>,
}

/// A decision, when, and its title.
pub(super) type Told = (Timestamp, Decision, String);

#[test]
fn the_documents_are_true() {
    let mut words: BTreeSet<&'static str> = BTreeSet::new();
    let mut wrong = Vec::new();
    let mut count = 0;
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/behaviour");
    let mut files: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    for file in files {
        let document = fs::read_to_string(&file).unwrap();
        for (line, timeline) in timelines(&document) {
            count += 1;
            let (told, expected) = live(&timeline);
            words.extend(told.iter().map(|(_, decision, _)| decision.reason.word()));
            let shown: Vec<String> = told.iter().map(show).collect();
            let wanted: Vec<String> = expected.iter().map(|line| line.trim().to_owned()).collect();
            if !agree(&shown, &wanted) {
                let name = file.file_name().unwrap().to_string_lossy().into_owned();
                wrong.push(format!(
                    "{name}:{line}\n  the document says\n    {}\n  the engine decides\n    {}",
                    wanted.join("\n    "),
                    shown.join("\n    ")
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}\n", wrong.join("\n\n"));
    assert!(count >= 30, "only {count} timelines were found");
    for word in Reason::WORDS {
        assert!(words.contains(word), "no behaviour document shows the reason {word}");
    }
    for word in words {
        assert!(Reason::WORDS.contains(&word), "{word} is missing from Reason::WORDS");
    }
}

fn timelines(document: &str) -> Vec<(usize, Vec<String>)> {
    let mut found = Vec::new();
    let mut open: Option<(usize, Vec<String>)> = None;
    for (number, line) in document.lines().enumerate() {
        match &mut open {
            None if line.trim() == "```timeline" => open = Some((number + 1, Vec::new())),
            None => {}
            Some(_) if line.trim() == "```" => found.extend(open.take()),
            Some((_, lines)) => lines.push(line.to_owned()),
        }
    }
    found
}

/// Expected lines may leave out the title.
fn agree(shown: &[String], wanted: &[String]) -> bool {
    shown.len() == wanted.len()
        && shown.iter().zip(wanted).all(|(shown, wanted)| {
            shown == wanted || !wanted.contains('"') && shown.split(" \"").next() == Some(wanted)
        })
}

fn live(lines: &[String]) -> (Vec<Told>, Vec<String>) {
    let mut life = Life::new(&[]);
    let mut expected = Vec::new();
    for line in lines.iter().map(|line| line.trim()).filter(|line| !line.is_empty()) {
        if line.contains("->") {
            match line.strip_suffix(" times").and_then(|line| line.rsplit_once(", ")) {
                Some((each, count)) => expected.extend(vec![each.to_owned(); count.parse().unwrap()]),
                None => expected.push(line.to_owned()),
            }
        } else if let Some(assignment) = line.strip_prefix("set ") {
            life.sets.push(assignment.to_owned());
        } else {
            if life.told.is_empty() && life.engine.snapshot() == &State::default() {
                life.engine = Engine::new(policy(&life.sets));
            }
            life.step(line);
        }
    }
    (life.told, expected)
}

fn policy(sets: &[String]) -> Policy {
    let mut sets = sets.to_vec();
    if !sets.iter().any(|set| set.starts_with("forecast.")) {
        sets.extend(["low", "very_low", "high"].map(|level| format!("forecast.{level}.rings=never")));
    }
    let read = settings("", None, &sets, Purpose::Replay, Zone::UTC).unwrap_or_else(|problems| panic!("{problems}"));
    if read.policy.sources.is_empty() {
        let sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
        return Policy { sources, ..read.policy };
    }
    read.policy
}

impl Life {
    /// Nothing has happened yet.
    pub(super) fn new(sets: &[String]) -> Self {
        let engine = Engine::new(policy(sets));
        Self { engine, sets: sets.to_vec(), told: Vec::new(), happened: Vec::new(), diary: Vec::new() }
    }

    /// One line of a timeline.
    pub(super) fn step(&mut self, line: &str) {
        let (when, what) = line.split_once(' ').unwrap_or_else(|| panic!("{line}"));
        let words: Vec<&str> = what.split_whitespace().collect();
        if let Some((from, to)) = when.split_once('-') {
            self.read_stretch(time(from), time(to), &words);
            return;
        }
        let at = time(when);
        let event = match words.as_slice() {
            ["reminds", count, "times"] => {
                for _ in 1..count.parse::<usize>().unwrap() {
                    self.happens(at, &reminds(at, "14:30 stand up"));
                }
                reminds(at, "14:30 stand up")
            }
            ["reminds", ..] => reminds(at, what.split_once(' ').unwrap().1),
            ["cancels", "all"] => Event::CancelReminders { which: None },
            ["cancels", id] => Event::CancelReminders { which: Some(Id(id.parse().unwrap())) },
            ["reads", value] => Event::Readings { rows: vec![reading(at, value)], first_sight: false },
            ["brings", stretch, "at", value] => {
                let (from, to) = stretch.split_once('-').unwrap();
                let rows = every(time(from), time(to), Span::minutes(5)).map(|at| reading(at, value)).collect();
                Event::Readings { rows, first_sight: false }
            }
            ["reads", value, "from", source] => {
                let reading = Reading { source: SourceId(source.parse().unwrap()), ..reading(at, value) };
                Event::Readings { rows: vec![reading], first_sight: false }
            }
            ["mode", "off", mode @ ..] => {
                let mode = mode.first().map(|name| Mode::named(name).unwrap());
                Event::Mode { wish: Wish::End { mode }, at }
            }
            ["mode", mode, how_long @ ..] => {
                let span = how_long.first().map(|how_long| span(how_long).unwrap());
                Event::Mode { wish: Wish::Begin { mode: Mode::named(mode).unwrap(), span }, at }
            }
            ["quiet", "off"] => Event::QuietOff,
            ["quiet", how_long, rest @ ..] => Event::Quiet {
                span: span(how_long).unwrap(),
                condition: rest.first().map(|name| Condition::named(name).unwrap()),
            },
            ["trusts", "all"] => Event::Trust(Trusted::All),
            ["trusts", "source", source] => Event::Trust(Trusted::Source(SourceId(source.parse().unwrap()))),
            ["trusts", value] => Event::Trust(Trusted::Near(glucose(value))),
            ["treated", rest @ ..] => treated(at, rest),
            ["notes", kind] => Event::Noted(note_of(at, kind)),
            ["notes", kind, "at", then] => Event::Noted(note_of(time(then), kind)),
            ["meter", value] => Event::Noted(Note { at, kind: Kind::Meter(glucose(value)), words: String::new() }),
            ["amends" | "deletes" | "restores", ..] => self.amends(&words),
            ["seen"] => Event::Seen { which: None, until: None, by: None },
            ["seen", "by", name] => seen_by(name, None),
            ["with", "them", name] => Event::With { which: None, by: (*name).to_owned() },
            ["seen", id] => Event::Seen { which: Some(Id(id.parse().unwrap())), until: None, by: None },
            ["writes", rest @ ..] => writes(at, rest),
            ["refused", rows] => Event::Refused {
                source: SourceId(0),
                rows: rows.parse().unwrap(),
                words: "day.csv: line 9, column 2 (glucose): expected a number of mg/dL, found \"?\"".to_owned(),
                whole_file: false,
            },
            ["odd", "file"] => Event::Refused {
                source: SourceId(0),
                rows: 3,
                words: "steps.csv: line 1: no column holds glucose values".to_owned(),
                whole_file: true,
            },
            ["lost", "from", source] => {
                Event::Lost { source: SourceId(source.parse().unwrap()), words: "the folder is gone".to_owned() }
            }
            ["lost"] => Event::Lost { source: SourceId(0), words: "the folder is gone".to_owned() },
            ["excludes", stretch] => {
                let (from, to) = stretch.split_once('-').unwrap();
                Event::Excluded { stretches: vec![(time(from), time(to))] }
            }
            ["channels", working, rest @ ..] => Event::Channels {
                working: working.parse().unwrap(),
                failing: rest.iter().map(|word| format!("phone: {word}")).collect(),
            },
            ["unwatched", from, cause] => Event::Unwatched {
                from: time(from),
                to: at,
                cause: match *cause {
                    "slept" => Cause::Slept,
                    "stopped" => Cause::Stopped,
                    _ => Cause::Killed,
                },
            },
            ["settings", ..] => {
                self.sets.push(what.split_once(' ').unwrap().1.to_owned());
                Event::PolicyChanged(Box::new(policy(&self.sets)))
            }
            ["meant"] => Event::Meant { at: None },
            ["kept"] => Event::KeptAnswered { lines: vec!["Noted: exercise, at 11:50.".to_owned()] },
            ["started"] => Event::Started,
            ["later"] => Event::Tick,
            _ => panic!("a timeline does not know: {line}"),
        };
        self.keep(&event);
        self.happens(at, &event);
    }

    /// The diary keeps what is noted, as the store does.
    fn keep(&mut self, event: &Event) {
        match event {
            Event::Noted(note) => self.diary.push(note.clone()),
            Event::Treated { which, at, .. } => {
                let which = match which {
                    Some(Which::Side(Side::High)) => Some(Excursion::High),
                    Some(Which::Side(Side::Low)) => Some(Excursion::Low),
                    Some(Which::Alert(_)) | None => None,
                };
                self.diary.push(treatment(*at, which));
            }
            Event::Written { said, .. } => self.keep(said),
            _ => {}
        }
    }

    /// A line of the diary is another, or is none, or is one again.
    fn amends(&mut self, words: &[&str]) -> Event {
        let place = words.iter().position(|word| *word == "at").unwrap();
        let at = time(words[place + 1]);
        let named = match &words[1..place] {
            ["treated", which @ ..] => match treated(at, which) {
                Event::Treated { which: Some(Which::Side(Side::High)), .. } => treatment(at, Some(Excursion::High)),
                _ => treatment(at, Some(Excursion::Low)),
            },
            ["meter"] => self.diary.iter().find(|note| note.at == at).unwrap().clone(),
            [kind] => note_of(at, kind),
            other => panic!("a timeline does not know: {other:?}"),
        };
        let known = self.diary.iter().position(|note| *note == named);
        let is = match (words[0], &words[place + 2..]) {
            ("deletes", _) => None,
            ("restores", _) => Some(named.clone()),
            ("amends", ["to", then]) => Some(Note { at: time(then), ..named.clone() }),
            ("amends", ["into", kind]) => Some(Note { words: "amended".to_owned(), ..note_of(named.at, kind) }),
            other => panic!("a timeline does not know: {other:?}"),
        };
        let was = known.map(|known| self.diary.remove(known));
        assert_eq!(was.is_none(), words[0] == "restores", "{words:?}");
        let others = self.diary.clone();
        self.diary.extend(is.clone());
        Event::Amended { was, is, others }
    }

    fn read_stretch(&mut self, from: Timestamp, to: Timestamp, words: &[&str]) {
        let (step, words) = match words {
            ["every", step, rest @ ..] => (span(step).unwrap(), rest),
            _ => (Span::minutes(5), words),
        };
        if let ["alternates", one, "and", other] = words {
            for (at, value) in every(from, to, step).zip([one, other].into_iter().cycle()) {
                self.happens(at, &Event::Readings { rows: vec![reading(at, value)], first_sight: false });
            }
            return;
        }
        let (doubled, words) = match words {
            ["doubles", rest @ ..] => (true, [&["reads"][..], rest].concat()),
            _ => (false, words.to_vec()),
        };
        let (first, last): (i64, i64) = match words.as_slice() {
            ["reads", value] => (value.parse().unwrap(), value.parse().unwrap()),
            ["reads", first, "to", last] => (first.parse().unwrap(), last.parse().unwrap()),
            _ => panic!("a timeline does not know: {words:?}"),
        };
        let whole = (to - from).as_millis().max(1);
        for at in every(from, to, step) {
            let value = first + (last - first) * (at - from).as_millis() / whole;
            let rows = vec![Reading {
                source: SourceId(0),
                measured: at,
                glucose: Glucose::mg_dl(i32::try_from(value).unwrap()),
            }];
            self.happens(at, &Event::Readings { rows: rows.clone(), first_sight: false });
            if doubled {
                let at = at + Span::minutes(2);
                let rows = vec![Reading { measured: at, ..rows[0] }];
                self.happens(at, &Event::Readings { rows, first_sight: false });
            }
        }
    }

    fn tell(&mut self, told: Vec<Decision>, at: Timestamp) {
        let policy = self.engine.policy();
        self.told.extend(told.into_iter().map(|decision| {
            let title = text(&decision, policy, at).title;
            (at, decision, title)
        }));
    }

    /// Ticks come when the engine wants them, then what happens. While nobody watches there are none.
    fn happens(&mut self, at: Timestamp, event: &Event) {
        self.happened.push((at, event.clone()));
        let watched = !matches!(event, Event::Unwatched { .. });
        for _ in 0..if watched { 10_000 } else { 0 } {
            let Some(deadline) = self.engine.next_deadline().filter(|deadline| *deadline < at) else {
                break;
            };
            let told = self.engine.handle(&Event::Tick, deadline);
            self.tell(told, deadline);
        }
        let told = self.engine.handle(event, at);
        self.tell(told, at);
        // What is saved is enough to go on from, at every step of every document.
        let saved = serde_json::to_string(self.engine.snapshot()).unwrap();
        let restored = Engine::restore(self.engine.policy().clone(), serde_json::from_str(&saved).unwrap());
        assert_eq!(restored.snapshot(), self.engine.snapshot());
        self.engine = restored;
    }
}

fn treated(at: Timestamp, words: &[&str]) -> Event {
    let (mut which, mut when, mut look) = (None, at, None);
    let mut rest = words.iter();
    while let Some(word) = rest.next() {
        match *word {
            "high" => which = Some(Which::Side(Side::High)),
            "low" => which = Some(Which::Side(Side::Low)),
            "at" => when = time(rest.next().unwrap()),
            "look" => look = span(rest.next().unwrap()),
            id => which = Some(Which::Alert(Id(id.parse().unwrap()))),
        }
    }
    Event::Treated { which, at: when, look }
}

/// A reminder as the command line asks for it: of a time of day that has passed, tomorrow's.
fn reminds(said: Timestamp, asked: &str) -> Event {
    let mut parts = asked.split("; ");
    let (when, text) = parts.next().unwrap().split_once(' ').unwrap();
    let (mut every, mut only) = (None, None);
    for part in parts {
        match part.split_once(' ').unwrap() {
            ("every", text) => every = span(text).and_then(Every::span).or(Weekdays::parse(text).map(Every::Weekdays)),
            ("above", limit) => only = Some(Only::Above(glucose(limit))),
            ("below", limit) => only = Some(Only::Below(glucose(limit))),
            _ => panic!("a timeline does not know: {part}"),
        }
    }
    let when = if let Some(after) = span(when) {
        When::At(said + after)
    } else {
        let today = time(when);
        let shown = if today > said { today } else { today + Span::hours(24) };
        let wall = Wall::of(Zone::UTC.wall(shown));
        When::Wall(every.map_or(wall, |every| every.first(wall)))
    };
    Event::Remind(Asked { text: text.to_owned(), when, every, only, said })
}

/// A line that a diary file brings.
fn writes(at: Timestamp, words: &[&str]) -> Event {
    if let [count, "odd", "lines"] = words {
        let words = "diary.csv: line 3, column 2 (kind): expected one of insulin, ..., found \"insuline\"".to_owned();
        return Event::DiaryRefused { words, more: count.parse::<u64>().unwrap() - 1 };
    }
    let (what, when) = match words {
        [what @ .., "at", when] => (what, time(when)),
        what => (what, at),
    };
    let said = match what {
        ["treated", which @ ..] => match treated(at, which) {
            Event::Treated { which, look, .. } => Event::Treated { which, at: when, look },
            other => other,
        },
        ["seen"] => Event::Seen { which: None, until: Some(when), by: None },
        ["seen", "by", name] => seen_by(name, Some(when)),
        ["meant"] => Event::Meant { at: None },
        [kind] => Event::Noted(note_of(when, kind)),
        _ => panic!("a timeline does not know: {words:?}"),
    };
    Event::Written { said: Box::new(said), whence: "diary.csv: line 3".to_owned() }
}

fn seen_by(name: &str, until: Option<Timestamp>) -> Event {
    Event::Seen { which: None, until, by: Some(name.to_owned()) }
}

/// A note of a kind, with how much after a colon: `insulin:4`, `ketones:large`; of symptoms, which: `symptoms:stomach_pain`.
fn note_of(at: Timestamp, told: &str) -> Note {
    let Some((kind, amount)) = told.split_once(':') else { return Note { at, kind: note(told), words: String::new() } };
    let words = amount.replace('_', " ");
    let told = noted::Told { kind, amount, unit: "", words: &words };
    let implied = noted::implied(kind).unwrap_or_default().to_owned();
    let kind = noted::kind_of(&told, Unit::MgDl).unwrap();
    let words = if kind.has_amount() { implied } else { words };
    Note { at, kind, words }
}

fn note(kind: &str) -> Kind {
    match kind {
        "scan" => Kind::Scan,
        "insulin" => Kind::Insulin(None),
        "long-acting" => Kind::LongActing(None),
        "carbohydrate" => Kind::Carbohydrate(None),
        "symptoms" => Kind::Symptoms,
        "ketones" => Kind::Ketones(Amount(60)),
        "exercise" => Kind::Exercise,
        "site" => Kind::Site,
        "sensor-start" => Kind::SensorStart(None),
        "sensor-stop" => Kind::SensorStop(None),
        "other-sensor-stop" => Kind::SensorStop(Some("other".to_owned())),
        _ => Kind::Text,
    }
}

fn every(from: Timestamp, to: Timestamp, step: Span) -> impl Iterator<Item = Timestamp> {
    std::iter::successors(Some(from), move |at| Some(*at + step)).take_while(move |at| *at <= to)
}

fn reading(at: Timestamp, value: &str) -> Reading {
    Reading { source: SourceId(0), measured: at, glucose: glucose(value) }
}

fn glucose(value: &str) -> Glucose {
    Glucose::parse(value, Unit::MgDl).unwrap()
}

fn time(text: &str) -> Timestamp {
    let (hours, minutes) = text.split_once(':').unwrap_or_else(|| panic!("{text} is not a time"));
    let minutes: i64 = hours.parse::<i64>().unwrap() * 60 + minutes.parse::<i64>().unwrap();
    Timestamp::from_seconds(DAY) + Span::minutes(minutes)
}

fn show((at, decision, title): &Told) -> String {
    let minutes = (*at - Timestamp::from_seconds(DAY)).as_minutes();
    let rings = match (decision.rings, decision.to) {
        (true, Audience::Person(person)) => format!(" rings person {}", person + 1),
        (true, Audience::Wearer) => " rings".to_owned(),
        (false, _) => String::new(),
    };
    let title = if decision.rings { format!(" \"{title}\"") } else { String::new() };
    format!(
        "{:02}:{:02} -> {} {} {}{rings}{title}",
        minutes / 60,
        minutes % 60,
        decision.what.name(),
        decision.condition.name(),
        decision.reason.word()
    )
}
