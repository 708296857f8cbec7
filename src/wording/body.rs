//! What stands under a title: what to do, and then the one fact that matters most. Everything else is behind `why`.
//! Puts sentences together, and makes none.

/// Most characters of a body: what a phone shows at a glance.
pub const BODY_CHARS_MAX: usize = 160;

/// Most characters of what somebody else is told: as much again for what helps whoever does not wake.
const CALL_CHARS_MAX: usize = 2 * BODY_CHARS_MAX;

/// Most sentences of it.
const SENTENCES_MAX: usize = 2;

/// The first of these sentences, and the next one that there is room for.
pub(super) fn body(parts: &[String]) -> String {
    joined(parts, SENTENCES_MAX, BODY_CHARS_MAX)
}

/// Of what somebody else is told the first, and whatever else there is room for.
pub(super) fn call_body(parts: &[String]) -> String {
    joined(parts, parts.len(), CALL_CHARS_MAX)
}

fn joined(parts: &[String], most: usize, room: usize) -> String {
    let mut said: Vec<&str> = Vec::new();
    let mut length = 0;
    for part in parts.iter().map(|part| part.trim()).filter(|part| !part.is_empty()) {
        let longer = length + part.chars().count() + usize::from(!said.is_empty());
        if said.is_empty() || said.len() < most && longer <= room {
            said.push(part);
            length = longer;
        }
    }
    said.join(" ")
}

/// One line for each that there is room for beside `end`, and how many more there are.
pub(super) fn lines(all: &[String], most: usize, more: usize, end: &str) -> String {
    let closed = |left: usize| match (left, end.is_empty()) {
        (0, _) => end.to_owned(),
        (left, true) => format!("And {left} more."),
        (left, false) => format!("And {left} more. {end}"),
    };
    for count in (1..=all.len().min(most)).rev() {
        let left = (all.len() - count).saturating_add(more);
        let mut said = all[..count].to_vec();
        said.extend(Some(closed(left)).filter(|closed| !closed.is_empty()));
        if said.len() <= most && said.join("\n").chars().count() <= BODY_CHARS_MAX {
            return said.join("\n");
        }
    }
    closed(all.len().saturating_add(more))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn owned(all: &[&str]) -> Vec<String> {
        all.iter().map(|one| (*one).to_owned()).collect()
    }

    #[test]
    fn the_first_is_said_and_the_next_that_fits() {
        assert_eq!(body(&owned(&["Treat.", "", "One.", "Two."])), "Treat. One.");
        let long = "x".repeat(BODY_CHARS_MAX);
        assert_eq!(body(&owned(&["Treat.", &long, "Two."])), "Treat. Two.");
        assert_eq!(body(&owned(&[&long, "Two."])), long);
        assert_eq!(call_body(&owned(&["One.", "Two.", "Three."])), "One. Two. Three.");
        assert_eq!(call_body(&owned(&[&long, &long, "Three."])), format!("{long} Three."));
    }

    #[test]
    fn lines_that_have_no_room_are_counted() {
        assert_eq!(lines(&owned(&["one", "two"]), 5, 0, ""), "one\ntwo");
        assert_eq!(lines(&owned(&["one", "two", "three"]), 3, 2, "End."), "one\ntwo\nAnd 3 more. End.");
        let long = "x".repeat(BODY_CHARS_MAX);
        assert_eq!(lines(&owned(&[&long, "two"]), 5, 0, ""), "And 2 more.");
    }
}
