//! When a message is tried again. Alerts age in minutes, so the waits are short and end with the
//! message's own expiry.

use super::outcome::Outcome;
use crate::domain::time::{Span, Timestamp};

/// Waits after the first, second, ... failed try; the last goes on until expiry.
const WAITS_SECONDS: [i64; 7] = [1, 2, 5, 10, 20, 30, 60];

/// Longest pause another side may ask for.
const PAUSE_MAX_SECONDS: i64 = 300;

/// What becomes of a message after a try.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Next {
    /// Done.
    Delivered,
    /// Once more, then.
    Again(Timestamp),
    /// It would come too late to help.
    Expired,
    /// It will never be accepted.
    GivenUp,
}

/// What becomes of a message that has had `tries` tries, the last one just now.
#[must_use]
pub fn next(outcome: &Outcome, tries: u32, now: Timestamp, expires: Timestamp) -> Next {
    let pause = match outcome {
        Outcome::Accepted { .. } => return Next::Delivered,
        Outcome::Refused { .. } => return Next::GivenUp,
        Outcome::Failed { pause, .. } => pause.unwrap_or(Span::ZERO).min(Span::seconds(PAUSE_MAX_SECONDS)),
        Outcome::Absent { .. } => Span::ZERO,
    };
    let place = usize::try_from(tries.saturating_sub(1)).unwrap_or(usize::MAX).min(WAITS_SECONDS.len() - 1);
    let wait = Span::seconds(WAITS_SECONDS.get(place).copied().unwrap_or(60));
    let at = now + wait.max(pause);
    if at > expires { Next::Expired } else { Next::Again(at) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_grow_and_end_with_the_expiry() {
        let failed = Outcome::Failed { words: "no route".to_owned(), pause: None };
        let expires = Timestamp::from_seconds(300);
        let mut now = Timestamp::from_seconds(0);
        let mut waits = Vec::new();
        for tries in 1.. {
            match next(&failed, tries, now, expires) {
                Next::Again(at) => {
                    waits.push((at - now).as_millis() / 1_000);
                    now = at;
                }
                end => {
                    assert_eq!(end, Next::Expired);
                    break;
                }
            }
        }
        assert_eq!(waits, [1, 2, 5, 10, 20, 30, 60, 60, 60]);
    }

    #[test]
    fn a_pause_asked_for_is_kept_but_bounded() {
        let now = Timestamp::from_seconds(0);
        let later = now + Span::hours(2);
        let asked = |seconds| Outcome::Failed { words: String::new(), pause: Some(Span::seconds(seconds)) };
        assert_eq!(next(&asked(7), 1, now, later), Next::Again(now + Span::seconds(7)));
        assert_eq!(next(&asked(86_400), 1, now, later), Next::Again(now + Span::minutes(5)));
        assert_eq!(next(&Outcome::Refused { words: String::new() }, 1, now, later), Next::GivenUp);
    }
}
