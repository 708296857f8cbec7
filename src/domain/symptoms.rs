//! Symptoms as they are noted in words: which of them are red flags of ketones, and which can be those of a low. Sorts
//! words, and decides nothing that follows.

use serde::{Deserialize, Serialize};

/// The symptoms in one note that are sorted; whatever else it says are symptoms as those of a low are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[expect(clippy::struct_excessive_bools, reason = "each is one symptom, and any of them come together")]
pub struct Symptoms {
    /// Vomiting.
    pub vomiting: bool,
    /// Pain in the stomach.
    pub stomach_pain: bool,
    /// Fast or deep breathing.
    pub fast_breathing: bool,
    /// Drowsy: of ketones, and of a low.
    pub drowsy: bool,
}

/// Words for each, in small letters, as the beginnings of words. The four are those of the sick-day pages.
const VOMITING: [&str; 7] = ["vomit", "throwing up", "threw up", "throw up", "being sick", "was sick", "puk"];
const STOMACH: [&str; 8] = [
    "stomach pain",
    "stomach ache",
    "stomachache",
    "abdominal pain",
    "belly pain",
    "belly ache",
    "tummy pain",
    "tummy ache",
];
const BREATHING: [&str; 8] = [
    "fast breath",
    "breathing fast",
    "deep breath",
    "breathing deep",
    "rapid breath",
    "breathing hard",
    "heavy breath",
    "short of breath",
];
const DROWSY: [&str; 6] = ["drows", "very sleepy", "hard to wake", "confus", "letharg", "not fully awake"];

/// A word before a symptom that says it is not there.
const NOT: [&str; 5] = ["no", "not", "without", "never", "stopped"];

impl Symptoms {
    /// What a note says, in the writer's own words.
    ///
    /// ```
    /// use recheck::domain::symptoms::Symptoms;
    /// assert!(Symptoms::of("Vomiting since four").vomiting);
    /// assert!(!Symptoms::of("shaky, no vomiting").vomiting);
    /// ```
    #[must_use]
    pub fn of(words: &str) -> Self {
        let words: Vec<String> =
            words.to_lowercase().split(|c: char| !c.is_alphanumeric()).map(str::to_owned).collect();
        let words: Vec<&str> = words.iter().map(String::as_str).filter(|word| !word.is_empty()).collect();
        Self {
            vomiting: says(&words, &VOMITING),
            stomach_pain: says(&words, &STOMACH),
            fast_breathing: says(&words, &BREATHING),
            drowsy: says(&words, &DROWSY),
        }
    }

    /// These, and those that were noted before.
    #[must_use]
    pub const fn and(self, before: Self) -> Self {
        Self {
            vomiting: self.vomiting || before.vomiting,
            stomach_pain: self.stomach_pain || before.stomach_pain,
            fast_breathing: self.fast_breathing || before.fast_breathing,
            drowsy: self.drowsy || before.drowsy,
        }
    }

    /// Is one of them a red flag while ketones are raised, or nobody knows?
    #[must_use]
    pub const fn is_red_flag(self) -> bool {
        self.vomiting || self.stomach_pain || self.fast_breathing || self.drowsy
    }

    /// The red flags, in words.
    #[must_use]
    pub fn red_flags(self) -> Vec<&'static str> {
        let all = [
            (self.vomiting, "vomiting"),
            (self.stomach_pain, "stomach pain"),
            (self.fast_breathing, "fast breathing"),
            (self.drowsy, "drowsy"),
        ];
        all.into_iter().filter(|(is_there, _)| *is_there).map(|(_, name)| name).collect()
    }

    /// Do they begin the checks of a low? Vomiting never does, and the other red flags do not either; being drowsy
    /// does where glucose is low, or nobody knows it. What is no red flag may be felt of a low that no sensor sees.
    #[must_use]
    pub const fn begin_a_low(self, low_or_unknown: bool) -> bool {
        if self.drowsy { low_or_unknown } else { !self.is_red_flag() }
    }
}

fn says(words: &[&str], symptoms: &[&str]) -> bool {
    symptoms.iter().any(|symptom| {
        let parts: Vec<&str> = symptom.split(' ').collect();
        let found = words.windows(parts.len()).enumerate().filter(|(_, part)| {
            let (last, first) = (parts.len() - 1, &parts[..parts.len() - 1]);
            first == &part[..last] && part[last].starts_with(parts[last])
        });
        let mut found = found.map(|(place, _)| place);
        found.any(|place| place == 0 || !NOT.contains(&words[place - 1]))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_sorted_and_a_no_is_heard() {
        let flags = |words: &str| Symptoms::of(words).red_flags();
        assert_eq!(flags("vomited twice"), ["vomiting"]);
        assert_eq!(flags("Stomach-ache, breathing fast"), ["stomach pain", "fast breathing"]);
        assert_eq!(flags("drowsiness"), ["drowsy"]);
        assert_eq!(flags("not drowsy, no vomiting"), [""; 0]);
        assert_eq!(flags("shaky and sweaty"), [""; 0]);
        assert_eq!(flags(""), [""; 0]);
        // "no" belongs to what follows it alone.
        assert_eq!(flags("no fever, vomiting"), ["vomiting"]);
    }

    #[test]
    fn vomiting_is_never_a_low_and_drowsy_is_one_where_nobody_knows() {
        let low = |words: &str, low_or_unknown: bool| Symptoms::of(words).begin_a_low(low_or_unknown);
        assert!(!low("vomiting", false) && !low("vomiting", true));
        assert!(!low("drowsy", false) && low("drowsy", true));
        assert!(low("drowsy, vomiting", true));
        assert!(low("shaky", false) && low("", true));
        assert!(!low("stomach pain", true));
    }
}
