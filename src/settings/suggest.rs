//! "Did you mean": the known word that is nearest to a mistyped one.

/// "did you mean", where one known word is near enough to be meant.
pub(super) fn suggestion<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> Option<String> {
    nearest(word, known).map(|near| format!("did you mean \"{near}\"?"))
}

/// The known word that is nearest, if it is near enough to be meant.
pub(super) fn nearest<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> Option<&'k str> {
    let word = word.to_lowercase();
    known
        .map(|candidate| (likeness(&word, &candidate.to_lowercase()), candidate))
        .filter(|(likeness, _)| *likeness > 0.82)
        .max_by(|(a, _), (b, _)| a.total_cmp(b))
        .map(|(_, candidate)| candidate)
}

/// From 0 to 1. One wrong, missing, surplus or swapped letter always counts as meant, also in a short word.
fn likeness(word: &str, candidate: &str) -> f64 {
    let one_letter = candidate.chars().count() > 2 && strsim::osa_distance(word, candidate) <= 1;
    strsim::jaro_winkler(word, candidate).max(if one_letter { 0.9 } else { 0.0 })
}
