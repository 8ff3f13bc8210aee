//! Whether an entry may stand for another one.

use super::{Entry, Kind};

/// What is wrong with an entry that is to stand for `old`, which whoever wrote it knows as `named`; `later` is what
/// stands for that one already. An entry is corrected once, by one of its kind or by its striking.
pub fn may_replace(named: &str, old: &Entry, later: Option<&str>, by: &Entry) -> Result<(), String> {
    if let Some(later) = later {
        return Err(format!("{named} was corrected already; correct {later}, which stands for it"));
    }
    let (old, by) = (old.what.kind(), by.what.kind());
    if old == Kind::Struck {
        return Err(format!("{named} strikes another; write the other anew instead"));
    }
    if by != Kind::Struck && by != old {
        return Err(format!(
            "{named} is of another kind ({}); strike it with `counterpane correct` and write this one on its own",
            old.word()
        ));
    }
    Ok(())
}
