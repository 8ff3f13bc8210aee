//! A season as tables in CSV, for whoever reckons on. A blank is what is not known; it is never 0.

use super::{Advice, BedFigures, Season};
use crate::units::{Celsius, Minutes};
use crate::zone::NightOf;

/// One table: the name of its file, what a row is, and its columns, each with what it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Table {
    pub file: &'static str,
    pub row: &'static str,
    pub columns: &'static [(&'static str, &'static str)],
}

/// All tables, in reading order.
pub const TABLES: [Table; 5] = [
    Table {
        file: "nights.csv",
        row: "a night of which anything is known, by the date of its evening",
        columns: &[
            ("night", "date of the evening"),
            ("foretold_c", "low at the garden's screen as the last round before the end of work foretold it, C"),
            ("spread_c", "its standard deviation, C"),
            ("measured_c", "lowest air measured at the garden's screen, else at the coldest bed, C"),
            ("measured_at", "screen, or the label of that bed"),
            ("coldest_c", "lowest air measured anywhere in the garden, C"),
            ("harm_from_c", "of a cold night, where harm begins in the most tender plant, C"),
            ("beds_asked", "beds that work was asked for before the end of work"),
            ("beds_asked_late", "beds that it was asked for only later"),
            ("beds_covered", "beds that were written down as covered; blank where none was"),
            ("reports", "reports of damage, those of class 0 included"),
            ("worst_class", "the worst of them, 0 to 5"),
            ("verdict", "hit, late, miss, false alarm, passed, quiet, not known"),
            ("work_minutes", "person-minutes of the covers written down"),
            ("saved_minutes", "worth that they saved, person-minutes"),
        ],
    },
    Table {
        file: "beds.csv",
        row: "a bed",
        columns: &[
            ("bed", "its label"),
            ("nights_asked", "nights on which work was asked for it"),
            ("nights_covered", "nights on which it was written down as covered"),
            ("nights_measured", "nights with a low of its own thermometer in the air"),
            ("lowest_c", "the lowest of them, C"),
            ("first_frost", "night of its first low of 0 C or less"),
            ("last_frost", "night of its last one"),
            ("hours_below_0_c", "by its own logger"),
            ("hours_below_minus_2_c", "by its own logger"),
            ("hours_below_minus_4_c", "by its own logger"),
            ("hours_logged", "hours that its logger knows of"),
            ("against_screen_c", "its low less the screen's on nights with frost, mean, C"),
            ("against_screen_nights", "how many those are"),
            ("reports", "reports of damage, those of class 0 included"),
            ("worst_class", "the worst of them, 0 to 5"),
            ("hits", "nights with work asked for in time that came"),
            ("late", "nights with work asked for too late that came"),
            ("misses", "nights with damage and no work asked for"),
            ("false_alarms", "nights with work asked for that stayed above what harms it"),
            ("not_known", "nights with work asked for of which nobody measured the low"),
        ],
    },
    Table {
        file: "crops.csv",
        row: "a crop",
        columns: &[
            ("crop", "as the catalogue calls it"),
            ("beds", "labels, a blank between them"),
            ("reports", "reports of damage, those of class 0 included"),
            ("worst_class", "the worst of them, 0 to 5"),
            ("plantings_lost", "written down as gone"),
            ("plantings_resown", "written down as sown or set out again"),
            ("picked_grams", "weight of what was picked"),
            ("picked_pieces", "pieces of what was picked"),
            ("lost_minutes", "worth that frost took, person-minutes"),
        ],
    },
    Table {
        file: "covers.csv",
        row: "a kind of cover",
        columns: &[
            ("cover", "as the shelf calls it; blank where nobody said which"),
            ("pieces", "in the shed, by the settings of today"),
            ("nights_asked", "nights on which lists asked for it"),
            ("beds_asked", "beds of all these nights"),
            ("nights_laid", "nights on which it was written down as laid"),
            ("beds_laid", "beds of all these nights"),
            (
                "nights_short",
                "nights on which a bed in danger was left open for want of it; blank where no list kept why",
            ),
        ],
    },
    Table {
        file: "next_winter.csv",
        row: "something to change, and one of the nights that it rests on",
        columns: &[
            ("what", "missed, cold-bed, out-of-line, covers-short, covers-too-small, unmeasured, no-report"),
            ("about", "a bed, crop or cover"),
            ("night", "date of the evening"),
        ],
    },
];

type Row = Vec<String>;

/// The tables of a season, in the order of [`TABLES`]: the file's name and its text, header first.
pub fn tables(season: &Season<'_>) -> Vec<(&'static str, String)> {
    let rows = [nights(season), beds(season), crops(season), covers(season), next_winter(season)];
    TABLES.iter().zip(rows).map(|(table, rows)| (table.file, text(table, rows))).collect()
}

fn text(table: &Table, rows: Vec<Row>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let header = table.columns.iter().map(|(name, _)| (*name).to_string()).collect();
    for row in std::iter::once(header).chain(rows) {
        // Into memory, and with as many fields as the header: nothing here can refuse.
        let _ = writer.write_record(row);
    }
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}

fn number(value: f64, decimals: usize) -> String {
    // What rounds to nothing has no sign.
    let scale = 10.0_f64.powi(i32::try_from(decimals).unwrap_or(0));
    format!("{:.decimals$}", (value * scale).round() / scale + 0.0)
}

fn or_blank<T>(value: Option<T>, written: impl Fn(T) -> String) -> String {
    value.map_or(String::new(), written)
}

fn degrees(value: Option<Celsius>) -> String {
    or_blank(value, |value| number(value.0, 2))
}

fn minutes(value: Option<Minutes>) -> String {
    or_blank(value, |value| number(value.0, 0))
}

/// A count of what people write down: none written is not none there.
fn written(count: usize) -> String {
    if count == 0 { String::new() } else { count.to_string() }
}

fn nights(season: &Season<'_>) -> Vec<Row> {
    let row = |night: &super::NightFigures| {
        vec![
            night.of.to_string(),
            degrees(night.foretold.map(|low| low.mean)),
            or_blank(night.foretold, |low| number(low.spread.0, 2)),
            degrees(night.measured.as_ref().map(|(low, _)| *low)),
            or_blank(night.measured.as_ref(), |(_, place)| place.bed().unwrap_or("screen").to_string()),
            degrees(night.coldest),
            degrees(night.begins),
            or_blank(night.last_list.as_ref(), |_| night.asked().count().to_string()),
            match night.last_list.is_some() || !night.in_the_dark.is_empty() {
                true => night.asked_late().count().to_string(),
                false => String::new(),
            },
            written(night.covered.len()),
            written(night.reports),
            or_blank(night.worst, |class| class.number().to_string()),
            night.verdict.word().to_string(),
            minutes(night.work),
            minutes(night.saved),
        ]
    };
    season.nights.iter().filter(|night| night.is_known()).map(row).collect()
}

fn beds(season: &Season<'_>) -> Vec<Row> {
    let looked_ahead = season.nights.iter().any(|night| night.last_list.is_some());
    let counted = |count: usize| if looked_ahead { count.to_string() } else { String::new() };
    let row = |bed: &BedFigures<'_>| {
        let found = bed.thermometer.as_ref();
        let frost = found.and_then(|found| found.frost);
        let hours = found.and_then(|found| found.hours);
        let below =
            |index: usize| or_blank(hours.and_then(|hours| hours.below.get(index).copied()), |hours| number(hours, 1));
        vec![
            bed.bed.id.clone(),
            counted(bed.asked),
            written(bed.covered),
            or_blank(found, |found| found.nights.to_string()),
            degrees(found.map(|found| found.lowest.0)),
            or_blank(frost, |frost| frost.first.to_string()),
            or_blank(frost, |frost| frost.last.to_string()),
            below(0),
            below(1),
            below(2),
            or_blank(hours, |hours| number(hours.known, 1)),
            or_blank(bed.against_screen.as_ref(), |against| number(against.mean.0, 2)),
            or_blank(bed.against_screen.as_ref(), |against| against.nights.len().to_string()),
            written(bed.reports),
            or_blank(bed.worst, |class| class.number().to_string()),
            counted(bed.hits),
            counted(bed.late),
            counted(bed.misses),
            counted(bed.false_alarms),
            counted(bed.not_known),
        ]
    };
    season.beds.iter().map(row).collect()
}

fn crops(season: &Season<'_>) -> Vec<Row> {
    let row = |crop: &super::CropFigures| {
        vec![
            crop.id.clone(),
            crop.beds.join(" "),
            written(crop.reports),
            or_blank(crop.worst, |class| class.number().to_string()),
            written(crop.lost),
            written(crop.resown),
            or_blank(crop.grams, |grams| number(grams, 0)),
            or_blank(crop.pieces, |pieces| pieces.to_string()),
            minutes(crop.lost_worth),
        ]
    };
    season.crops.iter().map(row).collect()
}

fn covers(season: &Season<'_>) -> Vec<Row> {
    let looked_ahead = season.nights.iter().any(|night| night.last_list.is_some());
    let counted = |count: usize| if looked_ahead { count.to_string() } else { String::new() };
    let row = |cover: &super::CoverFigures| {
        vec![
            cover.name.clone().unwrap_or_default(),
            or_blank(cover.stock, |count| count.to_string()),
            counted(cover.asked_nights),
            counted(cover.asked_beds),
            written(cover.laid_nights),
            written(cover.laid_beds),
            // What older lists did not keep is not known, and not 0.
            if cover.short.is_empty() && cover.unexplained > 0 { String::new() } else { counted(cover.short.len()) },
        ]
    };
    season.covers.iter().map(row).collect()
}

fn next_winter(season: &Season<'_>) -> Vec<Row> {
    let rows = |advice: &Advice| -> Vec<Row> {
        let about = match advice {
            Advice::Missed { bed, .. } | Advice::ColdBed { bed, .. } => bed.as_str(),
            Advice::OutOfLine { crop, .. } => crop.as_str(),
            Advice::CoversShort { cover, .. } => cover.as_str(),
            Advice::CoversTooSmall { .. } | Advice::Unmeasured { .. } | Advice::NoReport { .. } => "",
        };
        let row = |night: &NightOf| vec![advice.word().into(), about.to_string(), night.to_string()];
        advice.nights().iter().map(row).collect()
    };
    season.advice.iter().flat_map(rows).collect()
}
