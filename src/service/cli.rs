//! The command line: one file per command, each with its arguments and its `run`.

mod backup;
mod check;
mod covered;
mod demo;
mod doctor;
mod doubtful;
mod event;
mod explain;
mod found;
mod journal;
mod learned;
mod progress;
mod reading;
mod replay;
mod run;
mod season;
mod tonight;
mod weather;
mod writing;

use super::daemon::{InUse, unwritable};
use super::files;
use super::store::StoreFault;
use crate::settings::{GardenSettings, Settings, list, settings_at};
use crate::zone::Zone;
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use clap::{Args, Parser, Subcommand};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

const AFTER_HELP: &str = "\
To see it work, without any settings:   counterpane demo
When your garden is described:          counterpane check
Tonight's list, at any time:            counterpane tonight
Mail the lists by themselves, in time:  counterpane run
When something seems wrong:             counterpane doctor";

/// Tells a garden, in time, which beds want a cover tonight.
///
/// Exit codes: 0 done; 1 something unexpected; 2 settings or command line at fault, and nothing was sent; 3 a list was
/// made, but a bed on it is unknown: no usable weather, or hours of the night are missing; 4 the store cannot be used; 5
/// not everybody was told: mail waits for another try, was refused, or came too late; 6 doctor has found something wrong.
#[derive(Debug, Parser)]
#[command(name = "counterpane", version, max_term_width = 100, after_help = AFTER_HELP)]
pub struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Show the whole evening of an invented garden: its list, and its mail as files
    Demo(demo::Demo),
    /// Say whether the settings are sound, or name every line that is not; then when the next rounds come
    Check(check::Check),
    /// Print tonight's list
    Tonight(tonight::Tonight),
    /// Show how one bed's number came about, step by step, down to its sources
    Explain(explain::Explain),
    /// Write down what a thermometer in the garden shows
    Reading(reading::ReadingCommand),
    /// Write down which beds were really covered, with what and when, or uncovered
    Covered(covered::CoveredCommand),
    /// Write down what was picked
    Harvested(found::HarvestedCommand),
    /// Write down what the frost did to a bed or a planting, in one of six classes
    Damage(found::DamageCommand),
    /// Write down that a planting is gone
    Lost(found::GoneCommand),
    /// Write down that a planting was sown or set out again
    Resown(found::GoneCommand),
    /// Strike an entry of the journal that was a slip; it is kept and does not count
    Correct(found::CorrectCommand),
    /// List what is written in the journal, copy it into tables, or take tables and thermometers' logs in
    Journal(journal::JournalCommand),
    /// List the cold nights, or tell the whole story of one: foretold, said, done, measured, found
    Event(event::EventCommand),
    /// List what the garden's nights have taught, published beside learned; accept it, or take that back
    Learned(learned::LearnedCommand),
    /// Write what a winter came to into a folder: a page to read and print, and tables; with what to change next winter
    Season(season::SeasonCommand),
    /// Ask after everything the service rests on: feeds, mail, store, clock, rounds; say how to mend what is wrong
    Doctor(doctor::DoctorCommand),
    /// Copy the store into a file, also while the service runs
    Backup(backup::Backup),
    /// Run through a past record of the weather: what each evening would have foretold, and how good that was
    Replay(replay::Replay),
    /// Run the service: look at every garden in time, and mail the lists to its people
    Run(run::Run),
}

/// Where the settings are.
#[derive(Debug, Args)]
struct Configuration {
    /// The folder of the settings: counterpane.toml, and gardens/ beside it
    #[arg(long, value_name = "DIR", env = "COUNTERPANE_CONFIG", hide_env_values = true, default_value = "config")]
    config: PathBuf,
}

/// How a command ends when it does not succeed.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    #[error("{0}")]
    Settings(String),
    #[error("{0}")]
    Store(#[from] StoreFault),
    #[error("{0}")]
    InUse(#[from] InUse),
    #[error("{0}")]
    Mail(String),
    #[error("{0}")]
    Unexpected(String),
}

impl Failure {
    fn exit_code(&self) -> u8 {
        match self {
            Failure::Unexpected(_) => 1,
            Failure::Settings(_) => 2,
            Failure::Store(_) | Failure::InUse(_) => 4,
            Failure::Mail(_) => 5,
        }
    }
}

/// How a command ends when it has done its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Done {
    Well,
    /// The list says "unknown" of at least one bed.
    WithoutWeather,
    /// What was asked after is not in order.
    SomethingWrong,
}

/// Runs the command and gives its exit code.
pub fn run() -> ExitCode {
    let command_line = CommandLine::parse();
    let result = match command_line.command {
        Command::Demo(demo) => demo.run(),
        Command::Check(check) => check.run(),
        Command::Tonight(tonight) => tonight.run(),
        Command::Explain(explain) => explain.run(),
        Command::Reading(reading) => reading.run(),
        Command::Covered(covered) => covered.run(),
        Command::Harvested(harvested) => harvested.run(),
        Command::Damage(damage) => damage.run(),
        Command::Lost(lost) => lost.lost(),
        Command::Resown(resown) => resown.resown(),
        Command::Correct(correct) => correct.run(),
        Command::Journal(journal) => journal.run(),
        Command::Event(event) => event.run(),
        Command::Learned(learned) => learned.run(),
        Command::Season(season) => season.run(),
        Command::Doctor(doctor) => doctor.run(),
        Command::Backup(backup) => backup.run(),
        Command::Replay(replay) => replay.run(),
        Command::Run(run) => run.run(),
    };
    match result {
        Ok(Done::Well) => ExitCode::SUCCESS,
        Ok(Done::WithoutWeather) => ExitCode::from(3),
        Ok(Done::SomethingWrong) => ExitCode::from(6),
        Err(failure) => {
            complain(failure.to_string().trim_end());
            ExitCode::from(failure.exit_code())
        }
    }
}

impl Configuration {
    /// The settings as they stand at an instant.
    fn read(&self, now: DateTime<Utc>) -> Result<Settings, Failure> {
        files::read(&self.config)
            .and_then(|files| settings_at(&files, Some(now)))
            .map_err(|faults| Failure::Settings(list(&faults)))
    }

    fn store_path(&self, settings: &Settings) -> PathBuf {
        self.config.join(&settings.service.store)
    }
}

/// Whether every person could be sent a mail: better found now than on the night.
fn can_be_written_to(settings: &Settings) -> Result<(), Failure> {
    let unwritable = unwritable(settings);
    if unwritable.is_empty() {
        return Ok(());
    }
    Err(Failure::Settings(format!("{}\nNothing was started, nothing was sent.", unwritable.join("\n"))))
}

/// What to say before anything was kept.
fn nothing_yet(store: &Path) -> String {
    format!(
        "Nothing is written yet: there is no {}. `counterpane run` begins it, and so does the first entry.",
        store.display()
    )
}

/// The garden named, or the only one there is.
fn choose<'s>(settings: &'s Settings, id: Option<&str>) -> Result<&'s GardenSettings, Failure> {
    let ids: Vec<&str> = settings.gardens.iter().map(|garden| garden.garden.id.as_str()).collect();
    match id {
        Some(id) => {
            settings.gardens.iter().find(|garden| garden.garden.id == id).ok_or_else(|| {
                Failure::Settings(format!("No garden is called \"{id}\". There are: {}.", ids.join(", ")))
            })
        }
        None => match settings.gardens.as_slice() {
            [only] => Ok(only),
            _ => Err(Failure::Settings(format!("Which garden? Add --garden with one of: {}.", ids.join(", ")))),
        },
    }
}

/// A small runtime for commands that ask a feed or the store once.
fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::Unexpected(format!("The runtime cannot be started: {error}.")))
}

/// The zone of a name.
fn zone_named(text: &str) -> Result<Zone, String> {
    let unknown = || "this is no zone of the time-zone database; write one such as America/New_York".to_string();
    text.parse().ok().and_then(Zone::bundled).ok_or_else(unknown)
}

/// An instant given as RFC 3339, such as `2027-01-16T13:00:00-05:00`.
fn instant(text: &str) -> Result<DateTime<Utc>, String> {
    DateTime::parse_from_rfc3339(text)
        .map(|instant| instant.with_timezone(&Utc))
        .map_err(|_| "write it like 2027-01-16T13:00:00-05:00 or 2027-01-16T18:00:00Z".to_string())
}

/// A date of this age: what lies beyond the calendar of a store is refused, not worked with.
fn date(text: &str) -> Result<NaiveDate, String> {
    let date: NaiveDate = text.trim().parse().map_err(|_| "write a date like 2027-01-16".to_string())?;
    if (1970..=2200).contains(&date.year()) { Ok(date) } else { Err("its year lies outside 1970 to 2200".into()) }
}

/// Writes to standard error. Where that cannot be written, on a full disk say, the exit code still speaks.
fn complain(text: &str) {
    use std::io::Write;
    writeln!(std::io::stderr(), "{text}").ok();
}

/// Writes to standard output. A reader that has closed it early, such as `head`, is no fault.
fn print(text: &str) -> Result<(), Failure> {
    use std::io::Write;
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::Unexpected(format!("The output cannot be written: {error}.")))
        }
        _ => Ok(()),
    }
}
