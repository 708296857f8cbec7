//! The checks of a treated high: what each finds, and whether it asks. The question about a high
//! that stays is asked by [`super::question`], and a check that is due with it says nothing beside it.

use super::Engine;
use super::alert::priority;
use super::check::Check;
use super::effect::{Condition, Priority, Side, What};
use super::outcome::{Outcome, is_too_early};
use super::policy::Therapy;
use super::reason::{Reason, Treatment};
use super::recheck_high::{HighCheck, Stage};
use super::trend::Direction;
use super::turn::Turn;
use crate::domain::time::Timestamp;

/// In quiet hours a look rings only for harm: above the very high limit and not falling, or falling fast.
pub(super) fn lets_ring(turn: &Turn) -> bool {
    !turn.quiet.inside || priority::of_look_at_high(turn.judged, turn.very_high) >= Priority::Medium
}

impl Engine {
    /// One of the checks of a high that was treated.
    pub(super) fn look_at_treated_high(
        &mut self,
        turn: &mut Turn,
        care: &HighCheck,
        treated: Treatment,
        asked_for: Option<Timestamp>,
    ) {
        let wanted = asked_for.is_some_and(|due| due <= turn.now);
        let asked_for = asked_for.filter(|due| *due > turn.now);
        let recheck = &self.policy.recheck;
        let soon = turn.now + recheck.coming_down;
        let mut scheduled = recheck.high_looks.iter().map(|span| treated.at + *span);
        let next_scheduled = scheduled.find(|due| *due > turn.now);
        // A look that was put off keeps the rule of the scheduled look before it.
        let first_look = recheck.high_looks.get(1).is_none_or(|second| turn.now < treated.at + *second);
        let (high, very_high) = (self.policy.levels.high.limit, self.policy.levels.very_high.limit);
        let Some(judged) = turn.judged else {
            // Nothing new can be said while the lost signal rings.
            let waits = self.waits_without_signal(turn);
            let next = waits.unwrap_or(self.again_without_signal(turn.now));
            let last = self.state.window.newest().map(|last| last.measured);
            self.look_on(turn.now, care, treated, next, asked_for, true);
            let prompts = waits.is_none() || wanted;
            self.look_told(turn, care, Reason::NoFreshReading { treated, last, next }, prompts, wanted);
            return;
        };
        let in_question = self.state.doses.is_in_question(treated.at);
        let early = first_look && self.policy.therapy == Therapy::Injections && !in_question;
        let kept = treated;
        let treated = self.by_one_signal(treated, turn.judged);
        let found = self.found(turn, &treated, early);
        let next = next_scheduled.map_or(soon, |due| due.min(soon));
        match found.outcome {
            _ if !Side::High.is_beyond(judged.glucose, high) => {
                if self.state.plan.landing().is_none() {
                    let reason = Reason::Back { treated, found: Some(found) };
                    turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, reason, false);
                }
                self.close_high(turn);
            }
            Outcome::FallingTooFast => {
                self.look_on(turn.now, care, kept, next, asked_for, false);
                self.look_told(turn, care, Reason::FallingTooFast { treated, next, found }, true, wanted);
            }
            Outcome::ComingDown if !wanted => {
                self.look_on(turn.now, care, kept, next, asked_for, false);
                self.look_told(turn, care, Reason::ComingDown { treated, next, found }, false, false);
            }
            Outcome::Slow | Outcome::NoResponse if !wanted && is_too_early(early, judged, very_high) => {
                let next = next_scheduled.unwrap_or(soon);
                self.look_on(turn.now, care, kept, next, asked_for, false);
                self.look_told(turn, care, Reason::TooEarly { treated, next, found }, false, false);
            }
            // Not coming down, or the wearer wants to be asked whatever it does.
            _ => {
                let next = match next_scheduled {
                    Some(next) => {
                        self.look_on(turn.now, care, kept, next, asked_for, false);
                        next
                    }
                    None => self.ask_later(turn.now, care.id, care.part_of, care.since, true, 0),
                };
                // Where the question speaks, or has just spoken, there is nothing to ask beside it.
                let spoken = self.question_due(turn).is_some() || !wanted && self.is_asked_around(turn);
                let reason = Reason::NotComingDown { treated, asked_for: wanted, next, found };
                self.look_told(turn, care, reason, !spoken, wanted && !spoken);
            }
        }
    }

    /// Records a look, and prompts if the rules let it; one the wearer asked for rings whenever it is.
    fn look_told(&mut self, turn: &mut Turn, care: &HighCheck, reason: Reason, prompts: bool, wanted: bool) {
        turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, reason.clone(), false);
        let falling_fast =
            turn.judged.and_then(|judged| judged.rate).is_some_and(|rate| rate.direction() == Direction::FallingFast);
        if turn.night.inside && falling_fast || prompts && (wanted || lets_ring(turn)) {
            turn.tell(What::Prompt, Condition::RecheckHigh, care.id, care.part_of, reason, true);
            self.mark_followed_as_rung(turn.now);
        } else if prompts {
            self.look_by(turn.held_until());
            turn.tell(What::Withheld, Condition::RecheckHigh, care.id, care.part_of, turn.waits(), false);
        }
    }

    /// Looks again at `next`, or sooner if the wearer asked for it.
    fn look_on(
        &mut self,
        now: Timestamp,
        care: &HighCheck,
        treated: Treatment,
        next: Timestamp,
        asked_for: Option<Timestamp>,
        unseen: bool,
    ) {
        let stage = Stage::Looking { treated, asked_for, unseen };
        self.state.plan.look_at(Check::High(HighCheck { stage, ..care.clone() }));
        self.set_look(now, next, asked_for);
    }
}
