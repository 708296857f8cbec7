//! The plan: everything that is looked at later. Named deadlines, kept as data so that they survive a restart, and for
//! those that look again at something, what they look again at. Nothing is spawned, and nothing is decided here.

use super::after_back::BackCheck;
use super::check::Check;
use super::effect::Id;
use super::evening::EveningCheck;
use super::landing::Landing;
use super::mistaken::MistakenCheck;
use super::mode::Due;
use super::mode::hold::DrivingWait;
use super::new_set::SetCheck;
use super::recheck_high::HighCheck;
use super::recheck_low::LowCheck;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// What falls due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Job {
    /// A treated low is looked at again.
    #[serde(alias = "low_look")]
    LowCheck,
    /// A treated high is looked at again, or an unmarked one is asked about.
    #[serde(alias = "high_look")]
    HighCheck,
    /// A low that is back is looked at once more, or has stayed back for long enough.
    BackCheck,
    /// A high that comes down is looked at again.
    Landing,
    /// An evening's treated high is looked at in the small hours.
    #[serde(alias = "evening_look")]
    EveningCheck,
    /// A pump's new set is looked at.
    SetCheck,
    /// Rapid insulin that was taken for long-acting is looked at.
    MistakenCheck,
    /// Late readings have stopped coming in: what they held is told.
    Past,
    /// A source has been silent for too long.
    Gap(SourceId),
    /// A scanned sensor is to be scanned.
    Scan(SourceId),
    /// A sensor's end is to be told.
    SensorEnd(SourceId),
    /// The next step for a low that nobody answers.
    #[serde(alias = "chain")]
    LowCalls,
    /// Another finger-prick is asked for, where one denies a low.
    SecondPrick,
    /// A low that lasts has been silent for as long as it may be.
    LowLasts,
    /// Others are to be called on for a very low, or whoever has it is to be asked.
    CallsLast,
    /// A very high stretch has been silent for as long as it may be.
    HighLasts,
    /// A high that stays is asked about: ketones, and pen or set.
    HighQuestion,
    /// Somebody else is called for a high that nobody answers.
    HighCalls,
    /// Somebody else is called for a silence that nobody answers.
    GapCall(SourceId),
    /// The next step for another alert that nobody answers.
    #[serde(alias = "waiting")]
    OtherCalls,
    /// A mute is over.
    #[serde(alias = "quiet")]
    Unmute,
    /// One of the wearer's own reminders is due.
    Reminder(Id),
    /// Quiet hours are over, the night among them: what waited is told.
    #[serde(alias = "morning")]
    Digest,
    /// A flood of alerts may be over, or told again.
    Flood,
    /// The wearer is reminded of what is switched off.
    Off,
    /// The wearer's bedtime has come.
    Bedtime,
    /// Something of a mode is due.
    Mode(Due),
    /// What waits for its moment may ring.
    Moment,
    /// The hourly message about a channel that comes and goes.
    Flaps,
    /// Ketones are asked about again.
    Ketones,
}

/// All jobs, at most one of each name, and what the checks among them look at.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    due: Vec<(Job, Timestamp)>,
    checks: Vec<Check>,
}

impl Plan {
    /// What an older version planned.
    pub(super) const fn of_jobs(due: Vec<(Job, Timestamp)>) -> Self {
        Self { due, checks: Vec::new() }
    }

    /// Starts a job, or moves it.
    pub fn set(&mut self, job: Job, at: Timestamp) {
        match self.due.iter_mut().find(|(known, _)| *known == job) {
            Some(entry) => entry.1 = at,
            None => self.due.push((job, at)),
        }
    }

    /// Stops a job; one that is not planned stays so.
    pub fn stop(&mut self, job: Job) {
        if let Some(place) = self.due.iter().position(|(known, _)| *known == job) {
            self.due.remove(place);
        }
    }

    /// How many are planned.
    #[must_use]
    pub const fn count(&self) -> usize {
        self.due.len()
    }

    /// When a job falls due.
    #[must_use]
    pub fn due(&self, job: Job) -> Option<Timestamp> {
        self.due.iter().find(|(known, _)| *known == job).map(|(_, at)| *at)
    }

    /// The earliest deadline.
    #[must_use]
    pub fn next(&self) -> Option<Timestamp> {
        self.due.iter().map(|(_, at)| *at).min()
    }

    /// Takes out the earliest job that is due; of two due at once, the one named first above. What a check looks at
    /// stays until it has looked.
    pub fn expired(&mut self, now: Timestamp) -> Option<(Job, Timestamp)> {
        if self.due.iter().all(|(_, at)| *at > now) {
            return None;
        }
        let (job, at) = self.due.iter().copied().filter(|(_, at)| *at <= now).min_by_key(|(job, at)| (*at, *job))?;
        self.stop(job);
        Some((job, at))
    }

    /// The earliest job that is due by then, and is none of these.
    #[must_use]
    pub fn next_by(&self, by: Timestamp, but: &[Job]) -> Option<(Job, Timestamp)> {
        let due = self.due.iter().copied().filter(|(job, at)| *at <= by && !but.contains(job));
        due.min_by_key(|(job, at)| (*at, *job))
    }

    /// Nothing falls due before `earliest`.
    pub fn not_before(&mut self, earliest: Timestamp) {
        for (_, at) in &mut self.due {
            *at = (*at).max(earliest);
        }
    }

    /// The clock was set: every span keeps its length.
    pub fn shift(&mut self, by: Span) {
        for (_, at) in &mut self.due {
            *at = *at + by;
        }
        for check in &mut self.checks {
            check.shift(by);
        }
        if let Some(wait) = self.driving_mut() {
            wait.shift(by);
        }
    }

    /// Every check under way, with when it is due.
    pub fn checks(&self) -> impl Iterator<Item = (&Check, Option<Timestamp>)> {
        self.checks.iter().map(|check| (check, self.due(check.job())))
    }

    /// The check of that job takes the place of the one there was.
    pub(super) fn look_at(&mut self, check: Check) {
        match self.checks.iter_mut().find(|known| known.job() == check.job()) {
            Some(known) => *known = check,
            None => self.checks.push(check),
        }
    }

    fn take(&mut self, job: Job) -> Option<Check> {
        let place = self.checks.iter().position(|check| check.job() == job)?;
        Some(self.checks.remove(place))
    }
}

/// The checks by what they look at: what is there, and what is taken out of the plan.
macro_rules! checks_of {
    ($($variant:ident: $of:ty, $get:ident, $take:ident, $job:expr;)*) => {
        impl Plan {
            $(
                /// The one under way, if there is one.
                #[must_use]
                pub fn $get(&self) -> Option<&$of> {
                    self.checks.iter().find_map(|check| if let Check::$variant(of) = check { Some(of) } else { None })
                }

                /// It is over; its job is left to who takes it.
                pub(super) fn $take(&mut self) -> Option<$of> {
                    match self.take($job)? {
                        Check::$variant(of) => Some(of),
                        _ => None,
                    }
                }
            )*
        }
    };
}

checks_of! {
    Low: LowCheck, low, take_low, Job::LowCheck;
    High: HighCheck, high, take_high, Job::HighCheck;
    Evening: EveningCheck, evening, take_evening, Job::EveningCheck;
    NewSet: SetCheck, new_set, take_new_set, Job::SetCheck;
    Mistaken: MistakenCheck, mistaken, take_mistaken, Job::MistakenCheck;
    Driving: DrivingWait, driving, take_driving, Job::Mode(Due::Hold);
    Back: BackCheck, back, take_back, Job::BackCheck;
    Landing: Landing, landing, take_landing, Job::Landing;
}

impl Plan {
    /// The check of a low, to be changed.
    pub(super) fn low_mut(&mut self) -> Option<&mut LowCheck> {
        self.checks.iter_mut().find_map(|check| if let Check::Low(of) = check { Some(of) } else { None })
    }

    /// The check of a high, to be changed.
    pub(super) fn high_mut(&mut self) -> Option<&mut HighCheck> {
        self.checks.iter_mut().find_map(|check| if let Check::High(of) = check { Some(of) } else { None })
    }

    /// The check of a high that comes down, to be changed.
    pub(super) fn landing_mut(&mut self) -> Option<&mut Landing> {
        self.checks.iter_mut().find_map(|check| if let Check::Landing(of) = check { Some(of) } else { None })
    }

    /// The wait of a driver, to be changed.
    pub(super) fn driving_mut(&mut self) -> Option<&mut DrivingWait> {
        self.checks.iter_mut().find_map(|check| if let Check::Driving(of) = check { Some(of) } else { None })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    #[test]
    fn expire_in_due_order_not_in_the_order_set() {
        let mut plan = Plan::default();
        plan.set(Job::LowCheck, at(30));
        plan.set(Job::Gap(SourceId(1)), at(10));
        plan.set(Job::HighCheck, at(20));
        plan.set(Job::LowCheck, at(15));
        assert_eq!(plan.next(), Some(at(10)));
        assert_eq!(plan.expired(at(9)), None);
        let order: Vec<Job> = std::iter::from_fn(|| plan.expired(at(60)).map(|(job, _)| job)).collect();
        assert_eq!(order, [Job::Gap(SourceId(1)), Job::LowCheck, Job::HighCheck]);
    }
}
