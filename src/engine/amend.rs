//! A line of the diary is changed after it was taken in: what hangs on it follows. A look moves with its treatment;
//! where none is left that counts, a high or a low is as if nobody had treated it: asked about again, never silent.

use super::Engine;
use super::check::Check;
use super::effect::{Condition, Side, What};
use super::ketones::is_about_ketones;
use super::mistaken::says_mistaken;
use super::nadir::Nadir;
use super::plan::Job;
use super::reason::{Began, Reason};
use super::recheck_high::{HighCheck, Stage};
use super::symptoms::may_begin_a_low;
use super::turn::Turn;
use crate::domain::change::treated;
use crate::domain::diary::{Amount, Kind, Note};
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::{Excursion, is_diary_only};

/// One change of the diary, with what else stands in it.
#[derive(Debug, Clone, Copy)]
struct Amended<'a> {
    was: Option<&'a Note>,
    is: Option<&'a Note>,
    others: &'a [Note],
}

impl<'a> Amended<'a> {
    /// All that stands now, the newest last.
    fn standing(self) -> Vec<&'a Note> {
        let mut all: Vec<&Note> = self.others.iter().chain(self.is).collect();
        all.sort_by_key(|note| note.at);
        all
    }

    /// When a kind was last noted, as far as that is known now.
    fn last(self, is_kind: impl Fn(&Kind) -> bool) -> Option<Timestamp> {
        self.standing().iter().rev().find(|note| is_kind(&note.kind)).map(|note| note.at)
    }
}

/// Does a note treat that side of the range? One that does not say which may treat either.
fn treats(note: &Note, side: Side) -> bool {
    match (&note.kind, side) {
        (Kind::Insulin(_), Side::High) | (Kind::Carbohydrate(_), Side::Low) => true,
        (Kind::Symptoms, Side::Low) => may_begin_a_low(note),
        (Kind::Text, _) => match treated(note) {
            Some(Some(which)) => (which == Excursion::High) == (side == Side::High),
            Some(None) => true,
            None => false,
        },
        _ => false,
    }
}

/// What the looks that a note starts are told to have begun with.
const fn began(note: &Note) -> Began {
    match note.kind {
        Kind::Symptoms => Began::Symptoms,
        Kind::Meter(_) => Began::Meter,
        _ => Began::Treated,
    }
}

const fn is_dose(note: &Note) -> bool {
    note.kind.is_insulin()
}

/// When a dose was taken, and how much of it was told.
const fn dose_of(note: &Note) -> Option<(Timestamp, Option<Amount>)> {
    match note.kind {
        Kind::Insulin(amount) => Some((note.at, amount)),
        _ => None,
    }
}

/// Do two notes treat the same at the same time? Then what hangs on the one hangs on the other.
fn treat_the_same(one: &Note, other: &Note) -> bool {
    let sides = |note: &Note| [Side::High, Side::Low].map(|side| treats(note, side));
    one.at == other.at && began(one) == began(other) && sides(one) == sides(other) && sides(one).contains(&true)
}

impl Engine {
    /// A line of the diary was another, or is one no more, or is one again.
    pub(super) fn amended(&mut self, turn: &mut Turn, was: Option<&Note>, is: Option<&Note>, others: &[Note]) {
        // As of a line that comes late: an answer by it counts from its own time.
        turn.written = true;
        turn.amends = true;
        turn.judged = self.latest(turn.now);
        let first = turn.out.len();
        // What is in question treats nothing, before the change and after it.
        let others: Vec<Note> = others.iter().filter(|note| !self.is_in_question(note)).cloned().collect();
        let was_in_question = was.is_some_and(|was| self.is_in_question(was));
        self.forget_dose(was, is, &others);
        let is_other = is.filter(|is| was.is_none_or(|was| (was.at, &was.kind) != (is.at, &is.kind)));
        if let Some(is) = is_other {
            self.asks_about(turn, is);
        }
        let amended = Amended { was, is, others: &others };
        self.forget_what_was(turn.now, Amended { is: is.filter(|is| !self.is_in_question(is)), ..amended });
        self.follow_given(amended);
        self.forget_ketones_amended(turn, amended);
        self.forget_meter(turn, amended);
        if let Some(was) = was.filter(|was| is.is_none_or(|is| (is.at, &is.kind) != (was.at, &was.kind))) {
            self.forget_session(turn.now, was);
        }
        if let Some(was) = was.filter(|was| is != Some(*was)) {
            match was.kind {
                Kind::Site => self.forget_set(was.at),
                Kind::Insulin(_) if says_mistaken(was) => self.forget_mistaken(turn, was.at),
                _ => {}
            }
        }
        let as_before = !was_in_question && was.zip(is).is_some_and(|(was, is)| treat_the_same(was, is));
        let mut is_new = is.filter(|_| !as_before);
        if let Some(is) = is.filter(|is| as_before || is.kind.is_insulin()) {
            self.remember_note(is);
        }
        if let Some(is) = is.filter(|is| as_before && says_mistaken(is)) {
            self.mistaken_noted(turn, is.at);
        }
        for side in [Side::High, Side::Low] {
            if was.is_some_and(|was| !as_before && self.hangs_on(side, was)) {
                is_new = is_new.filter(|is| !treats(is, side));
                self.follow_amended(turn, side, amended);
            }
        }
        if let Some(is) = is_new {
            self.remember_note(is);
            self.take_in_amended(turn, is);
        }
        self.recount_treatments(amended);
        let is_treatment = |note: &&&Note| treats(note, Side::Low) && note.kind != Kind::Symptoms;
        self.only_these_defer_calls(turn.now, amended.standing().iter().filter(is_treatment).map(|note| note.at));
        if !turn.out[first..].iter().any(|decision| decision.what == What::Answer) {
            turn.only_noted();
        }
    }

    /// A treatment that was deleted or moved no longer counts where it stood.
    fn recount_treatments(&mut self, amended: Amended<'_>) {
        let counts = |note: &&Note| treats(note, Side::Low) && began(note) == Began::Treated;
        if amended.was.as_ref().is_some_and(counts) {
            let standing = amended.standing().into_iter().filter(counts).map(|note| note.at);
            self.state.register.story.treated_only(standing);
        }
    }

    /// Do the looks of that side hang on a note?
    fn hangs_on(&self, side: Side, note: &Note) -> bool {
        let told = began(note);
        let treatment = match side {
            Side::High => self.state.plan.high().and_then(|check| match check.stage {
                Stage::Looking { treated, .. } => Some(treated),
                Stage::Asking { .. } => None,
            }),
            Side::Low => self.state.plan.low().and_then(|check| check.treated),
        };
        let is_of_side = treats(note, side) || side == Side::Low && told == Began::Meter;
        is_of_side && treatment.is_some_and(|treatment| treatment.at == note.at && treatment.told == told)
    }

    /// The looks of a side hung on what was: they hang on the newest that stands, or on nothing.
    fn follow_amended(&mut self, turn: &mut Turn, side: Side, amended: Amended<'_>) {
        let since = self.root(side).map(|root| root.since);
        let counts = |note: &&&Note| {
            let was_out = self.value_at(note.at).is_some_and(|value| match side {
                Side::Low => side.is_beyond(value, self.policy.levels.low.limit),
                Side::High => side.is_beyond(value, self.policy.levels.high.limit),
            });
            // What is moved has started looks before: it does so wherever it is moved to.
            let is_moved = amended.is == Some(**note);
            let is_of_it = is_moved || was_out || since.is_some_and(|since| since <= note.at);
            let is_too_old = is_diary_only(Some(&note.kind), note.at, turn.now)
                || self.began_after(turn.now, side, note.at).is_some();
            treats(note, side) && is_of_it && !is_too_old
        };
        let next = amended.standing().iter().rev().find(counts).copied();
        let asked_for = match (side, self.state.plan.high(), amended.was, amended.is) {
            // A look that was asked for belongs to what is moved.
            (
                Side::High,
                Some(HighCheck { stage: Stage::Looking { asked_for: Some(asked), .. }, .. }),
                Some(was),
                _,
            ) if next == amended.is => Some(*asked - was.at),
            _ => None,
        };
        if let (Side::Low, Some(was), Some(next)) = (side, amended.was, next) {
            self.move_answer(turn, was.at, next.at);
        }
        if let Some(check) = self.state.plan.low_mut().filter(|_| side == Side::Low && next.is_some()) {
            // What it hung on is none: what is next takes its place, however early that was.
            check.treated = None;
        }
        match (side, next) {
            (Side::High, Some(note)) => {
                if is_dose(note) && !self.is_in_question(note) {
                    self.correction_noted(note.at);
                }
                self.treat_high(turn, note.at, asked_for);
            }
            (Side::Low, Some(note)) if note.kind == Kind::Symptoms => self.treat_low(turn, note.at, Began::Symptoms),
            (Side::Low, Some(note)) => self.treat_low_or_caution(turn, note.at),
            (Side::High, None) => self.leave_high_untreated(turn),
            (Side::Low, None) => self.leave_low_untreated(turn),
        }
    }

    /// What nothing hung on before is taken in like a line that comes late.
    fn take_in_amended(&mut self, turn: &mut Turn, is: &Note) {
        let side = [Side::High, Side::Low].into_iter().find(|side| treats(is, *side));
        let is_looked_at = side.is_some_and(|side| self.treated_since(side, is.at));
        if is_looked_at || is_diary_only(Some(&is.kind), is.at, turn.now) {
            return;
        }
        match treated(is) {
            // Of a treatment that says no side nothing is asked back: it was understood once.
            Some(None) => {}
            Some(Some(Excursion::High)) => self.treat_high(turn, is.at, None),
            Some(Some(Excursion::Low)) => self.treat_low_or_caution(turn, is.at),
            None => self.take_in(turn, is),
        }
    }

    /// A high that nobody has treated is asked about at the growing spans from its beginning: at the next of them.
    fn leave_high_untreated(&mut self, turn: &mut Turn) {
        let Some(HighCheck { id, part_of, since, ketones, .. }) = self.state.plan.take_high() else { return };
        self.state.plan.stop(Job::HighCheck);
        let root = self.root(Side::High).map(|root| (root.id, root.since));
        let Some((alert, alert_since)) = root else {
            let reason = Reason::NoLongerTreated { side: Side::High, since: None, next: None };
            turn.tell(What::Ended, Condition::RecheckHigh, id, part_of, reason.clone(), false);
            turn.tell(What::Answer, Condition::RecheckHigh, id, part_of, reason, false);
            return;
        };
        // A clock that was ahead may have had it begin in the future.
        let since = since.max(alert_since).min(turn.now);
        let spans = &self.policy.recheck.still_high;
        let (mut asked, mut next) = (0, since);
        while next <= turn.now {
            let span = spans.get(asked).or(spans.last()).copied().unwrap_or(Span::hours(2));
            next = next + span.max(Span::minutes(1));
            asked += 1;
        }
        let stage = Stage::Asking { marked: false, asked: asked.saturating_sub(1) };
        self.state.plan.look_at(Check::High(HighCheck { id, part_of: Some(alert), since, ketones, stage }));
        self.state.plan.set(Job::HighCheck, next);
        let reason = Reason::NoLongerTreated { side: Side::High, since: Some(since), next: Some(next) };
        turn.tell(What::Answer, Condition::RecheckHigh, id, Some(alert), reason, false);
    }

    /// A low that nobody has treated calls again, from now on.
    fn leave_low_untreated(&mut self, turn: &mut Turn) {
        let Some(care) = self.state.plan.take_low() else { return };
        self.state.plan.stop(Job::LowCheck);
        if care.is_cautious()
            && let Some(caution) = self.state.register.of_mut(Condition::Caution)
        {
            caution.take_back_answer();
        }
        let next = care.treated.and_then(|treated| self.call_again(turn, treated.at));
        let since = self.root(Side::Low).map(|root| root.since);
        let reason = Reason::NoLongerTreated { side: Side::Low, since, next };
        if since.is_none() {
            turn.tell(What::Ended, Condition::RecheckLow, care.id, care.part_of, reason.clone(), false);
        }
        turn.tell(What::Answer, Condition::RecheckLow, care.id, care.part_of, reason, false);
    }

    /// What is remembered of a note is what stands now.
    fn forget_what_was(&mut self, now: Timestamp, amended: Amended<'_>) {
        let Some(was) = amended.was else { return };
        let again = |last: &mut Option<Timestamp>, is_kind: fn(&Kind) -> bool| {
            if *last == Some(was.at) && is_kind(&was.kind) {
                *last = amended.last(is_kind);
            }
        };
        let memory = &mut self.state.before_sleep;
        again(&mut memory.insulin, |kind| matches!(kind, Kind::Insulin(_)));
        again(&mut memory.exercise, |kind| *kind == Kind::Exercise);
        again(&mut self.state.foreseen.ate, |kind| matches!(kind, Kind::Carbohydrate(_)));
        again(&mut self.state.modes.ketones, |kind| kind.ketones().is_some());
        let moves = |kind: &Kind| matches!(kind, Kind::Insulin(_) | Kind::Carbohydrate(_));
        if moves(&was.kind) {
            self.forget_what_moves(was.at, amended.last(moves));
        }
        if treats(was, Side::High) {
            let newest = self.newest_of_high(amended);
            self.evening_look_hangs_on(now, was.at, newest);
            self.landing_hangs_on(was.at, newest);
            let of_high = &mut self.state.before_sleep.high_treated;
            if *of_high == Some(was.at) {
                *of_high = newest;
                // Its looks may be over: then it is one that nobody marked.
                if let Some(HighCheck { stage: Stage::Asking { marked, .. }, .. }) = self.state.plan.high_mut() {
                    *marked = newest.is_some();
                }
            }
        }
    }

    /// What was said of ketones hangs on what stands; a line that still says something of them is noted after this.
    fn forget_ketones_amended(&mut self, turn: &mut Turn, amended: Amended<'_>) {
        let Some(was) = amended.was.filter(|was| amended.is != Some(*was)) else { return };
        let follows = |is: &Note| is_about_ketones(is) && !is_diary_only(Some(&is.kind), is.at, turn.now);
        let standing: Vec<&Note> = amended.others.iter().collect();
        let follows = amended.is.is_some_and(follows);
        self.forget_ketones(turn, was, &standing, follows);
    }

    /// When the newest treatment of a high that stands was: what is moved was one before, and of doses the corrections.
    fn newest_of_high(&self, amended: Amended<'_>) -> Option<Timestamp> {
        let counts =
            |note: &&&Note| amended.is == Some(**note) || !is_dose(note) || self.state.doses.is_correction_at(note.at);
        amended.standing().iter().rev().filter(|note| treats(note, Side::High)).find(counts).map(|note| note.at)
    }

    /// A dose that was another, or none.
    fn forget_dose(&mut self, was: Option<&Note>, is: Option<&Note>, others: &[Note]) {
        let Some((at, amount)) = was.and_then(dose_of) else { return };
        let stands = |note: &Note| is_dose(note) && note.at == at;
        let is_same = is.is_some_and(|is| was.is_some_and(|was| (is.at, &is.kind) == (was.at, &was.kind)));
        if !is_same && !others.iter().any(stands) {
            self.state.doses.forget(at, amount);
        }
    }

    /// What was given for a high, or eaten beside it, and was not; and what was instead.
    fn follow_given(&mut self, amended: Amended<'_>) {
        let gives = |note: &Note| treats(note, Side::High);
        let eats = |note: &Note| matches!(note.kind, Kind::Carbohydrate(_));
        let stands = |at: Timestamp, is: fn(&Note) -> bool| {
            amended.others.iter().chain(amended.is).any(|note| note.at == at && is(note))
        };
        let gone = amended.was.filter(|was| gives(was) && !stands(was.at, gives));
        let value = gone.and_then(|was| self.state.high.forget_given(was.at));
        if let Some(was) = amended.was.filter(|was| eats(was) && !stands(was.at, eats)) {
            self.state.high.forget_food(was.at);
        }
        if let Some(was) = amended.was.filter(|was| !amended.others.iter().any(|note| note.at == was.at)) {
            self.state.high.calls.forget_line(was.at);
        }
        // A line that does not say which side it treats is of the side whose checks it has.
        if let Some(is) = amended.is.filter(|is| gives(is) && treated(is) != Some(None)) {
            // Of what is moved further back than readings are kept the value is that of where it was.
            let value = self.value_at(is.at).or(value);
            self.state.high.give(is.at, value);
        }
    }

    /// A check with a meter that was another, or none: what it said no longer holds, and what it kept quiet rings.
    fn forget_meter(&mut self, turn: &mut Turn, amended: Amended<'_>) {
        let Some(was) = amended.was.filter(|was| amended.is != Some(*was)) else { return };
        let Kind::Meter(said) = was.kind else { return };
        let value = |note: &Note| if let Kind::Meter(value) = note.kind { Some((note.at, value)) } else { None };
        let of_then = amended.others.iter().chain(amended.is).filter_map(value).find(|(at, _)| *at == was.at);
        self.forget_denial(turn.now, was.at);
        self.amend_compared(was.at, of_then.map(|(_, value)| value));
        if self.state.meter == Some((was.at, said)) {
            self.state.meter = amended.others.iter().filter_map(value).max_by_key(|(at, _)| *at);
            self.end_quiet_of_meter(turn, was.at);
            if let Some(care) = self.state.plan.low_mut() {
                let low = self.policy.levels.low.limit.hundredths();
                care.by_meter &= self.state.meter.is_some_and(|(_, meter)| meter.hundredths() < low);
            }
        }
        self.forget_nadir(Nadir { value: said, at: was.at });
    }
}
