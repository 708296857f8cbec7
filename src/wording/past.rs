//! What is said of readings that came in late: a line for each stretch, at most five.

use super::LINES_MAX;
use super::body::lines;
use super::text::{Parts, Said};
use crate::engine::effect::Side;
use crate::engine::reason::PastSpan;

impl Said<'_> {
    pub(super) fn past(&self, spans: &[PastSpan], more: usize) -> Parts {
        let all: Vec<String> = spans.iter().map(|span| self.past_span(span)).collect();
        let title = format!("While away: {}", all.first().map_or("", String::as_str));
        (title, vec![format!("Readings that came in late: {}", lines(&all, LINES_MAX, more, ""))])
    }

    /// `below 70 from 02:10 to 03:05`
    fn past_span(&self, span: &PastSpan) -> String {
        let side = if span.condition.side() == Some(Side::Low) { "below" } else { "above" };
        let limit = self.voice.limit(span.limit);
        if span.from == span.to {
            return format!("{side} {limit} at {}", self.voice.clock(span.from));
        }
        format!("{side} {limit} from {} to {}", self.voice.clock(span.from), self.voice.zone.clock(span.to))
    }
}
