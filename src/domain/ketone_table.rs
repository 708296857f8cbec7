//! Ketones: what a measured value, a strip in urine or a symptom means, in one table for the whole program. Says which
//! row it is and when it is looked at again; rings nobody, has no sentences, and names no amount of anything to take.
//!
//! | row | blood | urine | looked at again |
//! |---|---|---|---|
//! | not raised | below 0.6 mmol/L | negative | by the questions of a high |
//! | raised | 0.6 to 1.5 | trace or small | in two hours |
//! | high | above 1.5, below 3.0 | moderate | in one hour |
//! | emergency | 3.0 or more | large | rings until somebody answers, then in one hour |
//!
//! Bounds and the rows of urine: international consensus on ketoacidosis risk, Danne 2019, Diabetes Care 42:1147, table
//! 1, as it was seen: below 0.6, 0.6 to 1.5, 1.6 to 3.0, above 3.0; negative, trace or small, moderate, large. There 3.0
//! itself is the third row; sick-day pages agree that help is got from 3.0 on (a children's hospital's guideline,
//! rch.org.au, seen as an excerpt), and so it is here. The spans are ours, between those of two sources that disagree
//! (one to two hours, three to four).

use super::diary::Amount;
use super::ketones::{Ketones, Urine};
use super::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// From here on blood ketones are raised, in hundredths of a mmol/L.
pub const RAISED_FROM: Amount = Amount(60);

/// Above this they are high.
pub const HIGH_ABOVE: Amount = Amount(150);

/// From here on it is an emergency.
pub const EMERGENCY_FROM: Amount = Amount(300);

/// A value that is not raised speaks for how somebody feels only so long after it was measured.
const SPEAKS_FOR_SYMPTOMS: Span = Span::hours(1);

/// How the wearer measures ketones.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KetoneTest {
    /// With a meter, in blood.
    #[default]
    Blood,
    /// With strips, in urine.
    Urine,
    /// Not at all.
    None,
}

impl KetoneTest {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Blood, Self::Urine, Self::None];

    /// Its name in the settings.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Blood => "blood",
            Self::Urine => "urine",
            Self::None => "none",
        }
    }

    /// By that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|test| test.name() == name)
    }
}

impl Ketones {
    /// Its row; `worse` by one where the wearer is pregnant and it is raised at all (the promises; from memory).
    #[must_use]
    pub fn row(self, worse: bool) -> KetoneRow {
        let row = match self {
            Self::Blood(value) if value < RAISED_FROM => KetoneRow::NotRaised,
            Self::Blood(value) if value <= HIGH_ABOVE => KetoneRow::Raised,
            Self::Blood(value) if value < EMERGENCY_FROM => KetoneRow::High,
            Self::Blood(_) | Self::BloodHigh | Self::Urine(Urine::Large) => KetoneRow::Emergency,
            Self::Urine(Urine::Negative) => KetoneRow::NotRaised,
            Self::Urine(Urine::Trace) => KetoneRow::Raised,
            Self::Urine(Urine::Moderate) => KetoneRow::High,
        };
        match row {
            KetoneRow::Raised if worse => KetoneRow::High,
            KetoneRow::High if worse => KetoneRow::Emergency,
            _ => row,
        }
    }

    /// Was it measured in urine?
    #[must_use]
    pub(crate) const fn is_urine(self) -> bool {
        matches!(self, Self::Urine(_))
    }
}

/// A row of the table; the later the worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KetoneRow {
    /// Nothing is raised.
    NotRaised,
    /// Raised: the plan for it.
    Raised,
    /// A red flag, and ketones that were not raised within the hour.
    Unwell,
    /// High: the care team now.
    High,
    /// Help now: such a value, or a red flag with ketones that are raised or not known.
    Emergency,
}

impl KetoneRow {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::NotRaised, Self::Raised, Self::Unwell, Self::High, Self::Emergency];

    /// Its name in machine-readable output.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::NotRaised => "not_raised",
            Self::Raised => "raised",
            Self::Unwell => "unwell",
            Self::High => "high",
            Self::Emergency => "emergency",
        }
    }

    /// After so long it is asked about again; what is not raised is left to the questions of a high.
    #[must_use]
    pub const fn again(self) -> Option<Span> {
        match self {
            Self::NotRaised => None,
            Self::Raised => Some(Span::hours(2)),
            Self::Unwell | Self::High | Self::Emergency => Some(Span::hours(1)),
        }
    }

    /// For so long a value of it answers the question of a high. `soon` where it can change within hours: a pump, whose
    /// insulin may have stopped without notice, or nobody has said how insulin is taken (NHS and hospital pages repeat a
    /// measurement after two hours, sick-day guidelines after four).
    #[must_use]
    pub const fn answers_for(self, soon: bool) -> Span {
        match self {
            Self::NotRaised if soon => Span::hours(2),
            Self::NotRaised => Span::hours(4),
            Self::Raised => Span::hours(2),
            Self::Unwell | Self::High | Self::Emergency => Span::hours(1),
        }
    }
}

/// The row of a red flag (vomiting, stomach pain, fast breathing, drowsy: sick-day pages agree on these four) beside what
/// was measured last. A strip in urine never speaks against one: it tells of hours ago.
#[must_use]
pub fn row_of_red_flag(last: Option<(Timestamp, Ketones)>, now: Timestamp) -> KetoneRow {
    let denied = last.is_some_and(|(at, measured)| {
        let lately = now - at <= SPEAKS_FOR_SYMPTOMS && at <= now;
        lately && !measured.is_urine() && measured.row(false) == KetoneRow::NotRaised
    });
    if denied { KetoneRow::Unwell } else { KetoneRow::Emergency }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn blood(hundredths: i32) -> Ketones {
        Ketones::Blood(Amount(hundredths))
    }

    /// Danne 2019, Diabetes Care 42:1147, table 1: ketone level, and urine beside it. What is 3.0 there is called the third
    /// row and here the fourth: sick-day pages get help from 3.0 on.
    #[test]
    fn the_rows_are_those_of_the_published_table() {
        let published: [(&[i32], Urine, KetoneRow); 4] = [
            (&[0, 10, 50, 59], Urine::Negative, KetoneRow::NotRaised),
            (&[60, 61, 100, 150], Urine::Trace, KetoneRow::Raised),
            (&[160, 200, 299], Urine::Moderate, KetoneRow::High),
            (&[301, 310, 650, 2_000], Urine::Large, KetoneRow::Emergency),
        ];
        for (values, urine, row) in published {
            for value in values {
                assert_eq!(blood(*value).row(false), row, "{value}");
            }
            assert_eq!(Ketones::Urine(urine).row(false), row, "{urine:?}");
        }
        assert_eq!(blood(300).row(false), KetoneRow::Emergency, "the sick-day pages' 3.0");
        assert_eq!(blood(151).row(false), KetoneRow::High, "between the published rows the worse counts");
    }

    #[test]
    fn in_pregnancy_what_is_raised_is_a_row_worse() {
        for (value, row) in
            [(59, KetoneRow::NotRaised), (60, KetoneRow::High), (150, KetoneRow::High), (151, KetoneRow::Emergency)]
        {
            assert_eq!(blood(value).row(true), row, "{value}");
        }
        assert_eq!(Ketones::Urine(Urine::Trace).row(true), KetoneRow::High);
        assert_eq!(Ketones::Urine(Urine::Negative).row(true), KetoneRow::NotRaised);
    }

    #[test]
    fn a_red_flag_is_an_emergency_but_beside_a_fresh_value_in_blood_that_is_not_raised() {
        let (then, now) = (Timestamp::from_seconds(0), Timestamp::from_seconds(3_600));
        let later = now + Span::minutes(1);
        assert_eq!(row_of_red_flag(None, now), KetoneRow::Emergency);
        assert_eq!(row_of_red_flag(Some((then, blood(59))), now), KetoneRow::Unwell);
        assert_eq!(row_of_red_flag(Some((then, blood(59))), later), KetoneRow::Emergency, "older than an hour");
        assert_eq!(row_of_red_flag(Some((then, blood(60))), now), KetoneRow::Emergency);
        assert_eq!(row_of_red_flag(Some((then, Ketones::Urine(Urine::Negative))), now), KetoneRow::Emergency);
        assert_eq!(row_of_red_flag(Some((later, blood(20))), now), KetoneRow::Emergency, "a clock that was ahead");
    }

    #[test]
    fn the_worse_the_row_the_sooner_it_is_looked_at_again() {
        for pair in KetoneRow::ALL.windows(2) {
            assert!(pair[0] < pair[1]);
            assert!(pair[0].answers_for(false) >= pair[1].answers_for(false));
            assert!(pair[0].answers_for(true) >= pair[1].answers_for(true));
        }
        assert_eq!(KetoneRow::NotRaised.answers_for(true), Span::hours(2));
        assert_eq!(KetoneRow::NotRaised.again(), None);
    }
}
