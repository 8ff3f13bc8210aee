//! Texts that were read and found good, kept beside the tests. `GOLDEN=write` writes them anew: read the difference.

use std::path::Path;

/// Whether a text differs from the one that is kept. Where they are written anew, nothing does.
pub fn differs(path: &Path, text: &str) -> bool {
    if std::env::var_os("GOLDEN").is_some_and(|word| word == "write") {
        std::fs::write(path, text).unwrap_or_else(|fault| panic!("{}: {fault}", path.display()));
    }
    std::fs::read_to_string(path).ok().as_deref() != Some(text)
}
