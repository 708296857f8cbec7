//! Lives a story with the real program, and records what came out. The only file here that knows the program; judges
//! nothing. What the program cannot take in yet stays in the record, and is not handed over.

use super::record::{Given, In, MIN, Ms, Note, Out, Range, Record, Settings, Side, Therapy};
use recheck::domain::change::treatment;
use recheck::domain::diary::{self, Amount, Kind};
use recheck::domain::glucose::{Glucose, Measured, Unit};
use recheck::domain::ketone_table::KetoneTest;
use recheck::domain::ketones::Urine;
use recheck::domain::local::{Hours, Zone};
use recheck::domain::mode::{Mode, Wish};
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::schedule::Schedule;
use recheck::domain::time::{Span, Timestamp};
use recheck::domain::written::Excursion;
use recheck::engine::Engine;
use recheck::engine::effect::{self, Audience, Condition, Decision, What};
use recheck::engine::event::{Cause, Event, Which};
use recheck::engine::mode::profile::Profile;
use recheck::engine::policy::{self as settings};
use recheck::engine::policy::{Line, PersonPolicy, Policy, SourceKind, SourcePolicy, Tells};
use recheck::engine::reason::Reason;
use recheck::wording::{answer, text};
use std::collections::{BTreeMap, VecDeque};

/// More ticks than this between two events would be an engine that never rests.
const TICKS_MAX: usize = 20_000;

struct Driver {
    engine: Engine,
    names: Vec<String>,
    diary: BTreeMap<u32, diary::Note>,
    out: Vec<Out>,
    /// The program ended itself.
    stopped: Option<Ms>,
    /// How far the computer's clock, which the program goes by, is ahead of the record's.
    ahead: Ms,
}

/// Lives what is given, and what `answers` adds to each ring; the record that is returned holds both.
pub(crate) fn live(mut record: Record, mut answers: impl FnMut(&Out) -> Vec<Given>) -> Record {
    let names = record.settings.people.iter().map(|person| person.name.clone()).collect();
    let engine = Engine::new(policy(&record.settings));
    let mut driver = Driver { engine, names, diary: BTreeMap::new(), out: Vec::new(), stopped: None, ahead: 0 };
    let mut coming: VecDeque<Given> = std::mem::take(&mut record.given).into();
    let mut gone: Vec<Given> = Vec::with_capacity(coming.len());
    let mut heard = 0;
    loop {
        let next = coming.front().map_or(record.until, |given| given.at.min(record.until));
        // Nobody ticks while nobody watches.
        let tick_until = coming.iter().take_while(|given| given.at <= next + MIN).find_map(|given| match given.what {
            In::Unwatched { from, .. } => Some(from),
            _ => None,
        });
        let ticked = driver.tick(tick_until.unwrap_or(next));
        if !ticked {
            let Some(given) = coming.pop_front().filter(|given| given.at <= record.until) else { break };
            let at = given.at;
            let mut batch = vec![given];
            while coming.front().is_some_and(|more| more.at == at && one_batch(&batch[0].what, &more.what)) {
                batch.extend(coming.pop_front());
            }
            driver.take(&batch);
            gone.extend(batch);
        }
        for out in &driver.out[heard..] {
            for given in answers(out) {
                let place = coming.partition_point(|other| other.at <= given.at);
                coming.insert(place, given);
            }
        }
        heard = driver.out.len();
        if driver.stopped.is_some() {
            break;
        }
    }
    record.given = gone;
    record.stopped = driver.stopped;
    record.until = record.stopped.unwrap_or(record.until);
    record.out = driver.out;
    record
}

/// With nobody who answers.
pub(crate) fn live_alone(record: Record) -> Record {
    live(record, |_| Vec::new())
}

fn one_batch(first: &In, other: &In) -> bool {
    match (first, other) {
        (In::Reading { signal: one, .. }, In::Reading { signal: other, .. }) => one == other,
        _ => false,
    }
}

fn time(at: Ms) -> Timestamp {
    Timestamp::from_millis(at)
}

fn glucose(value: i32, range: Range) -> Glucose {
    match range {
        Range::Number => Glucose::from_hundredths(value, Unit::MgDl, Measured::Number),
        Range::Below => Glucose::beyond_range(Measured::BelowRange, Unit::MgDl),
        Range::Above => Glucose::beyond_range(Measured::AboveRange, Unit::MgDl),
    }
}

fn policy(of: &Settings) -> Policy {
    let mut policy = Policy::new(Zone::UTC);
    policy.therapy = match of.therapy {
        Therapy::Injections | Therapy::Unknown => settings::Therapy::Injections,
        Therapy::Pump => settings::Therapy::Pump,
        Therapy::SelfAdjusting => settings::Therapy::SelfAdjusting,
    };
    policy.therapy_is_known = of.therapy != Therapy::Unknown;
    policy.ketone_test = match of.ketone_test {
        super::record::KetoneTest::Blood => KetoneTest::Blood,
        super::record::KetoneTest::Urine => KetoneTest::Urine,
        super::record::KetoneTest::None => KetoneTest::None,
    };
    let hours = |(from, to): (i64, i64)| {
        Hours::parse(&format!("{:02}:{:02}-{:02}:{:02}", from / 60, from % 60, to / 60, to % 60)).unwrap()
    };
    policy.night = hours(of.night);
    policy.quiet_hours = of.quiet_hours.map(|quiet| Schedule::daily(hours(quiet))).unwrap_or_default();
    for profile in &of.profiles {
        // A profile that the program does not have is not handed over.
        if let Some(profile) = Profile::named(profile) {
            profile.change(&mut policy.levels, &mut policy.escalation);
            policy.profiles.push(profile);
        }
    }
    policy.people = of
        .people
        .iter()
        .map(|person| PersonPolicy {
            name: person.name.clone(),
            hours: person.hours.map(|span| Schedule::daily(hours(span))),
            line: if person.first { Line::First } else { Line::Escalation },
            tells: Tells::default(),
        })
        .collect();
    policy.sources =
        (0..of.signals).map(|signal| SourcePolicy::new(&format!("sensor{signal}"), SourceKind::Streaming)).collect();
    policy
}

impl Driver {
    /// One tick that is due before then; was there one?
    fn tick(&mut self, until: Ms) -> bool {
        let ahead = self.ahead;
        let Some(due) = self.engine.next_deadline().filter(|due| due.millis() - ahead < until) else { return false };
        assert!(self.out.len() < 400_000, "the engine never rests");
        for _ in 0..TICKS_MAX {
            self.happens(&Event::Tick, due.millis() - ahead);
            // What is due at once is done in the same turn; what is left over would be a fault of the engine.
            if self.stopped.is_some() || self.engine.next_deadline().is_none_or(|next| next > due) {
                break;
            }
        }
        true
    }

    fn take(&mut self, batch: &[Given]) {
        let at = batch[0].at;
        let event = match &batch[0].what {
            In::Started => Event::Started,
            In::Reading { .. } => Event::Readings { rows: rows(batch, self.ahead), first_sight: false },
            In::Line { line, at: when, note } => match self.line(*line, *when, note) {
                Some(event) => event,
                None => return,
            },
            In::Amended { line, at: when, note } => {
                let Some(was) = self.diary.remove(line) else { return };
                let others = self.diary.values().cloned().collect();
                let is = entry(*when + self.ahead, note);
                self.diary.extend(is.clone().map(|is| (*line, is)));
                Event::Amended { was: Some(was), is, others }
            }
            In::Deleted { line } => {
                let Some(was) = self.diary.remove(line) else { return };
                Event::Amended { was: Some(was), is: None, others: self.diary.values().cloned().collect() }
            }
            In::Seen { by } => Event::Seen { which: None, until: None, by: by.clone() },
            In::With { by } => Event::With { which: None, by: by.clone() },
            In::Mode { mode, until } => {
                let Some(mode) = Mode::named(mode) else { return };
                Event::Mode {
                    wish: Wish::Begin { mode, span: Some(Span::millis(until - at)) },
                    at: time(at + self.ahead),
                }
            }
            In::ModeOff { mode } => {
                Event::Mode { wish: Wish::End { mode: Mode::named(mode) }, at: time(at + self.ahead) }
            }
            In::Mute { condition, until } => {
                Event::Quiet { span: Span::millis(until - at), condition: condition.and_then(Condition::named) }
            }
            In::ClockStepped { by } => {
                self.ahead += by;
                Event::ClockStepped { by: Span::millis(*by) }
            }
            In::Unwatched { from, slept } => Event::Unwatched {
                from: time(*from + self.ahead),
                to: time(at + self.ahead),
                cause: if *slept { Cause::Slept } else { Cause::Stopped },
            },
            In::Channels { working, failing } => Event::Channels {
                working: *working,
                failing: (0..*failing).map(|number| format!("way{number}: it does not answer")).collect(),
            },
        };
        self.happens(&event, at);
    }

    /// A line of the diary, as the command line would hand it over.
    fn line(&mut self, line: u32, when: Ms, note: &Note) -> Option<Event> {
        let kept = entry(when + self.ahead, note)?;
        self.diary.insert(line, kept.clone());
        Some(match note {
            Note::Treated(side) => {
                let side = match side {
                    Side::Low => effect::Side::Low,
                    Side::High => effect::Side::High,
                };
                Event::Treated { which: Some(Which::Side(side)), at: time(when + self.ahead), look: None }
            }
            _ => Event::Noted(kept),
        })
    }

    fn happens(&mut self, event: &Event, at: Ms) {
        // A program that ends itself is a finding, and not the end of the search.
        let turn =
            std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| self.engine.handle(event, time(at + self.ahead))));
        let Ok(decisions) = turn else {
            self.stopped = Some(at);
            return;
        };
        for decision in decisions {
            let out = self.record(&decision, event, at);
            self.out.push(out);
        }
    }

    fn record(&self, decision: &Decision, event: &Event, at: Ms) -> Out {
        let policy = self.engine.policy();
        let now = time(at + self.ahead);
        let (title, body) = if decision.what == What::Answer {
            let said = answer::answer(decision, policy, now);
            let words = match event {
                Event::Noted(note) => answer::to_note(note, &said, policy, now),
                _ => said.words,
            };
            (String::new(), words)
        } else if decision.rings {
            let said = text::text(decision, policy, now);
            (said.title, said.body)
        } else {
            (String::new(), String::new())
        };
        let to = match decision.to {
            Audience::Wearer => None,
            Audience::Person(person) => self.names.get(usize::from(person)).cloned(),
        };
        Out {
            at,
            event: decision.what.name().to_owned(),
            condition: decision.condition.name().to_owned(),
            alert: decision.id.0,
            part_of: decision.part_of.map(|id| id.0),
            priority: decision.priority.name().to_owned(),
            rings: decision.rings,
            to,
            title,
            body,
            reason: decision.reason.word().to_owned(),
            outcome: found(&decision.reason),
            number: u64::try_from(self.out.len()).unwrap_or(u64::MAX),
        }
    }
}

fn found(reason: &Reason) -> Option<String> {
    match reason {
        Reason::ComingDown { found, .. }
        | Reason::TooEarly { found, .. }
        | Reason::NotComingDown { found, .. }
        | Reason::FallingTooFast { found, .. } => Some(found.outcome.name().to_owned()),
        _ => None,
    }
}

fn rows(batch: &[Given], ahead: Ms) -> Vec<Reading> {
    let rows = batch.iter().filter_map(|given| match given.what {
        In::Reading { measured, value, range, signal } => {
            Some(Reading { source: SourceId(signal), measured: time(measured + ahead), glucose: glucose(value, range) })
        }
        _ => None,
    });
    rows.collect()
}

/// A line as the diary keeps it; none where the program has no such line.
fn entry(at: Ms, note: &Note) -> Option<diary::Note> {
    let amount = |amount: &Option<i32>| amount.map(Amount);
    let mut words = String::new();
    let kind = match note {
        Note::Treated(Side::Low) => return Some(treatment(time(at), Some(Excursion::Low))),
        Note::Treated(Side::High) => return Some(treatment(time(at), Some(Excursion::High))),
        Note::Insulin(units) => Kind::Insulin(amount(units)),
        Note::LongActing(units) => Kind::LongActing(amount(units)),
        Note::Carbohydrate(grams) => Kind::Carbohydrate(amount(grams)),
        Note::Meter(value) => Kind::Meter(glucose(*value, Range::Number)),
        Note::Ketones(value) => Kind::Ketones(Amount(*value)),
        Note::Urine(word) => Kind::UrineKetones(Urine::named(word)?),
        Note::Symptoms(said) => {
            (*said).clone_into(&mut words);
            Kind::Symptoms
        }
        Note::Exercise => Kind::Exercise,
        Note::Site => Kind::Site,
        Note::SensorOn => Kind::SensorStart(None),
        Note::SensorOff => Kind::SensorStop(None),
    };
    Some(diary::Note { at: time(at), kind, words })
}

/// Readings of the open traces in a folder: each file's name, and its times and values.
pub(crate) fn open_traces(folder: &std::path::Path) -> Vec<(String, Vec<(Ms, i32)>)> {
    super::super::open_data::people(folder)
        .into_iter()
        .map(|(name, rows)| {
            let rows = rows.iter().map(|row| (row.measured.millis(), row.glucose.hundredths())).collect();
            (name, rows)
        })
        .collect()
}
