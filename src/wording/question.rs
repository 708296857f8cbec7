//! What is asked about a high that stays: ketones, and pen or set. Two short sentences, what to do first; it names no
//! amount, and while insulin works it says so instead of "decide".

use super::Voice;
use super::since;
use super::text::{Parts, Said, fitting};
use crate::domain::ketone_table::KetoneTest;
use crate::domain::time::Span;
use crate::engine::policy::Therapy;
use crate::engine::question::{Question, Why};

/// Within this after a rapid dose nobody is told to decide anew: its peak effect is still to come or just there.
const STILL_WORKS: Span = Span::hours(2);

/// From so long after the first dose on the care team is to be called.
const CALLS_TEAM: Span = Span::hours(3);

impl Said<'_> {
    /// `High 285, steady, 14:05. Check ketones and pen`.
    pub(super) fn high_stays(&self, question: &Question) -> Parts {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let plain = self.decision.glucose.map_or_else(String::new, |glucose| self.voice.value(glucose));
        let pump = self.policy.therapy != Therapy::Injections;
        let what = if pump { "set" } else { "pen" };
        let team = question.dose.is_some_and(|dose| self.voice.now - dose.at >= CALLS_TEAM);
        let unmeasured = self.policy.ketone_test == KetoneTest::None;
        let title = if unmeasured {
            let end = if team { "call your team" } else { "ketones unknown" };
            fitting(&[
                format!("High {value}, {at}. Check {what}; {end}"),
                format!("High {plain}, {at}. Check {what}; {end}"),
            ])
        } else if team {
            fitting(&[
                format!("High {value}, {at}. Ketones, {what}; call your team"),
                format!("High {plain}, {at}. Ketones, {what}; call your team"),
            ])
        } else {
            fitting(&[
                format!("High {value}, {at}. Check ketones and {what}"),
                format!("High {plain}, {at}. Check ketones and {what}"),
            ])
        };
        if unmeasured {
            let check =
                format!("Ketones unknown: check the {what}, drink; not falling in 2 h or unwell: call your team.");
            return (title, vec![check, self.what_then(question, team)]);
        }
        let check = match (pump, question.why) {
            (true, Why::FirstCheck) => "Measure ketones and check the set; if it may have failed, your plan for that.",
            (true, _) => "Measure ketones, and check the set, tubing and reservoir.",
            (false, _) => "Measure ketones, and check the pen: does a drop come, in date, not warm or frozen?",
        };
        (title, vec![check.to_owned(), self.what_then(question, team)])
    }

    fn what_then(&self, question: &Question, team: bool) -> String {
        let works = question.latest.filter(|latest| self.voice.now - *latest <= STILL_WORKS);
        let works = works.map(|latest| format!("insulin of {} is still working", self.voice.clock(latest)));
        let dose = question.dose.map(|dose| (since(dose.at, self.voice.now), self.voice.clock(dose.at)));
        match (dose, works) {
            (Some((after, _)), works) if team => {
                let slow = match question.meal {
                    Some(meal) => format!("Slow after {after}, a meal was noted {}", self.voice.clock(meal)),
                    None => format!("No response in {after}"),
                };
                let works = works.map_or_else(String::new, |works| format!("; {works}"));
                format!("{slow}: call your care team{works}.")
            }
            (_, Some(works)) => {
                let slow = question
                    .meal
                    .map_or_else(String::new, |meal| format!("Slow, a meal was noted {}; ", self.voice.clock(meal)));
                super::text::capital(&format!("{slow}{works}."))
            }
            (_, None) if self.adjusts() => super::pump::SEE.to_owned(),
            (Some((_, at)), None) => format!("Treated {at}: decide by your plan."),
            (None, None) => "Nothing was noted for it: decide by your plan.".to_owned(),
        }
    }
}

/// Why, for `why`.
pub(super) fn sentence(question: &Question, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    let dose = question.dose.map_or_else(String::new, |dose| format!(", treated at {}", clock(dose.at)));
    let meal = question.meal.map_or_else(String::new, |meal| format!(" with a meal noted at {}", clock(meal)));
    let why = match question.why {
        Why::Lasts => "it stays, and is not falling",
        Why::Again => "it still stays so, and is not falling",
        Why::FirstCheck => "no lower an hour after a dose from a pump",
        Why::NoResponse => "no response in three hours",
    };
    let found = question.found.as_ref().map_or_else(String::new, |found| super::insulin::found(found, voice));
    let (since, next) = (clock(question.since), clock(question.next));
    format!("very high since {since}{dose}{meal}: {why}; asked again at {next}{found}")
}
