//! What is said of a high that is in range and comes down further: that it is not over, and when it is looked at again.

use super::Voice;
use super::text::{Parts, Said, fitting};
use crate::domain::time::Timestamp;
use crate::engine::reason::Reason;

impl Said<'_> {
    /// `160, falling fast, insulin still acting. Next check 23:05`.
    pub(super) fn landing(&self, acts: bool, next: Timestamp) -> Parts {
        let (value, next) = (self.value_and_direction(), self.voice.clock(next));
        let acting = if acts { ", insulin still acting" } else { "" };
        let title = fitting(&[format!("{value}{acting}. Next check {next}"), format!("{value}. Next check {next}")]);
        let what = "Coming down: checked every half hour until level; you hear if a low is likely.";
        (title, vec![what.to_owned()])
    }
}

/// Why, for `why`.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    let Reason::Landing { acts, next } = reason else { return String::new() };
    let acting = if *acts { ", and insulin still acts" } else { "" };
    format!("in range and coming down{acting}: looks again at {}", voice.clock(*next))
}
