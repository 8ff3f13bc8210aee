//! Mail into a folder: a file appears whole or not at all, and a repeat replaces itself.

use super::identity::label;
use super::{Answer, Outgoing};
use std::fs::{self, File};
use std::io::{self, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A folder may lie on another computer that does not answer.
pub(super) const TIMEOUT: Duration = Duration::from_secs(20);

pub(super) async fn write(folder: &Path, mail: Outgoing<'_>, within: Duration) -> Answer {
    let name = file_name(mail.message_id, mail.recipient);
    let (target, bytes) = (folder.join(&name), mail.bytes.to_vec());
    on_disk(
        folder,
        within,
        move |folder| write_whole(&folder, &name, &bytes),
        format!("written to {}", target.display()),
    )
    .await
}

pub(super) async fn probe(folder: &Path, within: Duration) -> Answer {
    let write_and_remove = |folder: PathBuf| {
        write_whole(&folder, "probe", b"")?;
        fs::remove_file(folder.join("probe"))
    };
    on_disk(folder, within, write_and_remove, format!("{} can be written", folder.display())).await
}

/// Runs a piece of work on files away from the loop that serves everybody else.
async fn on_disk(
    folder: &Path,
    within: Duration,
    work: impl FnOnce(PathBuf) -> io::Result<()> + Send + 'static,
    done: String,
) -> Answer {
    let owned = folder.to_path_buf();
    let task = tokio::task::spawn_blocking(move || work(owned));
    let why = match tokio::time::timeout(within, task).await {
        Ok(Ok(Ok(()))) => return Answer::Sent(done),
        Ok(Ok(Err(error))) => error.to_string(),
        Ok(Err(error)) => error.to_string(),
        Err(_) => format!("it did not answer within {} s", within.as_secs()),
    };
    Answer::Unreachable(format!("the mail folder {} cannot be written: {why}", folder.display()))
}

fn write_whole(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    // Addresses and plans of a garden are its own: no other account of the computer reads them.
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)?;
    let draft = folder.join(format!(".{name}.part"));
    let mut file = File::options().write(true).create(true).truncate(true).mode(0o600).open(&draft)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(&draft, folder.join(name))?;
    File::open(folder)?.sync_all()
}

/// Night, kind, revision and recipient, for the reader; a piece of the Message-ID's hash, for uniqueness. Each part is
/// made of letters, digits and hyphens, so no input can name another place.
fn file_name(message_id: &str, recipient: &str) -> String {
    let local = message_id.trim_start_matches('<').split('@').next().unwrap_or_default();
    let (about, hash) = local.rsplit_once('.').unwrap_or((local, ""));
    let short = |text: &str, length: usize| label(text).chars().take(length).collect::<String>();
    format!("{}-{}-{}.eml", short(about, 60), short(recipient, 60), short(hash, 8))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_named_after_night_kind_revision_and_recipient() {
        let name = file_name("<2026-01-15.first.1.0123456789abcdef@garden.example>", "crew@example.org");
        assert_eq!(name, "2026-01-15-first-1-crew-example-org-01234567.eml");
    }

    #[test]
    fn no_name_leads_out_of_the_folder() {
        for text in ["../../etc/passwd", "/", "..", "a\0b", "<../x.y@z>", "con\\..\\x"] {
            let name = file_name(text, text);
            assert!(name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '.'), "{name}");
            assert!(!name.contains("..") && name.ends_with(".eml"), "{name}");
        }
    }
}
