//! The wearer's own history, as the store keeps it, lived again with the settings that are tried. It only looks.

use super::Place;
use super::at_once::{Share, in_order};
use super::burden::{self, LEAD_MIN};
use super::exclude::left_out;
use super::print::{Failure, line, words};
use super::replay::{Tried, Typed};
use super::replay_lines;
use super::replay_table::{Shown, Through};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::effect::Decision;
use crate::engine::event::{Event, Which};
use crate::engine::policy::{SourceKind, SourcePolicy};
use crate::formats::rows::Row;
use crate::replay::answers::{Act, Action};
use crate::replay::recorded::{Answers, Recorded, live};
use crate::replay::run::put_in_order;
use crate::replay::story::Story;
use crate::replay::summary::Measures;
use crate::store::Store;
use std::process::ExitCode;

/// What the store holds of a life.
struct History {
    events: Vec<(Timestamp, Event)>,
    decisions: Vec<(Timestamp, Decision)>,
    sources: Vec<String>,
    readings: Vec<Reading>,
    actions: Vec<Action>,
    /// Stretches that are not to be counted.
    left_out: Vec<(Timestamp, Timestamp)>,
    from: Timestamp,
    until: Timestamp,
}

/// A life with one choice of settings.
struct Lived {
    decisions: Vec<(Timestamp, Decision)>,
    answers: Answers,
}

pub(super) fn run(place: &Place, typed: &Typed, tried: &[Tried]) -> Result<ExitCode, Failure> {
    let folder = place.state();
    let nothing = || {
        Failure::new(format!("there is no history yet: {} holds nothing that happened", folder.display()))
            .hint("start watching with `recheck run`; `recheck replay FILE` runs on past files")
    };
    let store = Store::look(&folder)?.ok_or_else(nothing)?;
    let history = History::read(&store, burden::until(&store, &folder)?, typed.days)?.ok_or_else(nothing)?;
    let clocks = tried.iter().map(|one| store.wall_clock(one.settings.policy.zone)).collect::<Result<Vec<_>, _>>()?;
    let mut lived: Vec<Lived> = Vec::new();
    in_order(tried.len(), |which, share| history.live(&tried[which], &clocks[which], share), |one| lived.push(one));
    if typed.json {
        let zone = |at: Timestamp| clocks[0].zone_at(at);
        // Sources have the numbers they had in life.
        let mut policy = tried[0].settings.policy.clone();
        policy.sources = history.sources.iter().map(|name| SourcePolicy::new(name, SourceKind::Streaming)).collect();
        let life = replay_lines::Life { file: None, with_others: true, policy: &policy, from: Some(history.from) };
        replay_lines::lines(&life, &lived[0].decisions, zone, line);
        return Ok(ExitCode::SUCCESS);
    }
    let measured = lived.iter().zip(tried).zip(&clocks).map(|((one, tried), clock)| history.measure(one, tried, clock));
    let summaries = measured.map(|measures| measures.summary()).collect();
    let left_out = left_out(&history.left_out, history.from, history.until);
    if typed.summary {
        words(left_out.as_deref().unwrap_or_default());
    }
    let through = Through::Life {
        from: history.from,
        until: history.until,
        zone: clocks[0].zone_at(history.until),
        left_out,
        answers: lived.iter().map(|one| (one.answers.given, one.answers.without_alert)).collect(),
    };
    Shown::new(&through, tried, summaries).print(typed.summary);
    Ok(ExitCode::SUCCESS)
}

impl History {
    /// None where nothing has happened yet.
    fn read(store: &Store, until: Timestamp, days: u16) -> Result<Option<Self>, Failure> {
        let (mut events, unknown) = store.events()?;
        events.retain(|(at, _)| *at < until);
        if unknown > 0 {
            words(&format!("left out: {unknown} events of a form that is no longer known"));
        }
        let Some((begun, _)) = events.first() else { return Ok(None) };
        let begun = *begun;
        let from = begun.max(until - Span::hours(i64::from(days) * 24));
        let lead = from - Span::minutes(LEAD_MIN);
        let actions = burden::actions(store, lead)?;
        Ok(Some(Self {
            decisions: store.decisions_as_made(begun)?,
            sources: store.source_names()?,
            readings: store.readings_since(lead)?,
            left_out: store.excluded(from, until)?,
            events,
            actions,
            from,
            until,
        }))
    }

    fn live(&self, tried: &Tried, clock: &WallClock, share: &Share<'_>) -> Lived {
        let recorded = Recorded {
            events: &self.events,
            decisions: &self.decisions,
            sources: &self.sources,
            clock,
            until: self.until,
        };
        let begun = self.events.first().map_or(self.from, |(at, _)| *at);
        let mut decisions = Vec::new();
        let answers = live(&tried.settings.policy, &recorded, |at, decision| {
            share.reach((at - begun).as_millis(), (self.until - begun).as_millis());
            decisions.push((at, decision.clone()));
        });
        // The clock may have been set back meanwhile.
        decisions.sort_by_key(|(at, _)| *at);
        Lived { decisions, answers }
    }

    fn measure(&self, lived: &Lived, tried: &Tried, clock: &WallClock) -> Measures {
        // What others are told is no burden of the wearer's.
        let decisions: Vec<(Timestamp, Decision)> =
            lived.decisions.iter().filter(|(_, decision)| decision.to.is_wearer()).cloned().collect();
        let actions: Vec<Action> =
            self.actions.iter().filter_map(|action| by_its_number_now(*action, &lived.answers)).collect();
        let mut measures = Measures::leaving_out(&self.left_out);
        let story = Story {
            from: self.from,
            until: self.until,
            decisions: &decisions,
            actions: &actions,
            readings: &self.readings,
            clock,
            night: tried.settings.policy.night,
            levels: &tried.settings.policy.levels,
        };
        measures.add_life(&self.rows(), &story);
        measures
    }

    /// The readings of the period that came while somebody watched. What was there at the first sight of a source is
    /// history that nobody could have been told of.
    fn rows(&self) -> Vec<Row> {
        let came = self.events.iter().filter_map(|(_, event)| match event {
            Event::Readings { rows, first_sight: false } => Some(rows),
            _ => None,
        });
        let inside = came.flatten().filter(|reading| self.from <= reading.measured && reading.measured < self.until);
        let mut rows = inside.map(|reading| Row { measured: reading.measured, glucose: reading.glucose }).collect();
        put_in_order(&mut rows);
        rows
    }
}

/// What the wearer did, with the number that the alert it names has now; none where there is no such alert.
fn by_its_number_now(action: Action, answers: &Answers) -> Option<Action> {
    let now = |id| answers.named.get(id).copied().flatten();
    let act = match action.act {
        Act::Seen(Some(id)) => Act::Seen(Some(now(&id)?)),
        Act::Treated(Some(Which::Alert(id))) => Act::Treated(Some(Which::Alert(now(&id)?))),
        other => other,
    };
    Some(Action { act, ..action })
}
