//! What would have rung in the same moment, said beside the worst of it. Decides of nothing, and says of a low no more than
//! its title does.

use super::text::{Said, text};
use crate::engine::effect::{Condition, Decision, Doubt, Side};
use crate::engine::reason::Reason;

/// `treat now`, where it does not begin a sentence.
fn small(act: &str) -> String {
    let mut letters = act.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// A title within a sentence: a question would end that, and a doubt stays one. `maybe low 62, 12:00` for `Low? 62, 12:00`.
fn within_sentence(title: &str) -> String {
    match title.split_once("? ") {
        Some((level, rest)) if !level.contains(' ') => format!("maybe {} {rest}", small(level)),
        _ => title.replace('?', ""),
    }
}

/// What is said beside something worse, from the fullest to the shortest.
struct Also {
    to_do: String,
    fact: String,
    short: &'static str,
}

impl Said<'_> {
    /// That another finger-prick is due, where that is joined with what says it otherwise.
    pub(super) fn prick_too(&self) -> String {
        let asks = |one: &Decision| matches!(one.reason, Reason::PrickAgain { .. });
        let joined = !asks(self.decision) && self.decision.also.iter().any(asks);
        if joined { "Do another finger-prick now.".to_owned() } else { String::new() }
    }

    /// `Also: Low 62, 12:00: treat by your plan; no readings since 11:40.`: what would have rung in the same moment, as far
    /// as there is room. Of a low everything is said already.
    pub(super) fn also(&self, room: usize) -> String {
        let is_low = |one: &Decision| one.condition.side() == Some(Side::Low);
        let others = self.decision.also.iter().filter(|one| !(is_low(self.decision) && is_low(one)));
        let facts: Vec<Also> = others.map(|one| self.fact_of(one)).collect();
        let Some(Also { short, .. }) = facts.first() else { return String::new() };
        let said = |count: usize, of: fn(&Also) -> &str| {
            let told: Vec<&str> = facts.iter().take(count).map(of).collect();
            let left = facts.len() - count;
            let more = if left > 0 { format!("; and {left} more") } else { String::new() };
            format!("Also: {}{more}.", told.join("; "))
        };
        let full = (1..=facts.len()).rev().map(|count| said(count, |fact| &fact.to_do));
        let facts_alone = (1..=facts.len()).rev().map(|count| said(count, |fact| &fact.fact));
        let fits = full.chain(facts_alone).find(|words| words.chars().count() <= room);
        fits.unwrap_or_else(|| format!("Also: {short}."))
    }

    /// What another title says: its fact, and of a low also what to do.
    fn fact_of(&self, one: &Decision) -> Also {
        let short = one.condition.row().short;
        // Its question matters more than by how much it rose: the value is said already.
        if one.condition == Condition::UnnotedRise {
            return Also { to_do: self.rise_in_short(one), fact: self.rise_in_short(one), short };
        }
        let title = within_sentence(&text(one, self.policy, self.voice.now).title);
        // What leads with the value now has its news behind it.
        let several = matches!(one.condition, Condition::Morning | Condition::Digest);
        let fact = if several { title.rsplit(". ").next() } else { title.split(". ").next() };
        let fact = fact.unwrap_or_default().to_owned();
        let to_do = match title.split_once(". ") {
            Some((low, _)) if one.doubt == Some(Doubt::Flat) => format!("{low}: do a finger-prick"),
            Some((low, act)) if one.condition.side() == Some(Side::Low) => format!("{low}: {}", small(act)),
            _ => fact.clone(),
        };
        Also { to_do, fact, short }
    }
}
