//! What the settings say of a rise that nothing was noted for.

use super::meant::rings;
use super::problem::Place;
use super::words::Words;
use crate::domain::glucose::Unit;
use crate::engine::policy::{Rings, RisePolicy};
use std::ops::RangeInclusive;

/// How far up a rise may have to be, in mg/dL: less is everyday, more is high anyhow. Ours.
const BY: RangeInclusive<i32> = 40..=200;

pub(super) fn unnoted_rise(top: &mut Words<'_>, unit: Unit, rise: &mut RisePolicy, start: Place) {
    let node = top.take("unnoted_rise");
    let mut words = Words::of("unnoted_rise", node, start, top.problems());
    // Nobody is woken to be asked about a meal.
    let by_day = |text: &str| rings(text).filter(|rings| *rings != Rings::Always);
    if let Some(parsed) = words.parsed("rings", "\"by_day\" or \"never\"", by_day) {
        rise.rings = parsed;
    }
    words.glucose_within("by", unit, BY, &mut rise.by);
    if let Some(always) = words.yes_or_no("always") {
        rise.always = always;
    }
    words.end();
}

#[cfg(test)]
mod tests {
    use crate::config::meant::{Purpose, settings};
    use crate::domain::glucose::Glucose;
    use crate::domain::local::Zone;
    use crate::engine::policy::Rings;

    #[test]
    fn it_may_be_moved_and_switched_off_but_wakes_nobody() {
        let read = |text: &str| settings(text, None, &[], Purpose::Replay, Zone::UTC);
        let rise = read("[unnoted_rise]\nby = 100\nalways = true\n").unwrap().policy.unnoted_rise;
        assert_eq!((rise.by, rise.always, rise.rings), (Glucose::mg_dl(100), true, Rings::ByDay));
        let off = read("[unnoted_rise]\nrings = \"never\"\n").unwrap().policy.unnoted_rise;
        assert_eq!((off.rings, off.always), (Rings::Never, false));
        let mmol = read("[wearer]\nunit = \"mmol/L\"\n[unnoted_rise]\nby = 4.5\n").unwrap().policy.unnoted_rise;
        assert_eq!(mmol.by.hundredths(), 8_100);
        for (wrong, what) in [
            ("rings = \"always\"", "unnoted_rise.rings is \"always\""),
            ("always = \"yes\"", "unnoted_rise.always is text in quotes"),
            ("after = \"2h\"", "there is no setting \"after\" in [unnoted_rise]"),
        ] {
            let problems = read(&format!("[unnoted_rise]\n{wrong}\n")).unwrap_err().all;
            assert_eq!(problems.len(), 1, "{problems:?}");
            assert!(
                problems[0].what.starts_with(what) || problems[0].what.contains("unnoted_rise.always"),
                "{problems:?}"
            );
            assert!(!problems[0].hint.is_empty(), "{problems:?}");
        }
        for wrong in ["by = 39", "by = 201"] {
            assert_eq!(read(&format!("[unnoted_rise]\n{wrong}\n")).unwrap_err().all.len(), 1, "{wrong}");
        }
    }
}
