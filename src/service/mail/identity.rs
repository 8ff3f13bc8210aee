//! The identity of a mail: made from what it is about, so that a repeat is the same mail.

use crate::hash::hash_of;
use crate::zone::NightOf;

/// The Message-ID, with its angle brackets. Night, kind and revision can be read in it, for whoever searches a
/// relay's log; garden, recipient and text are in the hash only. The text is, so that a store begun anew, which counts
/// revisions from one again, does not give an old mail's identity to a new one.
pub(super) fn message_id(
    garden: &str,
    night: NightOf,
    kind: &str,
    revision: u32,
    recipient: &str,
    text: &str,
    domain: &str,
) -> String {
    let hash = hash_of(&["message", garden, &night.to_string(), kind, &revision.to_string(), recipient, text]);
    format!("<{night}.{}.{revision}.{hash:032x}@{domain}>", label(kind))
}

/// A text made of small letters, digits and single hyphens, for use in names that others parse.
pub(super) fn label(text: &str) -> String {
    let mut label = String::new();
    for c in text.chars() {
        if c.is_ascii_alphanumeric() {
            label.push(c.to_ascii_lowercase());
        } else if !label.is_empty() && !label.ends_with('-') {
            label.push('-');
        }
    }
    label.trim_end_matches('-').to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_holds_nothing_that_means_something_elsewhere() {
        assert_eq!(label("../Called off!"), "called-off");
        assert_eq!(label("\u{e9}"), "");
    }
}
