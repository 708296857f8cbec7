//! Somebody else says "I have it", or "I am with them": until when nobody else is called, and when they are asked how it
//! goes. Judges no value; that is for `going_on`.

use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// "I have it" holds calls for so long; then who said so is asked first. Ours.
const HAS_IT: Span = Span::minutes(20);

/// "I am with them" holds them for so long: time for a treatment and its check. Ours.
const IS_WITH_THEM: Span = Span::minutes(30);

/// Whoever was asked and says nothing is given so long before others are called: ours.
const ASKED: Span = Span::minutes(20);

/// Who said last that they have a low.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct HasIt {
    /// Their place in the settings.
    pub(in crate::engine) person: u8,
    /// When they said so.
    pub(in crate::engine) at: Timestamp,
    /// Are they with the wearer?
    pub(in crate::engine) with: bool,
    /// Nobody else is called until then. Somebody who was with the wearer before may make it later.
    until: Timestamp,
    /// When they were asked how it goes.
    pub(in crate::engine) asked: Option<Timestamp>,
}

impl HasIt {
    /// They say so; what somebody said before holds for as long as it did.
    pub(in crate::engine) fn new(person: u8, with: bool, at: Timestamp, before: Option<Self>) -> Self {
        let said = Self { person, at, with, until: at, asked: None };
        let until = before.map_or(at, |before| before.until).max(said.asks_at());
        Self { until, ..said }
    }

    /// When they are asked how it goes.
    pub(in crate::engine) fn asks_at(self) -> Timestamp {
        self.at + if self.with { IS_WITH_THEM } else { HAS_IT }
    }

    /// Have they been asked how it goes?
    pub(in crate::engine) const fn was_asked(&self) -> bool {
        self.asked.is_some()
    }

    /// From when on others may be called.
    pub(in crate::engine) fn others_from(self) -> Timestamp {
        self.asked.map_or(self.until, |asked| self.until.max(asked + ASKED))
    }

    /// They are asked now.
    pub(in crate::engine) fn asked(self, now: Timestamp) -> Self {
        Self { asked: Some(now), ..self }
    }

    /// The people of the settings have other places; none where they are no longer in them.
    pub(in crate::engine) fn moved(self, to: &impl Fn(u8) -> Option<u8>) -> Option<Self> {
        Some(Self { person: to(self.person)?, ..self })
    }

    /// The clock was set: every span keeps its length.
    pub(in crate::engine) fn shift(&mut self, by: Span) {
        (self.at, self.until) = (self.at + by, self.until + by);
        self.asked = self.asked.map(|asked| asked + by);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn being_with_them_holds_for_longer_and_is_not_cut_short() {
        let at = |minute: i64| Timestamp::from_seconds(minute * 60);
        let with = HasIt::new(0, true, at(0), None);
        assert_eq!((with.asks_at(), with.others_from()), (at(30), at(30)));
        let later = HasIt::new(1, false, at(5), Some(with));
        assert_eq!((later.asks_at(), later.others_from()), (at(25), at(30)));
        let asked = HasIt { asked: Some(at(25)), ..later };
        assert_eq!(asked.others_from(), at(45));
    }
}
