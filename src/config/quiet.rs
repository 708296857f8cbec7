//! Quiet hours beside the night.

use super::problem::Place;
use super::words::Words;
use crate::domain::schedule::Schedule;
use crate::engine::policy::Policy;

/// What quiet hours look like.
const HOURS_EXPECTED: &str = "hours of a week such as \"mon-fri 09:00-12:00; sun 13:00-15:00\"";

pub(super) fn quiet(top: &mut Words<'_>, policy: &mut Policy, start: Place) {
    let node = top.take("quiet");
    let mut words = Words::of("quiet", node, start, top.problems());
    if let Some(hours) = words.parsed("hours", HOURS_EXPECTED, Schedule::parse) {
        policy.quiet_hours = hours;
    }
    words.end();
}
