//! What was found: how often a promise was at stake, how often it was broken, and why. Judges nothing itself.

use super::glance::{Now, Sight};
use super::record::{MIN, Ms};

/// One time a promise was at stake.
#[derive(Debug, Clone)]
pub(crate) struct Stake {
    /// Letter and number, and which half where there are several.
    pub(crate) promise: &'static str,
    pub(crate) at: Ms,
    /// Why it was not kept.
    pub(crate) broken: Option<String>,
}

/// All that was found in one record.
#[derive(Debug, Default)]
pub(crate) struct Verdicts {
    pub(crate) stakes: Vec<Stake>,
}

impl Verdicts {
    pub(crate) fn judge(&mut self, promise: &'static str, at: Ms, kept: bool, why: impl FnOnce() -> String) {
        self.stakes.push(Stake { promise, at, broken: (!kept).then(why) });
    }

    /// How often at stake, and how often broken.
    #[cfg(test)]
    pub(crate) fn count(&self, promise: &str) -> (usize, usize) {
        let these: Vec<&Stake> = self.stakes.iter().filter(|stake| stake.promise == promise).collect();
        (these.len(), these.iter().filter(|stake| stake.broken.is_some()).count())
    }
}

/// Something that must ring again and again while a state lasts.
pub(crate) struct Duty<'a> {
    pub(crate) promise: &'static str,
    pub(crate) rings: &'a [Ms],
    pub(crate) holds: &'a dyn Fn(&Now) -> bool,
    /// When the next is due: after the last ring, or after the beginning of the state where there was none.
    pub(crate) due: &'a dyn Fn(Option<Ms>, Ms, &Now) -> Ms,
    /// How much later is still in time.
    pub(crate) slack: Ms,
    pub(crate) why: &'a str,
}

/// Walks through a record; each span between two rings is one time at stake.
pub(crate) fn walk(sight: &Sight, verdicts: &mut Verdicts, duty: &Duty) {
    let mut next = 0;
    let mut last: Option<Ms> = None;
    let mut since: Option<Ms> = None;
    let mut counted = Ms::MIN / 2;
    for now in &sight.minutes {
        let mut rang = false;
        while let Some(ring) = duty.rings.get(next).filter(|ring| **ring <= now.at) {
            last = Some(*ring);
            rang = true;
            next += 1;
        }
        if !(now.watched && (duty.holds)(now)) {
            since = None;
            continue;
        }
        let began = since.is_none();
        let start = *since.get_or_insert(now.at);
        if rang {
            // Rings that come thicker than is owed are one time at stake.
            if began || now.at - counted >= 5 * MIN {
                verdicts.judge(duty.promise, now.at, true, String::new);
                counted = now.at;
            }
            continue;
        }
        let due = (duty.due)(last, start, now).max(start);
        if now.at > due + duty.slack {
            let told =
                last.map_or_else(|| "never before".to_owned(), |last| format!("{} min ago", (now.at - last) / MIN));
            verdicts.judge(duty.promise, now.at, false, || format!("{}: {}, rang {told}", duty.why, shown(now)));
            // The next is counted from here: a silence of hours is many breaks, and not one a minute.
            last = Some(now.at);
            counted = now.at;
        }
    }
}

/// `51 falling`: what was known.
pub(crate) fn shown(now: &Now) -> String {
    if now.measured == 0 {
        return "no reading".to_owned();
    }
    let age = if now.fresh { String::new() } else { format!(" {} min old", (now.at - now.measured) / MIN) };
    let rate = now.rate.map_or_else(String::new, |rate| format!(" {rate:+.1}/min"));
    format!("{:.0}{rate}{age}", now.value)
}
