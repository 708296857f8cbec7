//! What is said before sleep: at most five short lines, facts only. It gives no advice but to look or to scan.

use super::text::{Parts, Said, capital};
use super::{Voice, since};
use crate::domain::time::{Span, Timestamp};
use crate::engine::bedtime::{DOSE_NAMED_HOURS, Dose, Evening, Mark, Memory};
use crate::engine::reason::{Open, Reason};

impl Said<'_> {
    pub(super) fn bedtime(&self) -> Parts {
        let Reason::Bedtime { evening } = &self.decision.reason else {
            return ("Bedtime".to_owned(), Vec::new());
        };
        let lines = [
            Some(self.value_line(evening)),
            Some(dose(evening.dose, self.voice)),
            marks(&evening.marks, self.voice),
            evening.memory.map(|memory| self.memory_line(memory)),
            evening.slept.map(|(from, to)| {
                let (from, to) = (self.voice.zone.clock(from), self.voice.zone.clock(to));
                format!("This computer slept last night from {from} to {to}: not watching while it sleeps.")
            }),
        ];
        let lines: Vec<String> = lines.into_iter().flatten().collect();
        (self.bedtime_title(evening), vec![lines.join("\n")])
    }

    fn bedtime_title(&self, evening: &Evening) -> String {
        let open = evening.open.first().map(|open| open_alert(open, self.voice));
        match (self.decision.glucose, evening.last, open) {
            (Some(_), _, Some(open)) => {
                format!("Bedtime: {}, {}. {}", self.value_and_direction(), self.read_at(), capital(&open))
            }
            (Some(_), _, None) => format!("Bedtime: {}, {}", self.value_and_direction(), self.read_at()),
            (None, _, Some(open)) => format!("Bedtime: {open}, nothing fresh. Measure"),
            (None, Some(last), None) => format!("Bedtime: nothing since {}. Look or scan", self.voice.clock(last)),
            (None, None, _) => "Bedtime: no reading has come. Look or scan".to_owned(),
        }
    }

    /// `142 mg/dL at 22:40, slowly falling, -0.6 mg/dL/min. 5 min ago. Open: low since 22:10.`
    fn value_line(&self, evening: &Evening) -> String {
        let value = match (self.decision.reading_at, evening.last) {
            (Some(at), _) => format!("{} {} ago.", self.full_value(), since(at, self.voice.now)),
            (None, Some(last)) => {
                let age = since(last, self.voice.now);
                format!("No fresh reading: the last came {}, {age} ago.", self.voice.clock(last))
            }
            (None, None) => "No reading has reached me.".to_owned(),
        };
        let open: Vec<String> = evening.open.iter().map(|open| open_alert(open, self.voice)).collect();
        if open.is_empty() { value } else { format!("{value} Open: {}.", open.join(", ")) }
    }

    fn memory_line(&self, memory: Memory) -> String {
        let full = self.voice.clock(memory.full);
        let is_full = if memory.full <= self.voice.now { "full since" } else { "full" };
        let ask = if memory.scan_now { " Scan now." } else { "" };
        format!("The sensor's memory is {is_full} {full}.{ask}")
    }
}

/// Why it was told, for `why`.
pub(super) fn sentence(evening: &Evening, voice: Voice) -> String {
    let scan = if evening.memory.is_some_and(|memory| memory.scan_now) { "; asked for a scan" } else { "" };
    let last = evening.last.map_or_else(|| "none".to_owned(), |last| voice.clock(last));
    format!("your bedtime has come; last reading {last}, open alerts: {}{scan}", evening.open.len())
}

fn dose(dose: Option<Dose>, voice: Voice) -> String {
    let when = |at: Timestamp| format!("{}, {} ago", voice.clock(at), since(at, voice.now));
    match dose {
        Some(Dose::Insulin(at)) => format!("Insulin noted {}.", when(at)),
        Some(Dose::HighTreated(at)) => format!("A high marked as treated {}; no insulin noted since.", when(at)),
        None => format!("No insulin noted in the last {}.", Span::hours(DOSE_NAMED_HOURS)),
    }
}

fn marks(marks: &[Mark], voice: Voice) -> Option<String> {
    let told = |mark: &Mark| match mark {
        Mark::Exercise(at) => format!("exercise {}", voice.clock(*at)),
        Mark::Alcohol(at) => format!("alcohol {}", voice.clock(*at)),
    };
    let told: Vec<String> = marks.iter().map(told).collect();
    (!told.is_empty()).then(|| format!("Noted: {}.", told.join(", ")))
}

/// `low since 22:10`
fn open_alert(open: &Open, voice: Voice) -> String {
    format!("{} since {}", open.condition.name().replace('_', " "), voice.clock(open.since))
}
