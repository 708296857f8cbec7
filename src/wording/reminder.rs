//! What is said of the wearer's own reminders: their own words first and whole, then only what is known of the
//! time and the value.

use super::Voice;
use super::text::{Parts, Said, TITLE_CHARS_MAX, shortened_to};
use crate::domain::reminder::Only;
use crate::engine::reason::Reason;
use crate::engine::reminder::{Come, Reminder};
use crate::engine::trend::Rate;

impl Said<'_> {
    /// `change the site`, `change the site (due 14:30)`; the words are cut, never what is known of them.
    pub(super) fn reminder(&self) -> Parts {
        let (come, unseen) = match &self.decision.reason {
            Reason::ReminderDue { reminder } => (reminder, false),
            Reason::ReminderUnseen { reminder } => (reminder, true),
            _ => return ("Your reminder".to_owned(), Vec::new()),
        };
        let due = come.late.then(|| format!("due {}", self.voice.clock(come.due)));
        let known: Vec<String> = due.into_iter().chain(unseen.then(|| "no fresh value".to_owned())).collect();
        let tail = if known.is_empty() { String::new() } else { format!(" ({})", known.join("; ")) };
        let words = shortened_to(&come.text, TITLE_CHARS_MAX.saturating_sub(tail.chars().count()));
        (format!("{words}{tail}"), vec![self.reminder_body(come, unseen)])
    }

    fn reminder_body(&self, come: &Come, unseen: bool) -> String {
        let end = if come.text.ends_with(['.', '!', '?']) { "" } else { "." };
        let due = self.voice.clock(come.due);
        let value = match (come.only, self.decision.glucose, self.decision.reading_at) {
            (Some(only), _, _) if unseen => {
                format!(" No fresh value has reached me: I cannot tell whether it is {}.", beyond(only, self.voice))
            }
            (Some(only), Some(glucose), Some(at)) => {
                let value = glucose.shown(self.voice.unit, Some(only.limit()));
                let direction =
                    self.decision.rate.map_or_else(String::new, |rate| format!(", {}", Rate::direction(rate).words()));
                let (unit, at) = (self.voice.unit.name(), self.voice.clock(at));
                format!(" {value} {unit} at {at}{direction}: {}.", beyond(only, self.voice))
            }
            (_, _, _) => String::new(),
        };
        format!("{}{end} Your own reminder, due {due}.{value}", come.text)
    }
}

/// `Tue 14:30, every day, only above 180: change the site`
#[must_use]
pub fn reminder(reminder: &Reminder, voice: Voice) -> String {
    let every = reminder.every.map_or_else(String::new, |every| format!(", {every}"));
    let only = reminder.only.map_or_else(String::new, |only| format!(", only {}", beyond(only, voice)));
    format!("{}{every}{only}: {}", voice.clock(reminder.due), reminder.text)
}

/// Why a reminder rang, or did not, and what became of it.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    let due = |come: &Come| format!("\"{}\" was due {}", come.text, voice.clock(come.due));
    let beyond = |come: &Come| come.only.map_or_else(String::new, |only| beyond(only, voice));
    match reason {
        Reason::ReminderDue { reminder } if reminder.only.is_some() => {
            format!("{}, and the value is {}", due(reminder), beyond(reminder))
        }
        Reason::ReminderDue { reminder } => due(reminder),
        Reason::ReminderUnseen { reminder } => {
            format!("{}, and no fresh value tells whether it is {}", due(reminder), beyond(reminder))
        }
        Reason::ReminderNotMet { reminder } => {
            format!("{}, and the value is not {}", due(reminder), beyond(reminder))
        }
        Reason::ReminderSet { reminder } => self::reminder(reminder, voice),
        Reason::RemindersCancelled { ids } => format!("{} cancelled", ids.len()),
        Reason::NoSuchReminder { id } => format!("no reminder has the number {id}"),
        Reason::TooManyReminders { most } => format!("there are {most} reminders, and that is the most"),
        other => other.word().replace('_', " "),
    }
}

/// `above 180`
fn beyond(only: Only, voice: Voice) -> String {
    format!("{} {}", only.word(), voice.limit(only.limit()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::glucose::{Glucose, Unit};
    use crate::domain::local::Zone;
    use crate::domain::time::{Span, Timestamp};
    use crate::engine::effect::{Audience, Condition, Decision, Id, Priority, What};
    use crate::engine::policy::Policy;
    use crate::wording::text::text;

    /// 2026-03-02 14:30 UTC, a Monday.
    const DUE: Timestamp = Timestamp::from_seconds(1_772_461_800);

    fn said(words: &str, late: bool, value: Option<i32>) -> (String, String) {
        let only = value.map(|_| Only::Above(Glucose::mg_dl(180)));
        let reminder = Come { text: words.to_owned(), due: DUE, late, only };
        let decision = Decision {
            what: What::Prompt,
            id: Id(7),
            part_of: None,
            condition: Condition::Reminder,
            priority: Priority::Information,
            rings: true,
            glucose: value
                .map(|hundredths| Glucose::from_hundredths(hundredths, Unit::MgDl, Glucose::mg_dl(1).measured())),
            reading_at: value.map(|_| DUE - Span::minutes(3)),
            rate: None,
            to: Audience::Wearer,
            doubt: None,
            after_low: None,
            insulin: None,
            mode: None,
            reason: Reason::ReminderDue { reminder },
            also: Vec::new(),
        };
        let said = text(&decision, &Policy::new(Zone::UTC), DUE + Span::hours(10));
        (said.title, said.body)
    }

    #[test]
    fn the_words_come_first_and_whole() {
        let (title, body) = said("change the site", false, None);
        assert_eq!(title, "change the site");
        assert_eq!(body, "change the site. Your own reminder, due Mon 14:30.");
        let long = "look at the pump and at the tube and then write down what the display says. Twice!";
        let (title, body) = said(long, true, None);
        assert_eq!(title, "look at the pump and at the tube and... (due Mon 14:30)");
        assert!(title.chars().count() <= TITLE_CHARS_MAX);
        assert_eq!(body, format!("{long} Your own reminder, due Mon 14:30."));
        let (title, _) = said(&"x".repeat(200), true, None);
        assert_eq!(title.chars().count(), TITLE_CHARS_MAX);
    }

    /// A value that is above the limit never reads as the limit.
    #[test]
    fn the_value_is_said_with_its_time() {
        let (_, body) = said("look again", false, Some(18_040));
        assert_eq!(body, "look again. Your own reminder, due Mon 14:30. 180.4 mg/dL at Mon 14:27: above 180.");
    }
}
