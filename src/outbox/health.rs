//! Whether each channel works, from what came of its tries.

use super::outcome::Outcome;
use crate::engine::effect::Audience;

/// This many failed tries in a row make a channel a failing one.
const FAILED_IN_A_ROW: u32 = 3;

/// The state of one channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Health {
    /// The channel's name.
    pub channel: String,
    /// Whose it is.
    pub of: Audience,
    /// How it is.
    pub state: State,
    failed: u32,
}

/// How a channel is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Not tried since the start.
    Untried,
    /// The last try was accepted.
    Works,
    /// It does not exist at the moment.
    Absent(String),
    /// Several tries in a row failed.
    Fails(String),
}

/// What the engine is told of all channels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// Channels of the wearer that work or have not been tried: nobody else's brings the wearer an alert.
    pub working: usize,
    /// Those that do not, with reasons. An absent desktop counts only when nothing else works.
    pub failing: Vec<String>,
}

impl Health {
    /// A channel that has not been tried.
    #[must_use]
    pub fn untried(channel: &str, of: Audience) -> Self {
        Self { channel: channel.to_owned(), of, state: State::Untried, failed: 0 }
    }

    /// Takes in what came of a try.
    pub fn learn(&mut self, outcome: &Outcome) {
        match outcome {
            Outcome::Accepted { .. } => {
                self.failed = 0;
                self.state = State::Works;
            }
            Outcome::Absent { words } => self.state = State::Absent(words.clone()),
            Outcome::Failed { words, .. } | Outcome::Refused { words } => {
                self.failed += 1;
                if self.failed >= FAILED_IN_A_ROW || matches!(outcome, Outcome::Refused { .. }) {
                    self.state = State::Fails(words.clone());
                }
            }
        }
    }
}

/// What the engine is told.
#[must_use]
pub fn summary(all: &[Health]) -> Summary {
    let reaches = |one: &&Health| one.of.is_wearer() && matches!(one.state, State::Untried | State::Works);
    let working = all.iter().filter(reaches).count();
    let failing = all
        .iter()
        .filter_map(|one| match &one.state {
            State::Fails(words) => Some(format!("{}: {words}", one.channel)),
            State::Absent(words) if working == 0 => Some(format!("{}: {words}", one.channel)),
            State::Absent(_) | State::Untried | State::Works => None,
        })
        .collect();
    Summary { working, failing }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_absent_desktop_is_a_fault_only_when_nothing_else_works() {
        let mut desktop = Health::untried("desktop", Audience::Wearer);
        desktop.learn(&Outcome::Absent { words: "no session".to_owned() });
        let mut phone = Health::untried("phone", Audience::Wearer);
        assert_eq!(summary(&[desktop.clone(), phone.clone()]), Summary { working: 1, failing: vec![] });
        for _ in 0..3 {
            phone.learn(&Outcome::Failed { words: "refused".to_owned(), pause: None });
        }
        let both = summary(&[desktop.clone(), phone.clone()]);
        assert_eq!((both.working, both.failing.len()), (0, 2));
        phone.learn(&Outcome::Accepted { handle: None });
        assert_eq!(summary(&[desktop, phone]).working, 1);
    }

    #[test]
    fn a_way_to_somebody_else_is_no_way_to_the_wearer() {
        let mut mine = Health::untried("mine", Audience::Wearer);
        let sam = Health::untried("sam", Audience::Person(0));
        mine.learn(&Outcome::Refused { words: "no such address".to_owned() });
        assert_eq!(summary(&[mine, sam]).working, 0);
    }
}
