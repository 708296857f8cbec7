//! Runs the engine over one person's readings and diary, each known when it was measured or written down. Answers have
//! their effect, and somebody can be called. Knows of no answers but those in the diary.

use super::answers::{Act, Action};
use super::recorded::Answers;
use crate::domain::glucose::Glucose;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::Written;
use crate::engine::Engine;
use crate::engine::effect::Decision;
use crate::engine::event::{Cause, Event};
use crate::engine::policy::Policy;
use crate::formats::rows::Row;
use std::collections::BTreeSet;

/// A longer stretch without a row or a line was not watched: ours.
const WATCHED_WITHIN: Span = Span::hours(48);

/// A line of a diary, and its file and line.
pub type Line = (String, Written);

/// One person's life, as files hold it.
#[derive(Debug, Default)]
pub struct Together {
    /// What is known, in the order it becomes known.
    steps: Vec<(Timestamp, Known)>,
    lines: Vec<Line>,
}

/// What becomes known at an instant: readings before lines.
#[derive(Debug, Clone, Copy)]
enum Known {
    Reading(SourceId, Glucose),
    /// The place of the line.
    Line(usize),
}

impl Together {
    /// Rows are those of each source by its number, in order and without doubles; lines are in the order of the files.
    /// Lines that agree in all they say are one line.
    #[must_use]
    pub fn new(sources: &[Vec<Row>], mut lines: Vec<Line>) -> Self {
        let mut known = BTreeSet::new();
        lines.retain(|(_, line)| known.insert(line.key()));
        let of_source = |(number, rows): (u16, &Vec<Row>)| {
            let known = |row: &Row| (row.measured, Known::Reading(SourceId(number), row.glucose));
            rows.iter().map(known).collect::<Vec<_>>()
        };
        let mut steps: Vec<(Timestamp, Known)> = (0..).zip(sources).flat_map(of_source).collect();
        steps.extend(lines.iter().enumerate().map(|(place, (_, line))| (line.end(), Known::Line(place))));
        // What is of one instant stays as it was put here: readings source by source, then lines.
        steps.sort_by_key(|(at, _)| *at);
        Self { steps, lines }
    }

    /// The first and the last instant at which something becomes known; none where nothing does.
    #[must_use]
    pub fn period(&self) -> Option<(Timestamp, Timestamp)> {
        self.steps.first().zip(self.steps.last()).map(|((first, _), (last, _))| (*first, *last))
    }

    /// All readings, in the order of their measurement.
    #[must_use]
    pub fn readings(&self) -> Vec<Reading> {
        let reading = |(measured, known): &(Timestamp, Known)| match known {
            Known::Reading(source, glucose) => {
                Some(Reading { source: *source, measured: *measured, glucose: *glucose })
            }
            Known::Line(_) => None,
        };
        self.steps.iter().filter_map(reading).collect()
    }

    /// What the wearer did, oldest first.
    #[must_use]
    pub fn actions(&self) -> Vec<Action> {
        let action = |(at, known): &(Timestamp, Known)| match known {
            Known::Line(place) => Act::written(&self.lines[*place].1.what).map(|act| Action { at: *at, act }),
            Known::Reading(..) => None,
        };
        self.steps.iter().filter_map(action).collect()
    }

    /// Lives through it with a fresh engine and hands over each decision with its time. `policy` names the sources by
    /// their numbers. A long stretch of which nothing is known is stepped over as one that nobody watched. Time ends with
    /// the last row or line.
    pub fn live(&self, policy: Policy, mut each: impl FnMut(Timestamp, &Decision)) -> Answers {
        let mut engine = Engine::new(policy);
        let mut answers = Answers::default();
        let mut last: Option<Timestamp> = None;
        for (at, known) in &self.steps {
            let at = *at;
            let mut tell = |at: Timestamp, decisions: &[Decision]| {
                for decision in decisions {
                    each(at, decision);
                }
            };
            match last.filter(|last| at - *last > WATCHED_WITHIN) {
                Some(from) => {
                    let event = Event::Unwatched { from, to: at, cause: Cause::Stopped };
                    tell(at, &engine.handle(&event, at));
                }
                None => {
                    while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < at) {
                        tell(deadline, &engine.handle(&Event::Tick, deadline));
                    }
                }
            }
            let event = match known {
                Known::Reading(source, glucose) => {
                    let reading = Reading { source: *source, measured: at, glucose: *glucose };
                    Event::Readings { rows: vec![reading], first_sight: false }
                }
                Known::Line(place) => {
                    let (whence, line) = &self.lines[*place];
                    Event::written(line, whence, at)
                }
            };
            let decisions = engine.handle(&event, at);
            answers.hear(&event, &decisions);
            tell(at, &decisions);
            last = Some(at);
        }
        answers
    }
}
