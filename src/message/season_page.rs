//! The season report as one page that stands alone: no script, nothing fetched, readable on a telephone and on paper.

use crate::chart::bars::{Bar, bars};
use crate::chart::lows::{Low, season_of_lows};
use crate::chart::reliability::{Group, reliability_diagram};
use crate::crops::Catalogue;
use crate::crops::damage::DamageClass;
use crate::score::Threshold;
use crate::season::tables::{TABLES, Table};
use crate::season::{Advice, BedFigures, Hours, NightFigures, Season, Verdict};
use crate::units::{Celsius, Minutes, Scale};
use crate::zone::NightOf;
use askama::Template;
use chrono::{DateTime, Datelike, Utc};

/// What stands where nobody knows.
const NOT_KNOWN: &str = "not known";

/// A name and what is said of it.
struct Fact {
    name: String,
    value: String,
}

/// A table whose cells carry their column's name, for a narrow screen.
struct Grid {
    columns: Vec<&'static str>,
    rows: Vec<Vec<String>>,
}

#[derive(Template)]
#[template(path = "season.html", config = "src/message/askama.toml")]
struct Page<'a> {
    garden: &'a str,
    title: String,
    subtitle: String,
    facts: Vec<Fact>,
    change: Vec<(String, String)>,
    lows: String,
    nights: Grid,
    quality: Vec<String>,
    reliability: String,
    hours: String,
    thermometers: Grid,
    beds: Grid,
    crops: Grid,
    covers: Grid,
    notes: Vec<String>,
    tables: &'static [Table],
}

/// The page of a season, as HTML. Everything from settings and journal is escaped.
pub fn season_page(season: &Season<'_>, catalogue: &Catalogue, made_at: DateTime<Utc>) -> String {
    let shown = season.garden.shown;
    let title = format!("Season {}", season.span.name());
    let whole = if season.is_over() { "" } else { ", so far" };
    let made = season.garden.zone.local(made_at);
    let page = Page {
        garden: &season.garden.name,
        subtitle: format!(
            "Nights of {} to {}{whole}. Written {}.",
            date(season.span.first),
            date(season.until),
            made.format("%-d %B %Y")
        ),
        title,
        facts: facts(season),
        change: season.advice.iter().map(|advice| change(advice, catalogue, shown)).collect(),
        lows: lows(season),
        nights: nights(season),
        quality: quality(season),
        reliability: reliability(season),
        hours: hours(season),
        thermometers: thermometers(season),
        beds: beds(season),
        crops: crops(season),
        covers: covers(season),
        notes: notes(shown),
        tables: &TABLES,
    };
    // Setting into memory does not fail; the caller refuses a page that is empty.
    page.render().unwrap_or_default()
}

fn date(night: NightOf) -> String {
    night.0.format("%-d %B %Y").to_string()
}

fn day(night: NightOf) -> String {
    night.0.format("%-d %b %Y").to_string()
}

fn or_not_known<T>(value: Option<T>, written: impl Fn(T) -> String) -> String {
    value.map_or_else(|| NOT_KNOWN.into(), written)
}

/// "1 night", "12 nights".
fn count(number: usize, one: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {one}s") }
}

/// Person-minutes, in hours where they are many.
fn work(minutes: Minutes) -> String {
    match minutes.0 {
        long if long >= 120.0 => format!("{:.1} person-hours", long / 60.0),
        short => format!("{short:.0} person-minutes"),
    }
}

fn class(class: Option<DamageClass>) -> String {
    class.map_or_else(
        || NOT_KNOWN.into(),
        |class| {
            let words = class.words().split(':').next().unwrap_or_default();
            format!("{} {words}", class.number())
        },
    )
}

fn threshold(of: Threshold, shown: Scale) -> String {
    of.celsius().tenths(shown).replace(".0 ", " ")
}

fn facts(season: &Season<'_>) -> Vec<Fact> {
    let shown = season.garden.shown;
    let looked = season.nights.iter().filter(|night| night.last_list.is_some()).count();
    let measured = season.nights.iter().filter(|night| night.measured.is_some()).count();
    let all = season.nights.len();
    let if_looked = |number: usize| if looked == 0 { NOT_KNOWN.to_string() } else { count(number, "night") };
    let cold = season.nights.iter().filter(|night| night.was_cold() == Some(true)).count();
    let judged = season.nights.iter().filter(|night| night.was_cold().is_some()).count();
    let main = season.main_thermometer();
    let frost = main.and_then(|main| main.frost);
    let no_frost =
        || main.map_or(NOT_KNOWN.to_string(), |main| format!("none in {} measured", count(main.nights, "night")));
    let mut facts = Vec::new();
    let mut fact = |name: &str, value: String| facts.push(Fact { name: name.into(), value });
    fact("Nights measured", format!("{measured} of {all}"));
    fact("Nights looked ahead at", format!("{looked} of {all}"));
    fact("Cold nights, as measured", if judged == 0 { NOT_KNOWN.into() } else { count(cold, "night") });
    fact(
        "Lowest measured",
        or_not_known(main, |main| format!("{} {}, {}", main.lowest.0.tenths(shown), main.place, day(main.lowest.1))),
    );
    fact("First frost measured", frost.map_or_else(no_frost, |frost| day(frost.first)));
    fact("Last frost measured", frost.map_or_else(no_frost, |frost| day(frost.last)));
    fact(
        "Chill hours (0 to 7.2 C)",
        or_not_known(main.and_then(|main| main.hours), |hours| {
            format!("{:.0} in {:.0} hours logged", hours.chill, hours.known)
        }),
    );
    fact("Warnings", if_looked(season.nights.iter().filter(|night| night.is_warned()).count()));
    fact("Hits", if_looked(season.count(Verdict::Hit)));
    fact("Warnings that came too late", if_looked(season.count(Verdict::Late)));
    fact("Misses", if looked == 0 { NOT_KNOWN.to_string() } else { count(season.misses(), "bed-night") });
    fact("False alarms", if_looked(season.count(Verdict::FalseAlarm)));
    fact("Warnings that nobody can judge", {
        let open = |night: &&NightFigures| night.is_warned() && night.verdict == Verdict::NotKnown;
        if_looked(season.nights.iter().filter(open).count())
    });
    fact("Work with covers", or_not_known(season.work(), work));
    fact("Worth saved by covers", {
        let open = season.nights.iter().filter(|night| !night.covered.is_empty() && night.saved.is_none()).count();
        let without = if open == 0 { String::new() } else { format!("; {} more not known", count(open, "night")) };
        or_not_known(season.saved(), |saved| format!("about {}{without}", work(saved)))
    });
    fact("Worth lost to frost", or_not_known(season.lost(), |lost| format!("about {}", work(lost))));
    facts
}

/// Nights in order of time, a month's together: "1, 4 Dec 2026; 7 Jan 2027".
fn list(nights: &[NightOf]) -> String {
    let month = |night: &NightOf| (night.0.year(), night.0.month());
    let of_month = |nights: &[NightOf]| {
        let days: Vec<String> = nights.iter().map(|night| night.0.day().to_string()).collect();
        let month = nights.first().map(|night| night.0.format("%b %Y").to_string()).unwrap_or_default();
        format!("{} {month}", days.join(", "))
    };
    nights.chunk_by(|a, b| month(a) == month(b)).map(of_month).collect::<Vec<_>>().join("; ")
}

/// With a capital at its beginning.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// What to change, and the nights it rests on.
fn change(advice: &Advice, catalogue: &Catalogue, shown: Scale) -> (String, String) {
    let nights = advice.nights();
    let number = count(nights.len(), "night");
    let words = match advice {
        Advice::Missed { bed, .. } => format!(
            "Damage came to bed {bed} on {number} without work being asked for it. Read the story of each (counterpane event DATE): was it \
             the forecast, the bed or the crop?"
        ),
        Advice::ColdBed { bed, against, .. } => format!(
            "Bed {bed} was colder than the garden's screen by {} on average, on {number} with frost. It freezes first: \
             give it an offset in the garden's file, or grow hardier things there.",
            against.size(shown)
        ),
        Advice::OutOfLine { crop, stood_more, expected, found, .. } => {
            let name = capital(catalogue.crops.get(crop).map_or(crop.as_str(), |crop| crop.name.as_str()));
            let way = if *stood_more { "stood more than expected" } else { "suffered more than expected" };
            format!(
                "{name} {way} on {number}: lists expected {} of it harmed, {} was found. Its threshold may not be that of \
                 this garden.",
                expected.percent(),
                found.percent()
            )
        }
        Advice::CoversShort { cover, beds, .. } => format!(
            "On {number} no {cover} was left for beds in danger ({}). More of it, or fewer beds that need it, would \
             have changed that.",
            beds.join(", ")
        ),
        Advice::CoversTooSmall { beds, .. } => format!(
            "On {number} beds in danger ({}) were left open because no cover in the shed is large enough for them. One more \
             of the same size would not help; a larger one would.",
            beds.join(", ")
        ),
        Advice::Unmeasured { .. } => format!(
            "On {number} work was asked for and nobody measured how cold it became. A thermometer in the shade at head \
             height tells a warning from a false alarm."
        ),
        Advice::NoReport { .. } => format!(
            "After {number} with work asked for nobody wrote down what the frost did. Also \"nothing to see\" is worth \
             writing down (counterpane damage BED 0)."
        ),
    };
    (words, list(nights))
}

fn days_from(season: &Season<'_>, night: NightOf) -> u32 {
    u32::try_from((night.0 - season.span.first.0).num_days()).unwrap_or_default()
}

fn lows(season: &Season<'_>) -> String {
    let shown = season.garden.shown;
    let known: Vec<&NightFigures> =
        season.nights.iter().filter(|night| night.foretold.is_some() || night.measured.is_some()).collect();
    let (Some(first), Some(last)) = (known.first(), known.last()) else { return String::new() };
    // From the first month of which anything is known to the last: an empty summer shows nothing.
    let start = NightOf(first.of.0.with_day(1).unwrap_or(first.of.0)).max(season.span.first);
    let days = u32::try_from((last.of.0 - start.0).num_days()).unwrap_or_default() + 1;
    let since = |night: NightOf| days_from(season, night).saturating_sub(days_from(season, start));
    let months = (0..13).filter_map(|month| start.0.checked_add_months(chrono::Months::new(month)));
    let marks: Vec<_> = months
        .map(|month| (since(NightOf(month)), month.format("%b").to_string()))
        .filter(|(day, _)| *day < days)
        .collect();
    // Beside each other the names of more than eight months would not be read.
    let every = if marks.len() > 8 { 2 } else { 1 };
    let marks: Vec<_> = marks.into_iter().step_by(every).collect();
    let lows: Vec<Low> = known
        .iter()
        .map(|night| Low {
            day: since(night.of),
            foretold: night.foretold.map(|low| (low.mean, low.spread)),
            measured: night.measured.as_ref().map(|(low, _)| *low),
        })
        .collect();
    let measured = known.iter().filter_map(|night| night.measured.as_ref().map(|(low, _)| (*low, night.of)));
    let coldest = measured.min_by(|a, b| a.0.0.total_cmp(&b.0.0));
    let words = format!(
        "Lows of {} from {} to {}: foretold on {}, measured on {}. {}",
        count(known.len(), "night"),
        date(first.of),
        date(last.of),
        lows.iter().filter(|low| low.foretold.is_some()).count(),
        lows.iter().filter(|low| low.measured.is_some()).count(),
        coldest.map_or("None was measured.".into(), |(low, night)| {
            format!("The coldest measured was {} on {}.", low.tenths(shown), date(night))
        })
    );
    season_of_lows("lows", "Lows, foretold and measured", &words, days, &marks, &lows, shown)
}

/// Cold nights, and those with work asked for or damage found.
fn nights(season: &Season<'_>) -> Grid {
    let shown = season.garden.shown;
    let columns = vec!["Night", "Foretold", "Measured", "Asked", "Covered", "Damage found", "Came to", "Work", "Saved"];
    let matters = |night: &&NightFigures| {
        night.begins.is_some() || night.is_warned() || night.reports > 0 || !night.covered.is_empty()
    };
    let row = |night: &NightFigures| {
        vec![
            day(night.of),
            or_not_known(night.foretold, |low| format!("{} ± {}", low.mean.tenths(shown), low.spread.size(shown))),
            or_not_known(night.measured.as_ref(), |(low, place)| {
                let colder = night.coldest.filter(|coldest| coldest < low);
                let colder = colder.map_or(String::new(), |low| format!("; coldest bed {}", low.tenths(shown)));
                format!("{} {place}{colder}", low.tenths(shown))
            }),
            {
                let late = night.asked_late().count();
                let in_time = night.last_list.as_ref().map(|_| count(night.asked().count(), "bed"));
                let late = (late > 0).then(|| format!("{} too late", count(late, "bed")));
                let said: Vec<String> = in_time.into_iter().chain(late).collect();
                if said.is_empty() { NOT_KNOWN.into() } else { said.join("; ") }
            },
            if night.covered.is_empty() { NOT_KNOWN.into() } else { count(night.covered.len(), "bed") },
            class(night.worst),
            came_to(night.verdict).into(),
            or_not_known(night.work, |minutes| format!("{:.0} min", minutes.0)),
            or_not_known(night.saved, |minutes| format!("{:.0} min", minutes.0)),
        ]
    };
    Grid { columns, rows: season.nights.iter().filter(matters).map(row).collect() }
}

fn came_to(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Hit => "hit",
        Verdict::Late => "late: asked for in the dark",
        Verdict::Miss => "miss",
        Verdict::FalseAlarm => "false alarm",
        Verdict::Passed => "cold, nothing asked, no damage written down",
        Verdict::Quiet => "quiet",
        Verdict::NotKnown => NOT_KNOWN,
    }
}

fn quality(season: &Season<'_>) -> Vec<String> {
    let shown = season.garden.shown;
    let Some(quality) = &season.quality else {
        return vec!["Not known: no night has both a forecast and a low at the garden's screen.".into()];
    };
    let errors = &quality.errors;
    let side = if errors.bias.0 > 0.0 { "too warm" } else { "too cold" };
    let mut lines = vec![format!(
        "Of {} with both: forecasts were {} {side} on average, and {} off; {:.0} % of nights came within what was called 8 \
         in 10.",
        count(errors.nights, "night"),
        errors.bias.size(shown),
        errors.mean_absolute.size(shown),
        errors.in_central_80 * 100.0
    )];
    for chances in &quality.chances {
        let interval = chances.interval.map_or("interval not known, for want of months".to_string(), |(low, high)| {
            format!("95 % interval {low:.3} to {high:.3}, by months")
        });
        let skill = or_not_known(chances.skill, |skill| format!("{skill:.2}"));
        lines.push(format!(
            "{} or colder came on {:.0} % of them; Brier score {:.3} (0 is best; {interval}), skill against the season's own \
             rate {skill}.",
            threshold(chances.threshold, shown),
            chances.base_rate * 100.0,
            chances.brier
        ));
    }
    lines
}

fn reliability(season: &Season<'_>) -> String {
    let Some(chances) = season.quality.as_ref().and_then(|quality| quality.chances.first()) else {
        return String::new();
    };
    let groups: Vec<Group> = chances
        .bins
        .iter()
        .map(|bin| Group { nights: bin.nights, mean_chance: bin.mean_chance, frequency: bin.frequency })
        .collect();
    let title = format!("Chance of {} or colder", threshold(chances.threshold, season.garden.shown));
    reliability_diagram("reliability", &title, &groups)
}

fn hours(season: &Season<'_>) -> String {
    let shown = season.garden.shown;
    let [zero, minus_two, minus_four] = Threshold::ALL.map(|of| threshold(of, shown));
    let logged: Vec<(String, Hours)> =
        season.thermometers.iter().filter_map(|found| Some((short(found), found.hours?))).collect();
    if logged.is_empty() {
        return String::new();
    }
    let bar = |(name, hours): &(String, Hours)| {
        let [below_zero, below_two, below_four] = hours.below;
        Bar {
            name: name.clone(),
            // The longest stretch stands first, so that bars can be compared from the left.
            parts: [below_four, below_two - below_four, below_zero - below_two],
            total: format!("{below_zero:.0} h"),
        }
    };
    let words: Vec<String> = logged
        .iter()
        .map(|(name, hours)| {
            let [below_zero, below_two, below_four] = hours.below;
            format!(
                "{name}: {below_zero:.0} h below {zero}, of these {below_two:.0} h below {minus_two} and {below_four:.0} h \
                 below {minus_four}, in {:.0} h known.",
                hours.known
            )
        })
        .collect();
    let parts =
        [format!("below {minus_four}"), format!("{minus_four} to {minus_two}"), format!("{minus_two} to {zero}")];
    let all: Vec<Bar> = logged.iter().map(bar).collect();
    bars("hours", "Hours below freezing", &words.join(" "), parts.each_ref().map(String::as_str), &all)
}

/// A thermometer's name that stands beside a bar.
fn short(found: &crate::season::Thermometer) -> String {
    match (found.place.bed(), found.place.word()) {
        (None, _) => "screen".into(),
        (Some(bed), "bed") => bed.into(),
        (Some(bed), "soil") => format!("{bed} soil"),
        (Some(bed), _) => format!("{bed} cover"),
    }
}

fn thermometers(season: &Season<'_>) -> Grid {
    let shown = season.garden.shown;
    let columns = vec!["Where", "Nights", "Lowest", "First frost", "Last frost", "Nights with frost", "Hours below"];
    let row = |found: &crate::season::Thermometer| {
        let none = || "none measured".to_string();
        vec![
            capital(&found.place.to_string()),
            found.nights.to_string(),
            format!("{}, {}", found.lowest.0.tenths(shown), day(found.lowest.1)),
            found.frost.map_or_else(none, |frost| day(frost.first)),
            found.frost.map_or_else(none, |frost| day(frost.last)),
            found.frost.map_or("0".into(), |frost| frost.nights.to_string()),
            or_not_known(found.hours, |hours| {
                let each = hours.below.iter().zip(Threshold::ALL);
                let each = each.map(|(hours, of)| format!("{}: {hours:.0} h", threshold(of, shown)));
                each.collect::<Vec<_>>().join("; ")
            }),
        ]
    };
    Grid { columns, rows: season.thermometers.iter().map(row).collect() }
}

fn beds(season: &Season<'_>) -> Grid {
    let shown = season.garden.shown;
    let looked = season.nights.iter().any(|night| night.last_list.is_some());
    let counted = |number: usize| if looked { number.to_string() } else { NOT_KNOWN.into() };
    let written = |number: usize| if number == 0 { NOT_KNOWN.into() } else { number.to_string() };
    let columns = vec![
        "Bed",
        "Asked",
        "Covered",
        "Lowest",
        "Against screen",
        "Damage found",
        "Hits",
        "Late",
        "Misses",
        "False alarms",
        "Not judged",
    ];
    let row = |bed: &BedFigures<'_>| {
        vec![
            bed.bed.title(),
            counted(bed.asked),
            written(bed.covered),
            or_not_known(bed.thermometer.as_ref(), |found| found.lowest.0.tenths(shown)),
            or_not_known(bed.against_screen.as_ref(), |against| against.mean.signed(shown)),
            class(bed.worst),
            counted(bed.hits),
            counted(bed.late),
            counted(bed.misses),
            counted(bed.false_alarms),
            counted(bed.not_known),
        ]
    };
    Grid { columns, rows: season.beds.iter().map(row).collect() }
}

fn crops(season: &Season<'_>) -> Grid {
    let written = |number: usize| if number == 0 { NOT_KNOWN.into() } else { number.to_string() };
    let columns = vec!["Crop", "Beds", "Reports", "Worst", "Lost", "Sown again", "Picked", "Worth lost"];
    let row = |crop: &crate::season::CropFigures| {
        let weight = crop.grams.map(|grams| crate::journal::Amount::Grams(grams).to_string());
        let pieces = crop.pieces.map(|pieces| count(usize::try_from(pieces).unwrap_or_default(), "piece"));
        let picked: Vec<String> = weight.into_iter().chain(pieces).collect();
        vec![
            capital(&crop.name),
            crop.beds.join(", "),
            written(crop.reports),
            class(crop.worst),
            written(crop.lost),
            written(crop.resown),
            if picked.is_empty() { NOT_KNOWN.into() } else { picked.join(", ") },
            or_not_known(crop.lost_worth, |minutes| format!("{:.0} min", minutes.0)),
        ]
    };
    Grid { columns, rows: season.crops.iter().map(row).collect() }
}

fn covers(season: &Season<'_>) -> Grid {
    let looked = season.nights.iter().any(|night| night.last_list.is_some());
    let columns = vec!["Cover", "In the shed", "Asked for", "Laid", "Short"];
    let on = |beds: usize, nights: usize| format!("{} on {}", count(beds, "bed"), count(nights, "night"));
    let row = |cover: &crate::season::CoverFigures| {
        vec![
            cover.name.clone().unwrap_or_else(|| "which, nobody said".into()),
            or_not_known(cover.stock, |pieces| pieces.to_string()),
            if looked { on(cover.asked_beds, cover.asked_nights) } else { NOT_KNOWN.into() },
            if cover.laid_nights == 0 { NOT_KNOWN.into() } else { on(cover.laid_beds, cover.laid_nights) },
            if looked && (cover.unexplained == 0 || !cover.short.is_empty()) {
                count(cover.short.len(), "night")
            } else {
                NOT_KNOWN.into()
            },
        ]
    };
    Grid { columns, rows: season.covers.iter().map(row).collect() }
}

fn notes(shown: Scale) -> Vec<String> {
    let freezing = Celsius(0.0).whole(shown);
    vec![
        "A night goes from noon to noon by the sun and is named after its evening.".into(),
        "Not known means that nobody measured it or wrote it down; it never counts as nothing.".into(),
        "Cold: measured somewhere in the garden below the temperature at which frost first harms the most tender thing that grew then, not \
         hardened. Hit: work was asked for in time, and it was cold or damage was found. Late: the same, but it was first asked \
         for after the hour at which work outdoors ends before dusk. Miss: damage was found and no work asked for. False \
         alarm: work was asked for, and it was measured to stay warmer. Of forecasts and lists the last before that hour \
         counts: later ones know the evening's thermometers. Of a bed its own thermometer and its own plants, else the garden's screen."
            .into(),
        format!("Frost: a low of {freezing} or less. Hours are those of loggers; over holes of more than an hour nothing is counted."),
        "Chill hours: hours from 0 to 7.2 C (32 to 45 F) at the garden's screen, else at its coldest bed, after Weinberger (1950), Chilling requirements of \
         peach varieties, Proc. Am. Soc. Hortic. Sci. 56, 122-128. They count only what a logger saw, and in mild winters \
         they tell less of buds than in cold ones."
            .into(),
        "Work with covers: laying and taking off those that were written down, as lists reckon it, in little wind and \
         without the way. Worth saved: of each planting that was covered, what the list expected it to lose in the open, of what \
         would still have stood there, less the damage that was found, or where nobody looked what the list expected to \
         be lost under the cover; lists that did not keep this count with the chance of the bed's tenderest part. What would \
         have been lost once is not lost again, so that a bed saves no more over a season than it is worth. On nights \
         that stayed warmer nothing was saved. Worth lost: what was harmed, by the middle of its damage class, and \
         plantings gone within two weeks of a cold night. What beds are worth, and what stands in them, is taken from the \
         settings of today."
            .into(),
    ]
}
