//! An HTTP address that takes JSON. Redirects are not followed; only 2xx counts as accepted.

use crate::config::Webhook;
use crate::domain::time::Span;
use crate::engine::effect::Decision;
use crate::outbox::message::Message;
use crate::outbox::outcome::Outcome;
use serde::Serialize;
use std::sync::Arc;
use std::time::Duration;
use ureq::Agent;
use ureq::tls::{Certificate, PemItem, RootCerts, TlsConfig, parse_pem};

/// Most of an answer that is read.
const ANSWER_BYTES_MAX: u64 = 4_096;

/// An HTTP address.
#[derive(Debug, Clone)]
pub struct WebhookChannel {
    name: String,
    url: String,
    agent: Agent,
}

/// The body, as documented in docs/webhook.md.
#[derive(Debug, Serialize)]
struct Body<'a> {
    key: &'a str,
    may_repeat: bool,
    title: &'a str,
    text: &'a str,
    what: &'a str,
    alert: Option<u64>,
    part_of: Option<u64>,
    condition: Option<&'a str>,
    priority: Option<&'a str>,
    glucose: Option<Value>,
    reading_at: Option<String>,
    rate_mg_dl_per_min: Option<f64>,
    reason: Option<&'a str>,
    decided_at: String,
}

#[derive(Debug, Serialize)]
struct Value {
    mg_dl: f64,
    shown: String,
    unit: &'static str,
}

impl WebhookChannel {
    /// A webhook from its settings.
    ///
    /// # Errors
    /// When the certificate file cannot be read or holds no certificate.
    pub fn new(settings: &Webhook) -> Result<Self, String> {
        let roots = match &settings.ca_file {
            None => RootCerts::PlatformVerifier,
            Some(path) => {
                let pem = std::fs::read(path).map_err(|error| format!("{}: {error}", path.display()))?;
                let certificates: Vec<Certificate<'static>> = parse_pem(&pem)
                    .filter_map(|item| match item {
                        Ok(PemItem::Certificate(certificate)) => Some(certificate),
                        Ok(_) | Err(_) => None,
                    })
                    .collect();
                if certificates.is_empty() {
                    return Err(format!("{} holds no certificate", path.display()));
                }
                RootCerts::Specific(Arc::new(certificates))
            }
        };
        let timeout = Duration::from_millis(u64::try_from(settings.timeout.as_millis()).unwrap_or(10_000));
        let agent = Agent::config_builder()
            .tls_config(TlsConfig::builder().root_certs(roots).build())
            .timeout_global(Some(timeout))
            .max_redirects(0)
            .max_redirects_will_error(false)
            .http_status_as_error(false)
            .user_agent(concat!("recheck/", env!("CARGO_PKG_VERSION")))
            .build()
            .new_agent();
        Ok(Self { name: settings.name.clone(), url: settings.url.clone(), agent })
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Posts a message once.
    pub async fn post(&self, message: Message) -> Outcome {
        let (agent, url) = (self.agent.clone(), self.url.clone());
        let body = body(&message);
        let key = message.key;
        match tokio::task::spawn_blocking(move || post(&agent, &url, &key, &body)).await {
            Ok(outcome) => outcome,
            Err(error) => Outcome::Failed { words: error.to_string(), pause: None },
        }
    }
}

fn post(agent: &Agent, url: &str, key: &str, body: &str) -> Outcome {
    let sent = agent.post(url).header("content-type", "application/json").header("idempotency-key", key).send(body);
    let mut response = match sent {
        Ok(response) => response,
        Err(error) => {
            return Outcome::Failed { words: error.to_string(), pause: None };
        }
    };
    let status = response.status();
    // Read so that the connection can be used again; what it says does not matter.
    let _ = response.body_mut().with_config().limit(ANSWER_BYTES_MAX).read_to_vec();
    if status.is_success() {
        return Outcome::Accepted { handle: None };
    }
    let words = format!("the address answered {status}");
    if status.as_u16() == 410 {
        return Outcome::Refused { words };
    }
    let pause = response
        .headers()
        .get("retry-after")
        .and_then(|value| value.to_str().ok()?.trim().parse::<i64>().ok())
        .filter(|seconds| *seconds >= 0)
        .map(Span::seconds);
    Outcome::Failed { words, pause }
}

fn body(message: &Message) -> String {
    let decision = message.decision.as_ref();
    let body = Body {
        key: &message.key,
        may_repeat: message.may_repeat,
        title: &message.title,
        text: &message.body,
        what: &message.what,
        alert: decision.map(|decision| decision.id.0),
        part_of: decision.and_then(|decision| decision.part_of).map(|id| id.0),
        condition: decision.map(|decision| decision.condition.name()),
        priority: Some(message.priority.name()),
        glucose: decision.and_then(|decision| value(decision, message)),
        reading_at: decision.and_then(|decision| decision.reading_at).map(|at| message.zone.rfc3339(at)),
        rate_mg_dl_per_min: decision.and_then(|decision| decision.rate).map(|rate| f64::from(rate.0) / 100.0),
        reason: decision.map(|decision| decision.reason.word()),
        decided_at: message.zone.rfc3339(message.decided),
    };
    serde_json::to_string(&body).unwrap_or_else(|error| unreachable!("a body of texts and numbers is JSON: {error}"))
}

fn value(decision: &Decision, message: &Message) -> Option<Value> {
    decision.glucose.map(|glucose| Value {
        mg_dl: glucose.as_mg_dl(),
        shown: glucose.shown(message.unit, None),
        unit: message.unit.name(),
    })
}
