//! Free texts: notes of one line, and the places of photographs.

/// Longest text of a note, in characters.
pub const NOTE_LENGTH: usize = 500;

/// A free text that can stand in a mail, a table and on a page, or what is wrong with it. Blank is none.
pub fn note(text: &str) -> Result<Option<String>, String> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    if text.chars().any(char::is_control) {
        return Err("a note is one line without control characters; write a semicolon where a line should end".into());
    }
    if text.chars().count() > NOTE_LENGTH {
        return Err(format!("a note has at most {NOTE_LENGTH} characters; keep longer ones in a file beside"));
    }
    Ok(Some(text.into()))
}

/// The place of a photograph below the folder of photographs: relative, climbing nowhere. Blank is none.
///
/// ```
/// # use counterpane::journal::photo;
/// assert_eq!(photo("2027/a1-kale.jpg"), Ok(Some("2027/a1-kale.jpg".into())));
/// assert!(photo("../secret").is_err() && photo("/etc/hosts").is_err());
/// ```
pub fn photo(text: &str) -> Result<Option<String>, String> {
    let Some(text) = note(text)? else { return Ok(None) };
    let is_plain = |part: &str| !part.is_empty() && !part.starts_with('.') && !part.contains(['\\', ':']);
    if text.split('/').all(is_plain) {
        Ok(Some(text))
    } else {
        Err(format!(
            "\"{text}\" is no place for a photograph: name it from the folder of photographs on, such as \
             2027/a1-kale.jpg"
        ))
    }
}
