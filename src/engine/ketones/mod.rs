//! Ketones: what was noted is held against the one table ([`crate::domain::ketone_table`]), said at once, asked about
//! again after its row's span, and an emergency calls until a person answers. The question about a high that stays is
//! asked in [`super::question`]; how long a value answers that question is said here. It never names an amount.

mod emergency;
pub mod reason;

pub(super) use emergency::is_about_ketones;

use super::Engine;
use super::alert::{Alert, Detail, Standing};
use super::effect::{Condition, Decision, Id, Side, What};
use super::mode::profile::Profile;
use super::plan::Job;
use super::policy::Therapy;
use super::reason::Reason;
use super::turn::{Judged, Turn};
use crate::domain::ketone_table::{KetoneRow, KetoneTest, row_of_red_flag};
use crate::domain::ketones::Ketones;
use crate::domain::mode::Mode;
use crate::domain::symptoms::Symptoms;
use crate::domain::time::{Span, Timestamp};
use reason::{Finding, KetoneWhy};
use serde::{Deserialize, Serialize};

/// What is older enters the diary, says its row, and starts nothing: as for other lines that come late.
const CURRENT: Span = Span::hours(4);

/// A red flag that was noted counts beside what is measured for so long. Ours.
const FLAGS_COUNT: Span = Span::hours(4);

/// A value is outweighed by a better one only if that was measured so much later. Ours.
const WORSE_COUNTS: Span = Span::hours(1);

/// An emergency that rang so lately, and nobody has answered, rings on by its steps when more of it is noted.
const RANG_LATELY: Span = Span::minutes(5);

/// It is asked about again so often before it is left to the questions of a high. Ours.
const ASKED_MAX: u8 = 3;

/// What was noted late is not asked about again at once.
const AGAIN_AT_LEAST: Span = Span::minutes(15);

/// While low only what concerns the low rings: what is raised waits so long, and again.
const WAITS_FOR_LOW: Span = Span::minutes(15);

/// Whoever is prone to ketones and was asked for them is asked again after this, whatever the glucose does: the first span
/// of the questions of a high, and a little, so that one of those comes instead where it is still high.
const WANTED_AGAIN: Span = Span::minutes(130);

/// After symptoms of whoever is prone to ketones: as after a value that is high.
const WANTED_AFTER_SYMPTOMS: Span = Span::hours(1);

/// It is asked about again after this, where its row says no span.
const ITS_OWN_QUESTION: Span = Span::hours(2);

/// By night a value that is not raised answers for longer below this and without such a rise, in hundredths of a mg/dL: ours.
const BY_NIGHT_BELOW: i32 = 30_000;
const BY_NIGHT_RISE: i32 = 3_000;

/// What is remembered of ketones.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct KetonesKnown {
    /// What was measured last, and when.
    pub last: Option<(Timestamp, Ketones)>,
    /// The red flags that were noted last, and when.
    pub flags: Option<Flags>,
    /// When a question about them last rang.
    pub asked: Option<Timestamp>,
    /// Since when they are to be measured, and nothing was, of whoever is prone to them.
    pub wanted: Option<Timestamp>,
}

/// Red flags that were noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flags {
    /// When.
    pub at: Timestamp,
    /// Which.
    pub symptoms: Symptoms,
    /// They are taken for a low until a finger-prick says otherwise.
    pub low_first: bool,
}

/// What the alert remembers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct KetoneFacts {
    /// What it is about.
    pub found: Finding,
    /// How often it was asked about again.
    pub asked: u8,
}

impl KetonesKnown {
    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        let flags = self.flags.as_mut().map(|flags| &mut flags.at);
        let last = self.last.as_mut().map(|(at, _)| at);
        for at in [flags, last, self.asked.as_mut(), self.wanted.as_mut()].into_iter().flatten() {
            *at = *at + by;
        }
    }
}

fn said(said: KetoneWhy) -> Reason {
    Reason::Ketones { said }
}

impl Engine {
    /// Until when the question about ketones is answered by what was measured; none where nothing was.
    #[must_use]
    pub fn ketones_answered_until(&self) -> Option<Timestamp> {
        let Some((at, measured)) = self.state.ketones.last else {
            // An older version kept only when they were noted.
            return self.state.modes.ketones.map(|at| at + KetoneRow::NotRaised.answers_for(true));
        };
        // A strip in urine tells of hours ago: it answers no longer than where things can change within hours.
        let soon = self.ketones_change_soon() || measured.is_urine();
        Some(at + measured.row(self.is_pregnant()).answers_for(soon))
    }

    /// By night whoever injects, is not ill and measured ketones that are not raised that evening is left to sleep for six
    /// hours after that, or until the night ends: while it is below 300 and has not risen by 30 since.
    pub(super) fn ketones_answered_by_night(&self, now: Timestamp, judged: Option<Judged>) -> Option<Timestamp> {
        let (at, measured) = self.state.ketones.last?;
        let calm = !measured.is_urine() && measured.row(false) == KetoneRow::NotRaised;
        let judged = judged.filter(|_| calm && !self.ketones_change_soon() && !self.is_on(Mode::Sick, now))?;
        let then = self.value_at(at)?.hundredths();
        let value = judged.glucose.hundredths();
        let night = self.policy.night.stretch(self.policy.zone, now);
        let sleeps = night.inside && value < BY_NIGHT_BELOW && value < then + BY_NIGHT_RISE;
        sleeps.then(|| (at + self.policy.recheck.ketone_night).min(night.until))
    }

    /// A pump's insulin may have stopped without notice, and nobody may have said how it is taken.
    pub(super) fn ketones_change_soon(&self) -> bool {
        !self.policy.therapy_is_known || matches!(self.policy.therapy, Therapy::Pump | Therapy::SelfAdjusting)
    }

    pub(super) fn is_pregnant(&self) -> bool {
        self.policy.profiles.contains(&Profile::Pregnancy)
    }

    /// Can ketones rise at any glucose?
    pub(super) fn is_ketone_prone(&self) -> bool {
        self.is_pregnant() || self.policy.profiles.contains(&Profile::KetoneProne)
    }

    /// A question about ketones rings elsewhere: whoever is prone to them is asked again, whatever the glucose does.
    pub(super) fn ketones_question_rang(&mut self, now: Timestamp) {
        self.state.ketones.asked = Some(now);
        let has_test = self.policy.ketone_test != KetoneTest::None;
        if has_test && self.is_ketone_prone() && self.state.register.of(Condition::Ketones).is_none() {
            self.state.ketones.wanted.get_or_insert(now);
            self.state.plan.set(Job::Ketones, now + WANTED_AGAIN);
        }
    }

    /// It is asked about here: of a high that stays this is its question as well.
    fn ketones_asked_now(&mut self, now: Timestamp) {
        self.state.ketones.asked = Some(now);
        if self.state.high.very_high.is_some() {
            self.state.high.ask(now);
        }
    }

    /// Ketones were measured: their row is said, and what it asks for begins.
    pub(super) fn ketones_measured(&mut self, turn: &mut Turn, at: Timestamp, measured: Ketones) {
        let row = measured.row(self.is_pregnant());
        let value = Finding { row, at, measured: Some((at, measured)), symptoms: None, low: false };
        let pregnant = self.is_pregnant();
        // A worse value that is noted late counts for danger, as long as it speaks of now.
        let is_newest = self
            .state
            .ketones
            .last
            .is_none_or(|(before, known)| before <= at || row > known.row(pregnant) && before - at <= WORSE_COUNTS);
        self.state.modes.ketones = self.state.modes.ketones.max(Some(at));
        if is_newest {
            self.state.ketones.last = Some((at, measured));
        }
        if !is_newest || turn.now - at > CURRENT {
            answer(turn, Id(0), KetoneWhy::Row { found: value, next: None });
            return self.follow_standing_ketones(turn);
        }
        self.state.ketones.wanted = None;
        let found = self.beside_flags(turn.now, value);
        // A strip that shows nothing adds nothing to what is feared already.
        let is_news = row > KetoneRow::NotRaised || !measured.is_urine();
        self.follow_ketones(turn, found, is_news);
    }

    /// Red flags were noted. Whoever is drowsy while glucose is low, or nobody knows it, is looked at as low first.
    pub(super) fn red_flags_noted(&mut self, turn: &mut Turn, at: Timestamp, symptoms: Symptoms, low_first: bool) {
        let glucose = self.lowest_latest(turn.now).map(|judged| judged.glucose);
        let low = glucose.is_some_and(|glucose| Side::Low.is_beyond(glucose, self.policy.levels.low.limit));
        let others = symptoms.vomiting || symptoms.stomach_pain || symptoms.fast_breathing;
        if turn.now - at > CURRENT {
            return turn.only_noted();
        }
        let before = self.state.ketones.flags.filter(|before| at - before.at <= FLAGS_COUNT && !before.low_first);
        let all = before.map_or(symptoms, |before| symptoms.and(before.symptoms));
        self.state.ketones.flags =
            Some(Flags { at, symptoms: all, low_first: low_first && before.is_none() && !others });
        if low_first {
            answer(turn, Id(0), KetoneWhy::LowFirst { at });
        }
        if !low_first || others {
            let found = self.finding_of_flags(turn.now, at, all, low && symptoms.vomiting);
            self.follow_ketones(turn, found, true);
        }
    }

    /// A finger-prick that is not low: whoever is drowsy is not so from a low.
    pub(super) fn drowsy_and_not_low(&mut self, turn: &mut Turn) {
        let Some(flags) = self.state.ketones.flags.as_mut().filter(|flags| flags.low_first) else { return };
        flags.low_first = false;
        let Flags { at, symptoms, .. } = *flags;
        if turn.now - at <= FLAGS_COUNT {
            let found = self.finding_of_flags(turn.now, at, symptoms, false);
            self.follow_ketones(turn, found, true);
        }
    }

    /// Symptoms that are no red flag, of whoever is prone to ketones: they are to be measured, at any glucose.
    pub(super) fn symptoms_want_ketones(&mut self, turn: &mut Turn, at: Timestamp) {
        let asks_itself = self.state.register.of(Condition::Ketones).is_some();
        let measured = asks_itself || self.ketones_answered_until().is_some_and(|until| until > turn.now);
        let has_test = self.policy.ketone_test != KetoneTest::None;
        if !has_test || !self.is_ketone_prone() || measured || turn.now - at > CURRENT {
            return;
        }
        let next = turn.now + WANTED_AFTER_SYMPTOMS;
        self.state.ketones.wanted = Some(at);
        self.state.plan.set(Job::Ketones, next);
        answer(turn, Id(0), KetoneWhy::Wanted { since: at, next: Some(next) });
    }

    fn finding_of_flags(&self, now: Timestamp, at: Timestamp, symptoms: Symptoms, low: bool) -> Finding {
        let measured = self.state.ketones.last.filter(|(measured, _)| now - *measured <= CURRENT);
        let newest = measured.map_or(at, |(measured, _)| at.max(measured));
        let row = if low { KetoneRow::Emergency } else { row_of_red_flag(measured, now) };
        Finding { row, at: newest, measured, symptoms: Some((at, symptoms)), low }
    }

    /// What was measured beside red flags of the last hours: those make it graver.
    fn beside_flags(&self, now: Timestamp, value: Finding) -> Finding {
        let flags = self.state.ketones.flags.filter(|flags| now - flags.at <= FLAGS_COUNT && !flags.low_first);
        let Some(Flags { at, symptoms, .. }) = flags else { return value };
        let row = row_of_red_flag(value.measured, now).max(value.row);
        Finding { row, symptoms: Some((at, symptoms)), ..value }
    }

    /// What was found is said, and takes the place of what was found before.
    fn follow_ketones(&mut self, turn: &mut Turn, found: Finding, is_news: bool) {
        let next = found.row.again().map(|span| (found.at + span).max(turn.now + AGAIN_AT_LEAST));
        let before = self.state.register.of(Condition::Ketones).copied();
        let said_now = |next: Option<Timestamp>| KetoneWhy::Row { found, next };
        let judged = turn.judged.take();
        let was_emergency = before.is_some_and(|alert| is_emergency(&alert));
        if let Some(alert) = before.filter(|_| was_emergency && found.row < KetoneRow::Emergency) {
            self.end_ketones(turn, alert.id, KetoneWhy::Over { now: found });
        }
        let open = self.state.register.of(Condition::Ketones).copied();
        let Some(next) = next else {
            if let Some(alert) = open {
                self.end_ketones(turn, alert.id, KetoneWhy::Over { now: found });
            }
            self.state.plan.stop(Job::Ketones);
            turn.judged = judged;
            return answer(turn, Id(0), said_now(self.ketones_answered_until()));
        };
        let id = open.map_or_else(|| self.take_id(), |alert| alert.id);
        let rings = found.row == KetoneRow::Emergency
            && is_news
            && !open.is_some_and(|alert| is_emergency(&alert) && (turn.amends || rings_on(&alert, turn.now)));
        let is_told = rings || turn.written && !turn.amends;
        let standing = match open {
            Some(alert) if !is_told => alert.standing,
            _ => Standing::new(None, !is_told),
        };
        let detail = Detail::Ketones(KetoneFacts { found, asked: 0 });
        let since = open.map_or(found.at, |alert| alert.since);
        let told_at = if is_told { Some(turn.now) } else { open.and_then(|alert| alert.told_at) };
        let alert = Alert { id, part_of: None, condition: Condition::Ketones, since, standing, told_at, detail };
        self.state.register.replace(alert);
        self.state.plan.set(Job::Ketones, next);
        let what = if open.is_some() { What::Repeated } else { What::Raised };
        turn.tell(what, Condition::Ketones, id, None, said(said_now(Some(next))), is_told);
        if rings {
            self.call_for_ketones(turn, id, said(said_now(Some(next))));
        } else {
            self.still_waiting(id, &said(said_now(Some(next))));
        }
        answer(turn, id, said_now(Some(next)));
        turn.judged = judged;
    }

    /// A line was moved to a time before others: what was found is what those say.
    fn follow_standing_ketones(&mut self, turn: &mut Turn) {
        let open = turn.amends && self.state.register.of(Condition::Ketones).is_some();
        if let Some(found) = self.standing_finding(turn.now).filter(|_| open) {
            self.follow_ketones(turn, found, false);
        }
    }

    /// What is known now, from the lines that stand.
    fn standing_finding(&self, now: Timestamp) -> Option<Finding> {
        let is_current = |at: Timestamp| now - at <= CURRENT;
        let value = self.state.ketones.last.filter(|(at, _)| is_current(*at)).map(|(at, measured)| {
            let row = measured.row(self.is_pregnant());
            Finding { row, at, measured: Some((at, measured)), symptoms: None, low: false }
        });
        let flags = self.state.ketones.flags.filter(|flags| is_current(flags.at) && !flags.low_first);
        match (value, flags) {
            (Some(value), _) => Some(self.beside_flags(now, value)),
            (None, Some(flags)) => Some(self.finding_of_flags(now, flags.at, flags.symptoms, false)),
            (None, None) => None,
        }
    }

    fn end_ketones(&mut self, turn: &mut Turn, id: Id, why: KetoneWhy) {
        self.state.register.end(id);
        self.state.plan.stop(Job::Ketones);
        turn.tell(What::Ended, Condition::Ketones, id, None, said(why), false);
    }

    /// It is time to ask again.
    pub(super) fn ask_about_ketones(&mut self, turn: &mut Turn) {
        turn.judged = None;
        let Some(alert) = self.state.register.of(Condition::Ketones).copied() else {
            return self.ask_for_wanted_ketones(turn);
        };
        let Detail::Ketones(facts) = alert.detail else { return };
        let again = facts.found.row.again().unwrap_or(ITS_OWN_QUESTION);
        if is_emergency(&alert) && !alert.is_acknowledged() {
            // It rings until somebody answers, and is asked about then.
            return self.state.plan.set(Job::Ketones, turn.now + again);
        }
        if facts.found.row == KetoneRow::Raised && self.is_low_now(turn.now) {
            return self.state.plan.set(Job::Ketones, turn.now + WAITS_FOR_LOW);
        }
        let answers = |told: &Decision| told.id == alert.id || matches!(told.reason, Reason::Answered { .. });
        if turn.out.iter().any(|told| told.rings && told.to.is_wearer() && answers(told)) {
            // Somebody has just answered it.
            return self.state.plan.set(Job::Ketones, turn.now + AGAIN_AT_LEAST);
        }
        if facts.asked >= ASKED_MAX {
            return self.end_ketones(turn, alert.id, KetoneWhy::NotMeasured { at: facts.found.at });
        }
        if let Some(Alert { detail: Detail::Ketones(facts), .. }) = self.state.register.of_mut(Condition::Ketones) {
            facts.asked += 1;
        }
        let next = turn.now + again;
        self.state.plan.set(Job::Ketones, next);
        self.ketones_asked_now(turn.now);
        let reason = said(KetoneWhy::Again { found: facts.found, next });
        turn.tell(What::Prompt, Condition::Ketones, alert.id, None, reason, true);
    }

    fn is_low_now(&self, now: Timestamp) -> bool {
        let low = self.policy.levels.low.limit;
        self.lowest_latest(now).is_some_and(|judged| Side::Low.is_beyond(judged.glucose, low))
    }

    /// Whoever is prone to ketones was asked to measure them, and nothing was noted: once more, at any glucose.
    fn ask_for_wanted_ketones(&mut self, turn: &mut Turn) {
        let Some(since) = self.state.ketones.wanted.take() else { return };
        if self.is_low_now(turn.now) {
            self.state.ketones.wanted = Some(since);
            return self.state.plan.set(Job::Ketones, turn.now + WAITS_FOR_LOW);
        }
        let id = self.take_id();
        self.ketones_asked_now(turn.now);
        turn.tell(What::Prompt, Condition::Ketones, id, None, said(KetoneWhy::Wanted { since, next: None }), true);
    }
}

/// What the wearer is answered.
fn answer(turn: &mut Turn, id: Id, why: KetoneWhy) {
    let judged = turn.judged.take();
    turn.tell(What::Answer, Condition::Ketones, id, None, said(why), false);
    turn.judged = judged;
}

/// Is the alert about an emergency?
pub(super) fn is_emergency(alert: &Alert) -> bool {
    matches!(alert.detail, Detail::Ketones(KetoneFacts { found: Finding { row: KetoneRow::Emergency, .. }, .. }))
}

/// Did it ring just now, and has nobody answered?
fn rings_on(alert: &Alert, now: Timestamp) -> bool {
    !alert.is_acknowledged() && alert.told_at.is_some_and(|told| now - told < RANG_LATELY)
}
