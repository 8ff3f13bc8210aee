//! Values that are written as one word, in files, on the command line and in `--json`: the word stands once, for reading,
//! checking and printing.

/// Gives an enum its words: `ALL`, `word` and `from_word`.
macro_rules! words {
    ($type:ty { $($variant:ident = $word:literal),+ $(,)? }) => {
        impl $type {
            pub const ALL: &'static [$type] = &[$(<$type>::$variant),+];

            /// The word in files and in `--json`.
            pub fn word(self) -> &'static str {
                match self { $(<$type>::$variant => $word),+ }
            }

            /// The value of a word, or `None`.
            pub fn from_word(word: &str) -> Option<$type> {
                Self::ALL.iter().copied().find(|value| value.word() == word)
            }
        }
    };
}
pub(crate) use words;
