//! What an entry is known by.

use crate::hash::hash_of;
use std::fmt;

/// What an entry is known by in every store: made from all that it says.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key(String);

/// Letters and digits that are not taken for one another.
const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
/// Of five bits each: among a million entries two are alike once in two million such journals.
const KEY_LENGTH: usize = 12;

impl Key {
    /// The key of a text, or `None` where it is none.
    pub fn parse(text: &str) -> Option<Key> {
        let is_made = |text: &str| text.bytes().all(|byte| LETTERS.contains(&byte));
        let is_numbered =
            |text: &str| text.strip_prefix('u').is_some_and(|number| number.bytes().all(|c| c.is_ascii_digit()));
        (text.len() == KEY_LENGTH && (is_made(text) || is_numbered(text))).then(|| Key(text.into()))
    }

    /// The key of an entry of a store that had no keys yet, made from its number there.
    pub fn is_old(&self) -> bool {
        self.0.starts_with('u')
    }

    /// The key of these texts, in this order.
    pub(super) fn of(parts: &[&str]) -> Key {
        let hash = hash_of(parts);
        let letter = |place: usize| {
            let index = usize::try_from(((hash ^ (hash >> 64)) >> (place * 5)) & 31).unwrap_or_default();
            char::from(LETTERS.get(index).copied().unwrap_or(b'0'))
        };
        Key((0..KEY_LENGTH).map(letter).collect())
    }

    /// Its text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
