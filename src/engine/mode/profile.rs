//! Standing profiles: what is always so of the wearer, by the settings, and what it changes in the defaults.

use crate::domain::glucose::Glucose;
use crate::domain::time::Span;
use crate::engine::policy::{EscalationPolicy, Levels, Whom};
use serde::{Deserialize, Serialize};

/// The range in pregnancy ends at 140 mg/dL (7.8 mmol/L): consensus on time in range (Battelino 2019, Diabetes Care
/// 42:1593); the same in PMC6560014. Its other end, 63, is a bound for reports: a low stays one below 70, unless the
/// settings say otherwise.
const PREGNANCY_HIGH: Glucose = Glucose::mg_dl(140);

/// Whoever does not feel a low is not woken by it either, and a severe one is three times as likely (PMC7968015,
/// seen as an excerpt): others are called sooner. The spans are ours.
const IMPAIRED_SECOND_BY_NIGHT_MIN: i64 = 5;
const IMPAIRED_SECOND_BY_DAY_MIN: i64 = 10;

/// What is always so of the wearer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Profile {
    /// A narrower range, and ketones that rise sooner.
    Pregnancy,
    /// Lows are not felt.
    ImpairedAwareness,
    /// Ketones can rise at any glucose: tablets that raise them, very little carbohydrate, an earlier ketoacidosis.
    KetoneProne,
    /// A child, whom somebody looks after.
    Child,
}

impl Profile {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Pregnancy, Self::ImpairedAwareness, Self::KetoneProne, Self::Child];

    /// Its name in the settings.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Pregnancy => "pregnancy",
            Self::ImpairedAwareness => "impaired_awareness",
            Self::KetoneProne => "ketone_prone",
            Self::Child => "child",
        }
    }

    /// By that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|profile| profile.name() == name)
    }

    /// Changes the defaults; whatever the settings say of the same comes after it, and wins.
    pub fn change(self, levels: &mut Levels, escalation: &mut EscalationPolicy) {
        match self {
            Self::Pregnancy => levels.high.limit = PREGNANCY_HIGH,
            Self::ImpairedAwareness => {
                let high = &mut escalation.high;
                for (steps, after) in
                    [(&mut high.by_night, IMPAIRED_SECOND_BY_NIGHT_MIN), (&mut high.by_day, IMPAIRED_SECOND_BY_DAY_MIN)]
                {
                    for second in steps.iter_mut().filter(|step| step.to == Whom::Second) {
                        second.after = Span::minutes(after);
                    }
                }
            }
            // Who is rung first, whose answer counts, and what ketones ask, is no default: see `alert/people.rs`, `alert/said.rs`
            // and `ketones`.
            Self::KetoneProne | Self::Child => {}
        }
    }
}
