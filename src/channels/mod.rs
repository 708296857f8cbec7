//! Ways to reach the wearer. A channel tries once and says what came of it; whether to try again is
//! not its business.

pub mod desktop;
pub mod webhook;

use crate::config::ChannelSettings;
use crate::outbox::message::Message;
use crate::outbox::outcome::Outcome;
use desktop::Desktop;
use tokio::sync::mpsc;
use webhook::WebhookChannel;

/// A button that was pressed on a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Click {
    /// The channel.
    pub channel: String,
    /// The handle of the message it was pressed on.
    pub handle: u32,
    /// Which button.
    pub button: Button,
}

/// The buttons there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Button {
    /// I have seen it.
    Seen,
    /// I have treated it.
    Treated,
}

/// One way to reach the wearer.
#[derive(Debug, Clone)]
pub enum Channel {
    /// The desktop's notification server.
    Desktop(Desktop),
    /// An HTTP address.
    Webhook(WebhookChannel),
}

impl Channel {
    /// Makes a channel from its settings.
    ///
    /// # Errors
    /// When a certificate file cannot be read.
    pub fn new(settings: &ChannelSettings, clicks: mpsc::UnboundedSender<Click>) -> Result<Self, String> {
        Ok(match settings {
            ChannelSettings::Desktop { name } => Self::Desktop(Desktop::new(name, clicks)),
            ChannelSettings::Webhook(webhook) => Self::Webhook(WebhookChannel::new(webhook)?),
        })
    }

    /// Its name in the settings.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Desktop(desktop) => desktop.name(),
            Self::Webhook(webhook) => webhook.name(),
        }
    }

    /// Tries once. Always comes back within the channel's own time limit.
    pub async fn send(&self, message: Message, replaces: Option<u32>) -> Outcome {
        match self {
            Self::Desktop(desktop) => desktop.show(&message, replaces).await,
            Self::Webhook(webhook) => webhook.post(message).await,
        }
    }

    /// Takes down what is shown under a handle, where that is possible.
    pub async fn withdraw(&self, handle: u32) {
        match self {
            Self::Desktop(desktop) => desktop.close(handle).await,
            Self::Webhook(_) => {}
        }
    }

    /// Takes down all that is shown, where that is possible.
    pub async fn withdraw_all(&self) {
        match self {
            Self::Desktop(desktop) => desktop.close_all().await,
            Self::Webhook(_) => {}
        }
    }
}
