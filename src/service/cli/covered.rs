//! `counterpane covered`: write down what was really laid on which beds, or taken off.

use super::writing::{Desk, Writing, refused};
use super::{Done, Failure};
use crate::beds::Garden;
use crate::journal::event::{Written, night_of};
use crate::journal::lying::{TooMany, stays, too_many};
use crate::journal::{Covered, Entry, Uncovered, What};
use crate::service::look::known;
use crate::service::store::{Open, Store};
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct CoveredCommand {
    /// The beds, as their labels say
    #[arg(value_name = "BED", required = true)]
    beds: Vec<String>,
    #[command(flatten)]
    writing: Writing,
    /// The cover, as the shelf calls it
    #[arg(long = "with", value_name = "COVER", conflicts_with = "uncovered")]
    cover: Option<String>,
    /// How many layers of it; one, where nothing is said
    #[arg(long, value_name = "1|2", value_parser = clap::value_parser!(u8).range(1..=2))]
    layers: Option<u8>,
    /// When: 17:30, "last night", "yesterday 18:30" or "2027-01-16 06:10"; leave it out for now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// The cover was taken off
    #[arg(long)]
    uncovered: bool,
}

impl CoveredCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.writing.settings()?;
        let desk = self.writing.desk(&settings)?;
        let cover = self.cover.as_deref().map(|named| on_the_shelf(desk.garden, named)).transpose();
        let old = match desk.old.as_ref().map(|old| &old.what) {
            Some(What::Covered(old)) => Some(old),
            _ => None,
        };
        let cover = cover.map_err(refused)?.or_else(|| old.and_then(|old| old.cover.clone()));
        let layers = self.layers.or(old.map(|old| old.layers)).unwrap_or(1);
        // Covers are on by the deadline; when they came off again nobody can guess.
        if self.uncovered && desk.when(self.at.as_deref())?.since.is_some() {
            return Err(refused("Say the hour at which it was done, such as \"this morning 9:00\""));
        }
        let (moment, understood) = desk.evening(self.at.as_deref())?;
        let as_typed = self.cover.clone().unwrap_or_default();
        let mut entries = Vec::new();
        for bed in &self.beds {
            let (what, how) = if self.uncovered {
                (What::Uncovered(Uncovered { bed: bed.clone() }), "uncovered".to_string())
            } else {
                let two = if layers == 2 { "two layers of " } else { "" };
                let with = cover.as_ref().map_or(String::new(), |cover| format!(" with {two}{cover}"));
                let what = Covered { bed: bed.clone(), cover: cover.clone(), layers };
                (What::Covered(what), format!("covered{with}"))
            };
            let entry = desk.entry(&moment, as_typed.clone(), what, false)?;
            entries.push((entry, format!("bed {bed} {how}, {}{understood}.", desk.echo(&moment))));
        }
        let rows: Vec<&Entry> = entries.iter().map(|(entry, _)| entry).collect();
        let too_many = self.too_many(&desk, &rows)?;
        self.writing.write_with(&desk, entries, &too_many)?;
        Ok(Done::Well)
    }

    /// In sentences, of which of the covers that are being laid more pieces lie by the journal than there are.
    fn too_many(&self, desk: &Desk<'_>, rows: &[&Entry]) -> Result<Vec<String>, Failure> {
        let garden = desk.garden;
        let Some(laid) = rows.first().filter(|_| !self.uncovered) else { return Ok(Vec::new()) };
        let night = night_of(laid.at, garden.site.longitude);
        let path = self.writing.configuration.store_path(desk.settings);
        let (mut entries, mornings) = if path.exists() {
            super::runtime()?.block_on(async {
                let store = Store::open(&path, Open::ExistingOnly).await?;
                let known = known(&store, garden, night, night).await?;
                store.close().await;
                Ok::<_, Failure>((known.entries, known.mornings))
            })?
        } else {
            (Vec::new(), Vec::new())
        };
        entries.retain(|written| Some(written.id) != self.writing.replaces);
        let new = |entry: &&Entry| Written { id: 0, key: entry.key(), entry: (*entry).clone(), corrected_by: None };
        entries.extend(rows.iter().map(new));
        entries.sort_by_key(|written| written.entry.at);
        let before: Vec<Written> = entries.into_iter().filter(|written| written.entry.at <= laid.at).collect();
        let is_laid = |many: &TooMany| {
            rows.iter().any(|row| match &row.what {
                What::Covered(Covered { cover, .. }) => cover.as_ref().is_none_or(|cover| *cover == many.cover),
                _ => false,
            })
        };
        let sentence = |many: TooMany| {
            let TooMany { cover, pieces, shelf, beds } = many;
            let (example, beds) = (beds.first().cloned().unwrap_or_default(), beds.join(", "));
            format!(
                "By the journal {pieces} pieces of {cover} lie or may lie on {beds}, and there are {shelf}. Where one came \
                 off, write it off: covered {example} --uncovered --at TIME."
            )
        };
        let stays = stays(garden, &before, &mornings);
        Ok(too_many(garden, &stays, night).into_iter().filter(is_laid).map(sentence).collect())
    }
}

/// The cover of that name in the shed; a beginning that only one has will do.
fn on_the_shelf(garden: &Garden, named: &str) -> Result<String, String> {
    let names: Vec<&str> = garden.covers.iter().map(|cover| cover.name.as_str()).collect();
    let same = |name: &&&str| name.eq_ignore_ascii_case(named);
    let begins = |name: &&&str| name.to_lowercase().starts_with(&named.to_lowercase());
    let beginning: Vec<&&str> = names.iter().filter(begins).collect();
    match (names.iter().find(same), beginning.as_slice()) {
        (Some(name), _) => Ok((*name).to_string()),
        (None, [only]) => Ok((**only).to_string()),
        _ => Err(format!("No cover is called \"{named}\". There are: {}", names.join(", "))),
    }
}

/// The cover over a thermometer; blank: nobody said which.
pub(super) fn cover_named(garden: &Garden, named: &str) -> Result<Option<String>, String> {
    let named = Some(named.trim()).filter(|named| !named.is_empty());
    named.map(|named| on_the_shelf(garden, named)).transpose()
}
