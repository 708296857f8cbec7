//! The desktop's notification server. Every call to it is limited in time: a server that hangs must not
//! hang the alerts. Messages of one thread replace each other, so that they never pile up.

use super::{Button, Click};
use crate::engine::effect::{Condition, Priority};
use crate::outbox::message::Message;
use crate::outbox::outcome::Outcome;
use notify_rust::{Hint, Notification, NotificationHandle, NotificationResponse, Timeout, Urgency};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::AbortHandle;

/// Longest time a call to the server may take.
const CALL: Duration = Duration::from_secs(4);

/// How long a button is listened for. An unanswered alert is repeated by then, or over.
const LISTEN: Duration = Duration::from_secs(4 * 3_600);

/// The desktop's notification server.
#[derive(Debug, Clone)]
pub struct Desktop {
    name: String,
    clicks: mpsc::UnboundedSender<Click>,
    shown: Arc<Mutex<BTreeMap<u32, Shown>>>,
}

#[derive(Debug)]
struct Shown {
    handle: Arc<NotificationHandle>,
    listening: AbortHandle,
}

impl Desktop {
    /// A desktop channel; pressed buttons go to `clicks`.
    #[must_use]
    pub fn new(name: &str, clicks: mpsc::UnboundedSender<Click>) -> Self {
        Self { name: name.to_owned(), clicks, shown: Arc::default() }
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Why there is no desktop at the moment, if there is none.
    #[must_use]
    pub fn absent(&self) -> Option<String> {
        (!session_is_there()).then(|| "no desktop session".to_owned())
    }

    /// Shows a message, in place of an earlier one if `replaces` names it.
    pub async fn show(&self, message: &Message, replaces: Option<u32>) -> Outcome {
        if let Some(words) = self.absent() {
            return Outcome::Absent { words };
        }
        let notification = notification(message, replaces);
        match tokio::time::timeout(CALL, notification.show_async()).await {
            Ok(Ok(handle)) => {
                let id = handle.id();
                self.listen(handle);
                Outcome::Accepted { handle: Some(id) }
            }
            Ok(Err(error)) => {
                let words = error.to_string();
                // A bus without a notification server is a session without a desktop.
                if words.contains("ServiceUnknown") || words.contains("No such file") || words.contains("refused") {
                    return Outcome::Absent { words: "no notification server in this session".to_owned() };
                }
                Outcome::Failed { words, pause: None }
            }
            Err(_) => Outcome::Failed {
                words: format!("the notification server did not answer within {} s", CALL.as_secs()),
                pause: None,
            },
        }
    }

    /// Takes a notification down.
    pub async fn close(&self, id: u32) {
        let shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner).remove(&id);
        if let Some(shown) = shown {
            shown.listening.abort();
            if tokio::time::timeout(CALL, shown.handle.close_async()).await.is_err() {
                tracing::warn!(channel = %self.name, "the notification server did not answer a close");
            }
        }
    }

    /// Takes all notifications down.
    pub async fn close_all(&self) {
        let all: Vec<u32> = self.shown.lock().unwrap_or_else(PoisonError::into_inner).keys().copied().collect();
        for id in all {
            self.close(id).await;
        }
    }

    fn listen(&self, handle: NotificationHandle) {
        let id = handle.id();
        let handle = Arc::new(handle);
        let (clicks, channel, waited_on) = (self.clicks.clone(), self.name.clone(), Arc::clone(&handle));
        let listening = tokio::spawn(async move {
            let wait = waited_on.wait_for_action_async(|response: &NotificationResponse| {
                let button = match response {
                    NotificationResponse::Default => Some(Button::Seen),
                    NotificationResponse::Action(action) if action == "treated" => Some(Button::Treated),
                    _ => None,
                };
                if let Some(button) = button {
                    // The loop that listens to clicks ends only when the program does.
                    let _ = clicks.send(Click { channel, handle: id, button });
                }
            });
            let _ = tokio::time::timeout(LISTEN, wait).await;
        });
        let shown = Shown { handle, listening: listening.abort_handle() };
        let before = self.shown.lock().unwrap_or_else(PoisonError::into_inner).insert(id, shown);
        if let Some(before) = before {
            before.listening.abort();
        }
    }
}

fn notification(message: &Message, replaces: Option<u32>) -> Notification {
    let mut notification = Notification::new();
    notification.appname("recheck").summary(&message.title).body(&plain(&message.body));
    let decision = message.decision.as_ref();
    let priority = message.priority;
    notification.urgency(match priority {
        Priority::High | Priority::Medium => Urgency::Critical,
        Priority::Low => Urgency::Normal,
        Priority::Information => Urgency::Low,
    });
    notification.timeout(match priority {
        Priority::High | Priority::Medium => Timeout::Never,
        Priority::Low | Priority::Information => Timeout::Default,
    });
    if let Some(decision) = decision {
        // What helps stands first. A bare click must not claim a treatment, so it means "seen".
        if can_be_treated(decision.condition) {
            notification.action("treated", "Treated");
        }
        notification.action("default", "Seen");
        notification.hint(Hint::Resident(false));
    }
    if let Some(id) = replaces {
        notification.id(id);
    }
    notification.finalize()
}

/// Highs, lows and their re-checks; not what is about sensor or channels.
const fn can_be_treated(condition: Condition) -> bool {
    matches!(
        condition,
        Condition::VeryLow
            | Condition::Low
            | Condition::Caution
            | Condition::ForecastVeryLow
            | Condition::ForecastLow
            | Condition::High
            | Condition::VeryHigh
            | Condition::RecheckHigh
            | Condition::RecheckLow
    )
}

/// Bodies may be read as markup by the server.
fn plain(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Is there a session bus to ask?
#[must_use]
pub fn session_is_there() -> bool {
    if std::env::var_os("DBUS_SESSION_BUS_ADDRESS").is_some() {
        return true;
    }
    std::env::var_os("XDG_RUNTIME_DIR").is_some_and(|folder| std::path::Path::new(&folder).join("bus").exists())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::glucose::Glucose;
    use crate::domain::local::Zone;
    use crate::domain::time::Timestamp;
    use crate::engine::effect::{Audience, Decision, Id, What};
    use crate::engine::policy::Policy;
    use crate::engine::reason::Reason;
    use crate::outbox::plan::trial;

    fn actions_of(condition: Condition) -> Vec<String> {
        let now = Timestamp::from_seconds(0);
        let decision = Decision {
            what: What::Raised,
            id: Id(1),
            part_of: None,
            condition,
            priority: Priority::High,
            rings: true,
            glucose: Some(Glucose::mg_dl(48)),
            reading_at: Some(now),
            rate: None,
            doubt: None,
            after_low: None,
            insulin: None,
            mode: None,
            also: Vec::new(),
            to: Audience::Wearer,
            reason: Reason::BeyondLimit { limit: Glucose::mg_dl(54), since: now },
        };
        let message = trial("mine", "1".to_owned(), &Policy::new(Zone::UTC), now);
        notification(&Message { decision: Some(decision), ..message }, None).actions
    }

    /// Whoever reaches for the first button of a low has treated it; a bare click has only seen it.
    #[test]
    fn the_button_named_treated_is_the_first() {
        assert_eq!(actions_of(Condition::VeryLow), ["treated", "Treated", "default", "Seen"]);
        assert_eq!(actions_of(Condition::Gap), ["default", "Seen"], "a silence is not treated");
    }
}
