//! What a winter's daemon lives in: true weather, a feed that lies about nothing and fails often, a relay, and spells
//! of trouble, all from one seed.

use chrono::{DateTime, Duration, NaiveDate, SecondsFormat, Timelike, Utc};
use counterpane::service::mail::{Answer, Messenger, Outgoing};
use counterpane::settings::{Files, Settings, list, settings};
use counterpane::zone::NightOf;
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::Path;
use std::sync::{Arc, Mutex};
use tokio::sync::Notify;

pub const PEOPLE: [&str; 4] =
    ["manager@winter.example", "second@winter.example", "tuesday@winter.example", "weekend@winter.example"];

const GARDEN: &str = r#"
name = "Winter"
feeds = ["file"]
[place]
latitude = 36.0
longitude = -80.0
elevation_m = 250
time_zone = "America/New_York"
[[people]]
name = "Manager"
address = "manager@winter.example"
role = "manager"
[[people]]
name = "Second"
address = "second@winter.example"
role = "manager"
[[people]]
name = "Tuesday"
address = "tuesday@winter.example"
role = "volunteer"
[[people]]
name = "Weekend"
address = "weekend@winter.example"
role = "volunteer"
[[covers]]
kind = "heavy-row-cover"
count = 1
length_m = 3.6
width_m = 2.4
[[beds]]
id = "A1"
kind = "raised"
length_m = 2.4
width_m = 1.2
plantings = [{ crop = "lettuce_leaf", stage = "leafy", hardened = "partly" }]
"#;

const SERVICE: &str = r#"
operator = "office@winter.example"
[mail]
from = "Frost watch <frost@winter.example>"
folder = "mail"
[feeds.file]
provider = "nws"
address = "forecast.json"
"#;

/// One garden, `winter`, of one tender bed, two managers and two volunteers.
pub fn settings_of_the_winter() -> Settings {
    let files = Files {
        service: ("counterpane.toml".into(), SERVICE.into()),
        gardens: vec![("winter.toml".into(), GARDEN.into())],
        crops: crate::garden::crop_files(),
    };
    settings(&files).unwrap_or_else(|faults| panic!("{}", list(&faults)))
}

/// Numbers from a seed: the same in every run and on every machine.
///
/// **Source.** G. L. Steele, D. Lea, C. H. Flood, 2014, "Fast splittable pseudorandom number generators" (SplitMix64;
/// constants from memory: any well mixed sequence does).
pub struct Chance(u64);

impl Chance {
    pub fn of(seed: u64) -> Chance {
        Chance(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    pub fn one_in(&mut self, n: u64) -> bool {
        self.next().is_multiple_of(n)
    }

    /// From 1 to `most`.
    pub fn up_to(&mut self, most: i64) -> i64 {
        1 + i64::try_from(self.next() % u64::try_from(most).expect("positive")).expect("small")
    }
}

/// True lows, night by night; three in ten are dangerous to the bed, none is in between.
pub struct Skies {
    first: NaiveDate,
    lows: Vec<f64>,
}

const FROST: f64 = -5.0;
const MILD: f64 = 8.0;

impl Skies {
    pub fn of(chance: &mut Chance, first: DateTime<Utc>, days: i64) -> Skies {
        let lows = (0..days).map(|_| if chance.up_to(10) <= 3 { FROST } else { MILD }).collect();
        Skies { first: first.date_naive(), lows }
    }

    fn low(&self, night: NaiveDate) -> f64 {
        let index = usize::try_from((night - self.first).num_days().max(0)).expect("not negative");
        self.lows.get(index).copied().unwrap_or(MILD)
    }

    pub fn dangerous(&self, days: i64) -> impl Iterator<Item = NightOf> {
        let nights = (1..days).map(|day| self.first + Duration::days(day));
        nights.filter(|night| self.low(*night) < 0.0).map(NightOf)
    }

    /// Before any sunset of the winter there, less half an hour: 21:30 UTC in December.
    pub fn end_of_work(&self, night: NightOf) -> DateTime<Utc> {
        (night.0.and_hms_opt(21, 30, 0).expect("a time")).and_utc()
    }

    /// When the day's first list may be: 06:30 there, in winter.
    pub fn morning(&self, night: NightOf) -> DateTime<Utc> {
        (night.0.and_hms_opt(11, 30, 0).expect("a time")).and_utc()
    }

    /// Puts the feed's document into the folder, as it stands at an instant.
    pub fn publish(&self, folder: &Path, now: DateTime<Utc>, feed: Feed) {
        let file = folder.join("forecast.json");
        let text = match feed {
            Feed::Good => self.document(now - Duration::hours(1), None),
            Feed::Stale(hours) => self.document(now - Duration::hours(hours), None),
            Feed::Hole => self.document(now - Duration::hours(1), Some(8)),
            Feed::Page => "<html><body>Access denied</body></html>".into(),
            Feed::Half => {
                let whole = self.document(now - Duration::hours(1), None);
                whole[..whole.len() / 2].to_string()
            }
            Feed::Gone => {
                std::fs::remove_file(&file).ok();
                return;
            }
        };
        std::fs::write(file, text).expect("written");
    }

    /// In the shape of the US National Weather Service, 60 hours long; `hole` is the UTC hour from which four are
    /// missing.
    fn document(&self, issued: DateTime<Utc>, hole: Option<u32>) -> String {
        let start = issued - Duration::seconds(i64::from(issued.num_seconds_from_midnight() % 3600));
        let stamp = |at: DateTime<Utc>| at.to_rfc3339_opts(SecondsFormat::Secs, false);
        let hours = (0..60).map(|hour| start + Duration::hours(hour));
        let hours = hours.filter(|at| hole.is_none_or(|hole| !(hole..hole + 4).contains(&at.hour())));
        // Written as text: as a tree of values it would be a twentieth of the whole winter.
        let air: Vec<String> = hours
            .map(|at| {
                // Until 18:00 UTC the morning belongs to the night before; coldest at 12:00, warmest at 20:00.
                let low = self.low((at - Duration::hours(18)).date_naive());
                let since_low = f64::from((at.hour() + 12) % 24);
                let warmth = if since_low <= 8.0 { since_low / 8.0 } else { (24.0 - since_low) / 16.0 };
                format!(r#"{{"validTime":"{}/PT1H","value":{}}}"#, stamp(at), low + 12.0 * warmth)
            })
            .collect();
        let (air, issued, start) = (air.join(","), stamp(issued), stamp(start));
        let constant = |name: &str, unit: &str, value: f64| {
            format!(
                r#""{name}":{{"uom":"wmoUnit:{unit}","values":[{{"validTime":"{start}/P2DT12H","value":{value}}}]}}"#
            )
        };
        let constants = [
            constant("dewpoint", "degC", -9.0),
            constant("skyCover", "percent", 5.0),
            constant("windSpeed", "km_h-1", 3.6),
        ];
        format!(
            r#"{{"type":"Feature","properties":{{"updateTime":"{issued}","elevation":{{"unitCode":"wmoUnit:m","value":250.0}},
            "temperature":{{"uom":"wmoUnit:degC","values":[{air}]}},{}}}}}"#,
            constants.join(",")
        )
    }
}

/// How the feed is.
#[derive(Clone, Copy, Debug)]
pub enum Feed {
    Good,
    /// Issued so many hours ago.
    Stale(i64),
    Hole,
    Page,
    Half,
    Gone,
}

/// How the relay is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Weather {
    Good,
    /// Nobody answers.
    Away,
    /// 4xx for everything.
    Later,
    /// Silence after the final dot; what it had may have arrived.
    Silent,
    /// The sign-in is refused.
    Password,
    /// 5xx for one person, by place in [`PEOPLE`].
    Refuses(usize),
    /// 5xx for everybody.
    RefusesAll,
    /// The power fails at every third mail.
    PowerCuts,
}

type Spell<T> = (DateTime<Utc>, DateTime<Utc>, T);

/// When what is in trouble.
pub struct Spells {
    feed: Vec<Spell<Feed>>,
    relay: Vec<Spell<Weather>>,
    skew: Vec<Spell<Duration>>,
}

impl Spells {
    pub fn of(chance: &mut Chance, first: DateTime<Utc>, days: i64) -> Spells {
        fn spells<T>(
            chance: &mut Chance,
            span: (DateTime<Utc>, i64),
            count: i64,
            hours: i64,
            mut what: impl FnMut(&mut Chance) -> T,
        ) -> Vec<Spell<T>> {
            let (first, days) = span;
            let spells = (0..count).map(|_| {
                let from = first + Duration::minutes(chance.up_to((days - 3) * 24 * 60));
                let until = from + Duration::minutes(chance.up_to(hours * 60));
                (from, until, what(chance))
            });
            spells.collect()
        }
        let span = (first, days);
        let feed = spells(chance, span, 30, 40, |chance| match chance.up_to(5) {
            1 => Feed::Stale(10 + chance.up_to(80)),
            2 => Feed::Hole,
            3 => Feed::Page,
            4 => Feed::Half,
            _ => Feed::Gone,
        });
        let relay = spells(chance, span, 30, 30, |chance| match chance.up_to(10) {
            1 | 2 => Weather::Away,
            3 => Weather::Later,
            4 => Weather::Silent,
            5 => Weather::Password,
            6..=8 => Weather::Refuses(usize::try_from(chance.up_to(4) - 1).expect("small")),
            9 => Weather::RefusesAll,
            _ => Weather::PowerCuts,
        });
        let skew = spells(chance, span, 8, 6, |chance| match chance.up_to(4) {
            1 => Duration::days(1),
            2 => -Duration::days(1),
            3 => Duration::hours(2),
            _ => -Duration::hours(2),
        });
        Spells { feed, relay, skew }
    }

    pub fn feed(&self, now: DateTime<Utc>) -> Feed {
        during(&self.feed, now).unwrap_or(Feed::Good)
    }

    pub fn relay(&self, now: DateTime<Utc>) -> Weather {
        during(&self.relay, now).unwrap_or(Weather::Good)
    }

    /// How far the machine's clock is wrong.
    pub fn skew(&self, now: DateTime<Utc>) -> Duration {
        during(&self.skew, now).unwrap_or(Duration::zero())
    }
}

fn during<T: Copy>(spells: &[Spell<T>], now: DateTime<Utc>) -> Option<T> {
    spells.iter().find(|(from, until, _)| (*from..*until).contains(&now)).map(|spell| spell.2)
}

/// A mail that somebody has.
#[derive(Debug)]
pub struct Arrived {
    /// True time, whatever the machine's clock says.
    pub at: DateTime<Utc>,
    pub clock_was_wrong: bool,
    pub to: String,
    pub id: String,
    pub night: String,
    pub kind: String,
    subject: String,
}

impl Arrived {
    pub fn says_there_is_nothing_to_do(&self) -> bool {
        self.subject.starts_with("All quiet") || self.subject.starts_with("Called off")
    }
}

/// The relay and everybody's mailboxes behind it.
pub struct Relay {
    pub now: DateTime<Utc>,
    pub clock_is_wrong: bool,
    pub weather: Weather,
    pub crash: Arc<Notify>,
    pub arrived: Vec<Arrived>,
    /// By Message-ID: how often the relay said yes.
    pub taken: BTreeMap<String, u32>,
    /// By Message-ID: of the bytes of the first try.
    hashes: BTreeMap<String, u64>,
    /// Tries whose end nobody knows.
    pub unsure: usize,
    chance: Chance,
}

impl Relay {
    pub fn of(chance: &mut Chance) -> Relay {
        Relay {
            now: DateTime::UNIX_EPOCH,
            clock_is_wrong: false,
            weather: Weather::Good,
            crash: Arc::new(Notify::new()),
            arrived: Vec::new(),
            taken: BTreeMap::new(),
            hashes: BTreeMap::new(),
            unsure: 0,
            chance: Chance(chance.next()),
        }
    }

    /// The service was ended with these in hand. Of those to which the relay had said yes nobody knows it; how many.
    pub fn forget(&mut self, in_hand: &[String]) -> u64 {
        let unrecorded = in_hand.iter().filter(|id| self.taken.remove(*id).is_some()).count();
        self.unsure += unrecorded;
        unrecorded as u64
    }

    fn keep(&mut self, mail: Outgoing<'_>) {
        // `<2027-01-16.list.1.hash@domain>`
        let mut parts = mail.message_id.trim_start_matches('<').split('.');
        let text = String::from_utf8_lossy(mail.bytes);
        let subject = text.lines().find_map(|line| line.strip_prefix("Subject: ")).unwrap_or_default();
        self.arrived.push(Arrived {
            at: self.now,
            clock_was_wrong: self.clock_is_wrong,
            to: mail.recipient.into(),
            id: mail.message_id.into(),
            night: parts.next().unwrap_or_default().into(),
            kind: parts.next().unwrap_or_default().into(),
            subject: subject.into(),
        });
    }

    /// `None`: the power fails just then.
    fn answer(&mut self, mail: Outgoing<'_>) -> Option<Answer> {
        let mut hasher = DefaultHasher::new();
        mail.bytes.hash(&mut hasher);
        let hash = hasher.finish();
        let first = *self.hashes.entry(mail.message_id.to_string()).or_insert(hash);
        assert_eq!(first, hash, "{} became another mail", mail.message_id);
        let refused = || Some(Answer::Refused("550 no such person".into()));
        match self.weather {
            Weather::Away => return Some(Answer::Unreachable("connection refused".into())),
            Weather::Later => return Some(Answer::TryLater("450 come back later".into())),
            Weather::Password => return Some(Answer::InstallationFault("535 wrong password".into())),
            Weather::RefusesAll => return refused(),
            Weather::Refuses(person) if mail.recipient == PEOPLE[person] => return refused(),
            Weather::Silent | Weather::PowerCuts if self.chance.one_in(3) => {
                self.unsure += 1;
                if self.chance.one_in(2) {
                    self.keep(mail);
                }
                if self.weather == Weather::Silent {
                    return Some(Answer::Unknown("no answer within 60 s".into()));
                }
                self.crash.notify_one();
                return None;
            }
            _ => {}
        }
        self.keep(mail);
        *self.taken.entry(mail.message_id.to_string()).or_default() += 1;
        Some(Answer::Sent("250 taken".into()))
    }
}

/// Answers for a relay.
pub fn messenger(relay: &Arc<Mutex<Relay>>) -> Messenger {
    let relay = Arc::clone(relay);
    Messenger(Arc::new(move |mail| {
        let answer = relay.lock().expect("sound").answer(mail);
        Box::pin(async move {
            match answer {
                Some(answer) => answer,
                None => std::future::pending().await,
            }
        })
    }))
}
