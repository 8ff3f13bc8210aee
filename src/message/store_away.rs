//! What managers are told while the service's store cannot be used and one in memory stands in for it.

use super::letter::Letter;
use crate::beds::Garden;

/// A letter of its own, at once: on a quiet evening there would be none for days. `why` says what is wrong, and how to
/// mend it.
pub fn store_away_letter(garden: &Garden, why: &str) -> Letter {
    Letter {
        subject: format!("The frost watch needs help: its records cannot be kept ({})", garden.name),
        lead: vec![
            "The service that writes these messages cannot use the file in which it keeps its records.".into(),
            "It goes on watching and warning, from memory. As long as this lasts, a restart of its computer can make it \
             say a list twice, and what it has learned of your garden may be missing."
                .into(),
            format!("What is wrong: {why}."),
        ],
        closing: vec!["Please pass this on to whoever looks after its computer.".into()],
        ..Letter::default()
    }
}

/// The same, a sentence within every other letter to a manager.
pub fn store_is_away(why: &str) -> String {
    format!(
        "The service cannot keep its records and works from memory: a list may come twice after a restart. Tell whoever \
         looks after its computer. What is wrong: {why}."
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_says_what_is_wrong_and_whom_to_ask() {
        let said = store_is_away("the disk is full. Mend: make room");
        assert!(
            said.contains("the disk is full. Mend: make room.") && said.contains("looks after its computer"),
            "{said}"
        );
    }
}
