//! `recheck check` and `recheck try`: are the settings right, and do the channels work?

use super::Place;
use super::print::{FAILED, Failure, folded, line};
use super::watch::runtime;
use crate::channels::Channel;
use crate::config::Receipt;
use crate::daemon::clock;
use crate::domain::ketone_table::KetoneTest;
use crate::engine::mode::profile::Profile;
use crate::engine::policy::{Policy, Whom};
use crate::outbox::outcome::Outcome;
use crate::outbox::plan;
use crate::store::Store;
use crate::wording::steps;
use std::process::ExitCode;
use tokio::sync::mpsc;

pub(super) fn check(place: &Place) -> Result<ExitCode, Failure> {
    let settings = place.settings()?;
    let (sources, channels) = (settings.sources.len(), settings.channels.len());
    line(&format!("{}: good. {sources} source(s), {channels} channel(s).", place.config().display()));
    for source in &settings.sources {
        if !source.folder.is_dir() {
            line(&format!(
                "note: source.{}: {} is not a folder yet; it will be an alert until it is",
                source.name,
                source.folder.display()
            ));
        }
    }
    let confirms = settings.reaches.values().any(|reach| reach.owner.is_none() && reach.receipt == Receipt::Confirm);
    let answered =
        Store::look(&place.state()).ok().flatten().is_some_and(|store| store.was_answered().unwrap_or(false));
    if !settings.policy.people.is_empty() && !confirms && !answered {
        line(
            "note: others are called when you do not answer, and no answer has ever come back: try `recheck seen`, the",
        );
        line("      desktop's button or a line in a diary file, so that nobody is called in vain");
    }
    for text in steps::escalation(&settings.policy) {
        folded(&text);
    }
    for (when, night) in [("by day", false), ("by night", true)] {
        let calls = settings.policy.escalation.high.steps(night).iter().any(|step| step.to != Whom::Wearer);
        if !settings.policy.people.is_empty() && !calls {
            line(&format!(
                "note: {when} nobody is called for a low: no step of escalation.high names the second person"
            ));
        }
    }
    if settings.policy.profiles.contains(&Profile::Child) {
        let carer = settings.policy.people.first();
        line(&carer.map_or_else(
            || "note: wearer.profile is child, and no [person.NAME] looks after them: nobody is rung first".to_owned(),
            |carer| {
                format!(
                    "note: a child's lows ring {} first; `recheck seen` without --by NAME quietens nothing",
                    carer.shown()
                )
            },
        ));
    }
    for person in &settings.policy.people {
        line(&format!("note: {} is called when you do not answer; have you agreed on it?", person.name));
    }
    if std::fs::read_to_string(place.config()).is_ok_and(|text| !says_therapy(&text)) {
        line("note: wearer.therapy is not set; \"injections\" are assumed");
    }
    ketones(&settings.policy);
    Ok(ExitCode::SUCCESS)
}

/// What is asked about ketones where that is not what most are asked; and what follows from not measuring them.
fn ketones(policy: &Policy) {
    let night = policy.recheck.ketone_night;
    if night != Policy::new(policy.zone).recheck.ketone_night {
        line(&format!("note: by night ketones below 0.6 answer for a high that stays for {night}"));
    }
    if policy.profiles.contains(&Profile::Pregnancy) {
        line(
            "note: in pregnancy a high that stays is asked about from 180 mg/dL (10.0 mmol/L), and each ketone value counts as a row worse",
        );
    }
    if policy.ketone_test != KetoneTest::None {
        return;
    }
    line(
        "note: ketones are not measured: a high asks about pen or set, drinking and how you feel, and a red flag is an emergency",
    );
    for profile in [Profile::Pregnancy, Profile::KetoneProne].into_iter().filter(|one| policy.profiles.contains(one)) {
        line(&format!("note: with the profile {} ask your care team for a way to measure ketones", profile.name()));
    }
}

/// Is the therapy a setting? The file that people copy names it in a comment.
fn says_therapy(settings: &str) -> bool {
    settings.lines().any(|line| !line.trim_start().starts_with('#') && line.contains("therapy"))
}

pub(super) fn trial(place: &Place) -> Result<ExitCode, Failure> {
    let mut settings = place.settings()?;
    let now = clock::wall();
    // A trial is wanted most when something is broken: without a store the zone at home serves.
    if let Ok(clock) = place.wall_clock(settings.policy.zone) {
        settings.policy.zone = clock.zone_at(now);
    }
    let mut all_work = true;
    runtime()?.block_on(async {
        let (clicks, _ignored) = mpsc::unbounded_channel();
        for one in &settings.channels {
            let name = one.name();
            let outcome = match Channel::new(one, clicks.clone()) {
                Ok(channel) => {
                    let key = format!("try-{}-{name}", now.millis());
                    channel.send(plan::trial(name, key, &settings.policy, now), None).await
                }
                Err(words) => Outcome::Failed { words, pause: None },
            };
            match outcome {
                Outcome::Accepted { .. } => line(&format!("{name}: accepted. Did it reach you? Accepted is not seen.")),
                Outcome::Failed { words, .. } | Outcome::Absent { words } | Outcome::Refused { words } => {
                    all_work = false;
                    line(&format!("{name}: failed: {words}"));
                }
            }
        }
    });
    Ok(if all_work { ExitCode::SUCCESS } else { ExitCode::from(FAILED) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_therapy_in_a_comment_is_not_said() {
        assert!(!says_therapy(include_str!("../../config/recheck.toml")));
        assert!(
            says_therapy("[wearer]\n# either\n  therapy = \"pump\"\n") && says_therapy("wearer.therapy = \"pump\"")
        );
    }
}
