//! Bytes become UTF-8 text. Knows the three ways exports are written: UTF-8, UTF-16 and Latin-1.

use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// How letters are written as bytes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Encoding {
    /// UTF-8, with or without a byte-order mark.
    #[default]
    Utf8,
    /// UTF-16, the lower byte first.
    Utf16Le,
    /// UTF-16, the higher byte first.
    Utf16Be,
    /// ISO 8859-1: every byte is a letter.
    Latin1,
}

impl Encoding {
    /// By its name in the settings.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "utf-8" => Some(Self::Utf8),
            "utf-16le" => Some(Self::Utf16Le),
            "utf-16be" => Some(Self::Utf16Be),
            "latin-1" => Some(Self::Latin1),
            _ => None,
        }
    }

    /// Its name in the settings.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Utf8 => "utf-8",
            Self::Utf16Le => "utf-16le",
            Self::Utf16Be => "utf-16be",
            Self::Latin1 => "latin-1",
        }
    }

    /// Guesses from the first bytes of a file: a mark, or zero bytes between letters, or what is no UTF-8.
    #[must_use]
    pub fn guess(head: &[u8]) -> Self {
        let zeros = |offset: usize| head.iter().skip(offset).step_by(2).filter(|byte| **byte == 0).count();
        match head {
            [0xff, 0xfe, ..] => Self::Utf16Le,
            [0xfe, 0xff, ..] => Self::Utf16Be,
            _ if zeros(1) * 4 > head.len() => Self::Utf16Le,
            _ if zeros(0) * 4 > head.len() => Self::Utf16Be,
            _ => match std::str::from_utf8(head) {
                Ok(_) => Self::Utf8,
                // Cut within a letter at the end of what was read: still UTF-8.
                Err(error) if error.error_len().is_none() => Self::Utf8,
                Err(_) => Self::Latin1,
            },
        }
    }

    /// How many bytes from the start are whole lines.
    #[must_use]
    pub fn whole_lines(self, bytes: &[u8]) -> usize {
        let end = match self {
            Self::Utf8 | Self::Latin1 => bytes.iter().rposition(|byte| *byte == b'\n').map(|at| at + 1),
            Self::Utf16Le => bytes.chunks_exact(2).rposition(|unit| unit == [b'\n', 0]).map(|at| at * 2 + 2),
            Self::Utf16Be => bytes.chunks_exact(2).rposition(|unit| unit == [0, b'\n']).map(|at| at * 2 + 2),
        };
        end.unwrap_or(0)
    }

    /// How many bytes from the start are one whole line.
    #[must_use]
    pub fn first_line(self, bytes: &[u8]) -> Option<usize> {
        match self {
            Self::Utf8 | Self::Latin1 => bytes.iter().position(|byte| *byte == b'\n').map(|at| at + 1),
            Self::Utf16Le => bytes.chunks_exact(2).position(|unit| unit == [b'\n', 0]).map(|at| at * 2 + 2),
            Self::Utf16Be => bytes.chunks_exact(2).position(|unit| unit == [0, b'\n']).map(|at| at * 2 + 2),
        }
    }

    /// The text as UTF-8 bytes; a mark at the start is left out. What is no letter becomes U+FFFD, and is
    /// refused where it matters.
    #[must_use]
    pub fn text(self, bytes: &[u8]) -> Cow<'_, [u8]> {
        let units = |read: fn([u8; 2]) -> u16| {
            let units: Vec<u16> = bytes.chunks_exact(2).map(|unit| read([unit[0], unit[1]])).collect();
            let text = String::from_utf16_lossy(&units);
            Cow::Owned(text.strip_prefix('\u{feff}').unwrap_or(&text).as_bytes().to_vec())
        };
        match self {
            Self::Utf8 => Cow::Borrowed(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)),
            Self::Utf16Le => units(u16::from_le_bytes),
            Self::Utf16Be => units(u16::from_be_bytes),
            Self::Latin1 => Cow::Owned(bytes.iter().map(|byte| char::from(*byte)).collect::<String>().into_bytes()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_way_of_writing_comes_out_the_same() {
        let text = "zeit;größe\n12;5\nrest";
        let wide = |write: fn(u16) -> [u8; 2]| -> Vec<u8> { text.encode_utf16().flat_map(write).collect() };
        let latin: Vec<u8> = text.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect();
        for (bytes, encoding) in [
            (text.as_bytes().to_vec(), Encoding::Utf8),
            (wide(u16::to_le_bytes), Encoding::Utf16Le),
            (wide(u16::to_be_bytes), Encoding::Utf16Be),
            (latin, Encoding::Latin1),
        ] {
            assert_eq!(Encoding::guess(&bytes), encoding);
            let whole = encoding.whole_lines(&bytes);
            assert_eq!(encoding.text(&bytes[..whole]).as_ref(), "zeit;größe\n12;5\n".as_bytes());
            assert_eq!(encoding.text(&bytes[whole..]).as_ref(), b"rest");
        }
    }

    #[test]
    fn marks_are_seen_and_left_out() {
        assert_eq!(Encoding::guess(b"\xff\xfea\0"), Encoding::Utf16Le);
        assert_eq!(Encoding::Utf16Le.text(b"\xff\xfea\0").as_ref(), b"a");
        assert_eq!(Encoding::Utf8.text(b"\xef\xbb\xbftime").as_ref(), b"time");
        // A letter cut in two at the end of the first bytes.
        assert_eq!(Encoding::guess("aé".as_bytes().split_last().unwrap().1), Encoding::Utf8);
    }
}
