//! How long insulin under the skin goes on working: an estimate from a published model, for words and never for a dose.
//! Knows no amounts.
//!
//! Insulin passes four stores one after the other: two under the skin, the blood, and its effect on how fast glucose is
//! taken up (Hovorka 2004, Physiol Meas 25:905; equations from memory). Each passes on a constant share a minute of what
//! it holds, so what is still to come after a time has a closed form: the chance that a sum of four exponential times
//! is longer. The two under the skin are alike, and their time is what kinds of insulin differ in.

use super::time::Span;
use serde::{Deserialize, Serialize};

/// From the blood, a minute: 0.138 (Hovorka 2004; from memory).
const FROM_BLOOD: f64 = 0.138;

/// The effect on glucose uptake follows at this share a minute: 0.06 (`ka2` there; seen in PMC7449052, table 3).
const INTO_EFFECT: f64 = 0.06;

/// The time to the peak of absorption in the model: 55 minutes (`tmaxI` there; from memory).
const RAPID_MIN: i64 = 55;

/// The shortest that a setting may say. At 17 minutes, the time that the effect itself takes, the form has no value.
pub const PEAK_MIN: Span = Span::minutes(25);
/// The longest. Ours: human insulin in large amounts.
pub const PEAK_MAX: Span = Span::minutes(180);

/// Below this share the rest is not spoken of: a dose has done its work.
const NEGLIGIBLE: f64 = 0.05;

/// The insulin that is taken for meals and for highs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Faster than rapid: peaks after half an hour to one and a half (AACE 2022, Endocr Pract 28:923, table 19).
    Faster,
    /// A rapid analog: peaks after one hour to one and a half, or two (the same table).
    #[default]
    Rapid,
    /// Human insulin: peaks after two hours to four (the same table).
    Regular,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Faster, Self::Rapid, Self::Regular];

    /// Its name in the settings.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Faster => "faster",
            Self::Rapid => "rapid",
            Self::Regular => "regular",
        }
    }

    /// When most of it is absorbed, if the settings do not say. That of rapid insulin is the model's; the others are
    /// ours, such that the peak of the effect falls into the published span.
    #[must_use]
    pub const fn absorption_peak(self) -> Span {
        match self {
            Self::Faster => Span::minutes(40),
            Self::Rapid => Span::minutes(RAPID_MIN),
            Self::Regular => Span::minutes(110),
        }
    }
}

/// How one insulin is absorbed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Insulin {
    /// When most of it is absorbed, counted from when it is taken.
    pub absorption_peak: Span,
}

impl Default for Insulin {
    fn default() -> Self {
        Self::of(Kind::Rapid)
    }
}

impl Insulin {
    /// As its kind is absorbed.
    #[must_use]
    pub const fn of(kind: Kind) -> Self {
        Self { absorption_peak: kind.absorption_peak() }
    }

    /// The share that is still under the skin so long after it was taken, from 0 to 1.
    #[must_use]
    pub fn under_the_skin(self, after: Span) -> f64 {
        let passed = minutes(after).max(0.0) / minutes(self.absorption_peak);
        (1.0 + passed) * (-passed).exp()
    }

    /// The share of its effect that is still to come so long after it was taken, from 0 to 1.
    #[must_use]
    pub fn still_to_come(self, after: Span) -> f64 {
        let (a, b, c) = (1.0 / minutes(self.absorption_peak), FROM_BLOOD, INTO_EFFECT);
        let t = minutes(after).max(0.0);
        // The Laplace transform a²bc / ((s + a)² (s + b) (s + c)) in partial fractions: the double pole at -a has the
        // parts `twice` (of t e^-at) and `once` (of e^-at).
        let twice = a * a * b * c / ((b - a) * (c - a));
        let once = -twice * (1.0 / (b - a) + 1.0 / (c - a));
        let of_b = a * a * b * c / ((a - b) * (a - b) * (c - b));
        let of_c = a * a * b * c / ((a - c) * (a - c) * (b - c));
        let skin = (-a * t).exp() * (twice * (t / a + 1.0 / (a * a)) + once / a);
        (skin + of_b / b * (-b * t).exp() + of_c / c * (-c * t).exp()).clamp(0.0, 1.0)
    }

    /// For how long a dose is spoken of: until less than one in twenty of its effect is still to come.
    #[must_use]
    pub fn works_for(self) -> Span {
        let minute = (1..1_440).map(Span::minutes).find(|after| self.still_to_come(*after) < NEGLIGIBLE);
        minute.unwrap_or(Span::hours(24))
    }
}

/// What a note of rapid insulin says that was taken for long-acting.
pub const MISTAKEN: &str = "taken for long-acting";

/// Do the words of a note of rapid insulin say that it was taken for long-acting?
#[must_use]
pub fn is_mistaken(words: &str) -> bool {
    const SAYS: [&str; 9] = [
        MISTAKEN,
        "instead of long",
        "instead of background",
        "instead of basal",
        "mistaken for",
        "wrong insulin",
        "wrong pen",
        "mixed up",
        "mix-up",
    ];
    let words = words.to_lowercase();
    SAYS.iter().any(|said| words.contains(said))
}

/// A share in words, to the nearest of those people say. An estimate needs no finer ones.
#[must_use]
pub fn words(share: f64) -> &'static str {
    const WORDS: [(f64, &str); 13] = [
        (0.1, "less than a tenth"),
        (0.15, "about a tenth"),
        (0.225, "about a fifth"),
        (0.29, "about a quarter"),
        (0.365, "about a third"),
        (0.45, "about two fifths"),
        (0.55, "about half"),
        (0.633, "about three fifths"),
        (0.708, "about two thirds"),
        (0.775, "about three quarters"),
        (0.817, "about four fifths"),
        (0.867, "about five sixths"),
        (0.95, "about nine tenths"),
    ];
    WORDS.iter().find(|(below, _)| share < *below).map_or("nearly all", |(_, words)| words)
}

#[expect(clippy::cast_precision_loss, reason = "spans of days are far below 2^53 milliseconds")]
fn minutes(span: Span) -> f64 {
    span.as_millis() as f64 / 60_000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(one: f64, other: f64) -> bool {
        (one - other).abs() < 6e-4
    }

    /// (1 + t/55) e^(-t/55), the solution of the two equations for what is under the skin: 0.702 after one hour, and so
    /// on; half after 92 minutes, a tenth after 214, one in twenty after 261, one in a hundred after 365.
    #[test]
    fn what_is_under_the_skin() {
        let rapid = Insulin::default();
        for (hours, share) in [(0, 1.0), (1, 0.702), (2, 0.359), (3, 0.162), (4, 0.068), (5, 0.028), (6, 0.011)] {
            assert!(close(rapid.under_the_skin(Span::hours(hours)), share), "{hours} h");
        }
        for (minutes, share) in [(92, 0.5), (214, 0.1), (261, 0.05), (365, 0.01)] {
            assert!((rapid.under_the_skin(Span::minutes(minutes)) - share).abs() < 3e-3, "{minutes} min");
        }
        assert!(close(rapid.under_the_skin(Span::minutes(-5)), 1.0));
    }

    /// scipy 1.17.1, `solve_ivp` of the four equations with these parameters (method LSODA, rtol 1e-10): 0.844 after one
    /// hour, 0.484, 0.231, 0.100, and 0.041 after five.
    #[test]
    fn what_is_still_to_come() {
        let rapid = Insulin::default();
        for (hours, share) in [(0, 1.0), (1, 0.844), (2, 0.484), (3, 0.231), (4, 0.100), (5, 0.041)] {
            assert!(close(rapid.still_to_come(Span::hours(hours)), share), "{hours} h");
        }
        assert_eq!(words(rapid.still_to_come(Span::minutes(60))), "about five sixths");
    }

    /// The effect is strongest where the share falls fastest: after 84 minutes in the model, and for each kind within the
    /// span that the table gives for its peak.
    #[test]
    fn the_effect_peaks_when_it_is_published_to() {
        for (kind, from, to) in [(Kind::Faster, 30, 90), (Kind::Rapid, 60, 120), (Kind::Regular, 120, 240)] {
            let insulin = Insulin::of(kind);
            let fall = |minute: i64| {
                insulin.still_to_come(Span::seconds(60 * minute - 30))
                    - insulin.still_to_come(Span::seconds(60 * minute + 30))
            };
            let peak = (1..600).max_by(|one, other| fall(*one).total_cmp(&fall(*other))).unwrap();
            assert!((from..=to).contains(&peak), "{kind:?}: {peak}");
            assert!(kind != Kind::Rapid || (83..=85).contains(&peak), "{peak}");
        }
    }

    #[test]
    fn it_only_falls_and_ends_at_every_setting() {
        for peak in PEAK_MIN.as_minutes()..=PEAK_MAX.as_minutes() {
            let insulin = Insulin { absorption_peak: Span::minutes(peak) };
            let shares: Vec<f64> = (0..300).map(|step| insulin.still_to_come(Span::minutes(5 * step))).collect();
            assert!(shares.is_sorted_by(|one, next| one >= next), "{peak}");
            assert!(close(shares[0], 1.0) && shares[299] < 0.01, "{peak}");
            assert!(insulin.still_to_come(insulin.works_for()) < NEGLIGIBLE);
        }
    }
}
