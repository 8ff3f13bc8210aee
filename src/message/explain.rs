//! One bed's number taken apart, step by step, each with its source.

use super::reasons::{soil_turning, turning_words};
use super::sentences::caution;
use super::{growth, sentences};
use crate::beds::OwnFigure;
use crate::crops::{Catalogue, Frame, Harm};
use crate::night::bed::BedNight;
use crate::night::cover::Cover;
use crate::night::{Night, Step};
use crate::plan::turning::REACH;
use crate::plan::{BedPlan, Plan};
use crate::risk::{OrganRisk, Outcome, PlantingRisk};
use crate::units::{Kelvins, Scale};
use std::collections::BTreeSet;
use std::fmt::Write;

/// Everything behind one bed's measure.
pub fn explain(plan: &Plan<'_>, bed: &BedPlan<'_>, catalogue: &Catalogue) -> String {
    let mut page = Page { text: String::new(), scale: plan.garden.shown, sources: BTreeSet::new() };
    page.line("", &format!("Bed {} on the night of {}", bed.risk.bed.title(), plan.of));
    page.line("", &format!("Measure: {} ({})", bed.measure.word(), bed.reason.word()));
    match (&plan.night, &bed.risk.night) {
        (Ok(night), Some(bed_night)) => {
            page.screen(plan, night);
            page.bed(bed_night);
        }
        (Err(why), _) => page.line("", &format!("Nothing is known of the night: {why}.")),
        (Ok(_), None) => {}
    }
    page.plantings(plan, bed);
    page.decision(plan, bed);
    page.after_frost(bed, catalogue);
    page.sources(catalogue);
    page.text
}

/// What is written so far, and whose figures it shows.
struct Page {
    text: String,
    scale: Scale,
    sources: BTreeSet<String>,
}

impl Page {
    fn line(&mut self, indent: &str, content: &str) {
        let options = textwrap::Options::new(100).initial_indent(indent).subsequent_indent("        ");
        // Writing to a text in memory cannot fail.
        let _ = writeln!(self.text, "{}", textwrap::fill(content, options));
    }

    fn section(&mut self, title: &str) {
        self.line("", "");
        self.line("", title);
    }

    fn steps<'s>(&mut self, indent: &str, steps: impl IntoIterator<Item = &'s Step>) {
        for step in steps {
            self.line(indent, &step_line(step, self.scale));
        }
    }

    fn screen(&mut self, plan: &Plan<'_>, night: &Night) {
        self.section(&format!("1. The garden's screen: {}", sentences::provenance(plan, night)));
        self.steps("   ", &night.steps);
        let (low, spread) = (night.minimum.mean.tenths(self.scale), night.minimum.spread.size(self.scale));
        self.line("   ", &format!("= low {low}, spread {spread}"));
        self.line(
            "   ",
            &format!(
                "clear and calm to {:.0} % (1 up to three tenths of cloud and 3 m/s, 0 from seven tenths or 6 m/s)",
                night.clear_calm * 100.0
            ),
        );
    }

    fn bed(&mut self, night: &BedNight) {
        self.section("2. The bed");
        self.steps("   ", night.steps.iter().chain([&night.soil_step]));
    }

    fn plantings(&mut self, plan: &Plan<'_>, bed: &BedPlan<'_>) {
        self.section("3. What grows there");
        let scale = self.scale;
        for planting in &bed.risk.plantings {
            let (crop, stage) = (planting.name(), growth::stage(&planting.stage));
            self.line("   ", &format!("{crop}, {stage}, worth {:.0} minutes of work", planting.worth.0));
            self.line("     ", &growth::hardening(&planting.hardening, scale));
            self.steps("     ", planting.night.iter().flat_map(|night| &night.leaf_steps));
            for organ in &planting.organs {
                self.line("     ", &organ_line(planting, organ, scale));
                if let (Ok(night), Some(here)) = (&plan.night, &planting.night) {
                    self.line("       ", &spread_line(night, here, organ, scale));
                }
                for (cover, outcome) in &organ.covered {
                    self.line("       ", &cover_line(plan, organ, *cover, outcome, scale));
                }
                self.sources.extend(organ.tolerance.sources.iter().cloned());
            }
        }
    }

    fn decision(&mut self, plan: &Plan<'_>, bed: &BedPlan<'_>) {
        if plan.night.is_err() {
            return self.no_decision(bed);
        }
        self.section(&format!(
            "4. Decision: expected loss uncovered {:.0} of {:.0} minutes of worth; work {:.0} minutes",
            bed.risk.expected_loss(None).0,
            bed.risk.worth().0,
            bed.work.0
        ));
        for planting in &bed.risk.plantings {
            self.line("   ", &format!("{}: {}", planting.name(), growth::worth(planting)));
        }
        self.line("   ", &format!("caution {}", caution(plan.garden.caution)));
        if let Some(minutes) = plan.minutes {
            self.line(
                "   ",
                &format!(
                    "before dusk {:.0} minutes here, of {:.0} that the list asks for (walking and fetching {:.0}) and {:.0} \
                     that people have",
                    bed.tonight.0,
                    plan.tonight().0,
                    plan.trips.0,
                    minutes.0
                ),
            );
        }
        let proven = match plan.gap.0 {
            gap if gap < 0.01 => {
                "no other choice for the garden is better in loss and work together (proven)".to_string()
            }
            gap => format!("another choice for the garden could be better by {gap:.1} minutes at most"),
        };
        self.line("   ", &proven);
        let turning = match (&bed.turning, &plan.night) {
            (Some(turning), Ok(night)) => {
                let words = turning_words(turning, bed.measure, night.minimum.mean, self.scale);
                format!("what would change it, all other beds as they are: {words}")
            }
            _ => {
                let reach = REACH.size(self.scale);
                soil_turning(bed, self.scale).map_or_else(
                    || format!("nothing within {reach} of this low would change it, or it hangs on other beds"),
                    |words| format!("nothing within {reach} of this low would change it, but colder soil: {words}"),
                )
            }
        };
        self.line("   ", &turning);
    }

    /// Without weather there is nothing to weigh: a loss or a turning would be invented.
    fn no_decision(&mut self, bed: &BedPlan<'_>) {
        self.section("4. Decision: none, for no usable weather is at hand; the bed is unknown, which is not fine");
        for planting in &bed.risk.plantings {
            self.line("   ", &format!("{}: {}", planting.crop.name, growth::worth(planting)));
        }
    }

    fn after_frost(&mut self, bed: &BedPlan<'_>, catalogue: &Catalogue) {
        self.section("5. After a frost");
        for planting in &bed.risk.plantings {
            let Some(class) = catalogue.after_frost(planting.crop, planting.stage.name) else { continue };
            let rest = [&class.do_not, &class.food, &class.look_again].into_iter().flatten();
            let rest: String = rest.map(|sentence| format!(" {sentence}")).collect();
            self.line(
                "   ",
                &format!(
                    "{} (as {}): {}. {} Signs: {}{rest}  [{}, {}]",
                    planting.name(),
                    class.class.replace('_', " "),
                    class.then.word(),
                    class.short,
                    class.injury,
                    class.evidence.word(),
                    class.sources.join(", ")
                ),
            );
            self.sources.extend(class.sources.iter().cloned());
        }
    }

    fn sources(&mut self, catalogue: &Catalogue) {
        self.section("Sources");
        for key in std::mem::take(&mut self.sources) {
            let Some(source) = catalogue.sources.get(&key) else { continue };
            self.line(
                "   ",
                &format!(
                    "{key}: {} ({}). {}. {}. Read: {}.",
                    source.author, source.year, source.title, source.publisher, source.read
                ),
            );
        }
    }
}

fn cover_line(plan: &Plan<'_>, organ: &OrganRisk<'_>, cover: Cover, outcome: &Outcome, scale: Scale) -> String {
    let (low, typical, high) = cover.low_typical_high();
    let gain = |kelvins: f64| Kelvins(kelvins).signed(scale);
    let tonight =
        plan.night.as_ref().map_or(0.0, |night| plan.garden.learned.gain(cover, night.cover_conditions).mean.0);
    format!(
        "under {} (gain {} low, {} typical, {} high, {}tonight {}): {} expected, spread {}{}, chance {}",
        cover.name(),
        gain(low),
        gain(typical),
        gain(high),
        learned_gain(plan, cover, scale),
        gain(tonight),
        outcome.minimum.mean.tenths(scale),
        outcome.minimum.spread.size(scale),
        cover_spread(plan, organ, cover, scale),
        outcome.chance.percent()
    )
}

/// The parts of what is not known, each with its source, and their sum.
fn spread_line(night: &Night, here: &BedNight, organ: &OrganRisk<'_>, scale: Scale) -> String {
    let tolerance = organ.tolerance;
    let mut parts: Vec<(&str, Kelvins, &str)> = Vec::new();
    if tolerance.frame == Frame::Soil {
        parts.extend(part(&here.soil_step));
    } else {
        parts.extend(night.steps.iter().filter_map(part));
        // A thermometer weighed against a forecast narrows the sum of its parts.
        let whole = night.minimum.spread;
        if (root_of_squares(&parts) - whole.0).abs() > 0.01 {
            parts = vec![("the night at the garden's screen, as under 1", whole, "1")];
        }
        parts.extend(here.steps.iter().filter_map(part));
        // At the bed whose thermometer was read its offset is no doubt.
        if (root_of_squares(&parts) - here.screen.spread.0).abs() > 0.01 {
            parts = vec![("the air at the bed, as under 2", here.screen.spread, "2")];
        }
    }
    if tolerance.frame == Frame::Tissue {
        parts.extend(here.leaf_steps.iter().filter_map(part));
    }
    let evidence = sentences::evidence(tolerance, &organ.applied);
    parts.push(("where harm begins", organ.applied.figures.spread, &evidence));
    let written: Vec<String> =
        parts.iter().map(|(what, spread, source)| format!("{what} {} [{source}]", spread.size(scale))).collect();
    let sum = Kelvins(root_of_squares(&parts)).size(scale);
    format!("spread, open: {}; together {sum}, the root of the sum of their squares", written.join("; "))
}

fn part(step: &Step) -> Option<(&str, Kelvins, &str)> {
    let spread = step.spread.filter(|spread| spread.0 > 0.0)?;
    Some((&step.what, spread, step.source))
}

fn root_of_squares(parts: &[(&str, Kelvins, &str)]) -> f64 {
    parts.iter().map(|(_, spread, _)| spread.0 * spread.0).sum::<f64>().sqrt()
}

/// What a cover adds to the spread. Soil is not changed by it.
fn cover_spread(plan: &Plan<'_>, organ: &OrganRisk<'_>, cover: Cover, scale: Scale) -> String {
    match &plan.night {
        Ok(night) if organ.tolerance.frame != Frame::Soil => {
            let own = plan.garden.learned.gain(cover, night.cover_conditions).spread;
            format!(", the cover's part of it {} [{}]", own.size(scale), Cover::SOURCE)
        }
        Ok(_) | Err(_) => String::new(),
    }
}

/// What was learned and accepted of a cover, beside what was published.
fn learned_gain(plan: &Plan<'_>, cover: Cover, scale: Scale) -> String {
    plan.garden.learned.gain_of(cover).map_or(String::new(), |(learned, nights)| {
        let (published, used) = (learned.gain.published.mean, learned.gain.learned);
        format!(
            "mean published {} (not used), learned from {nights} nights and used {} (spread {}), ",
            published.signed(scale),
            used.mean.signed(scale),
            used.spread.size(scale)
        )
    })
}

fn step_line(step: &Step, scale: Scale) -> String {
    let mut parts = vec![step.what.clone()];
    parts.extend(step.value.map(|value| format!("= {}", value.tenths(scale))));
    parts.extend(step.effect.map(|effect| effect.signed(scale)));
    parts.extend(step.spread.map(|spread| format!("spread {}", spread.size(scale))));
    format!("{}  [{}]", parts.join(", "), step.source)
}

fn organ_line(planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>, scale: Scale) -> String {
    let (tolerance, figures, open) = (organ.tolerance, &organ.applied.figures, &organ.open);
    let taken_off = Kelvins(figures.hardened_gain.0 * planting.hardening.degree);
    let own = |figure| if organ.applied.is_own(figure) { " (your figure)" } else { "" };
    let harm = match tolerance.harm {
        Harm::Freezing => "harm",
        Harm::Chilling => "harm by cold above freezing",
    };
    format!(
        "{} ({} of the worth), compared with the {}: {harm} begins {}{}, severe {}{} (hardening takes {}{} off {} / {}), \
         known to {}{}{}; {} expected, spread {}, margin {}, {:.1} h below{}; chance {}  [{}]",
        tolerance.organ.word(),
        tolerance.share,
        sentences::frame(tolerance.frame),
        organ.damage_begins.tenths(scale),
        own(OwnFigure::DamageBegins),
        organ.severe.tenths(scale),
        own(OwnFigure::Severe),
        taken_off.size(scale),
        own(OwnFigure::HardenedGain),
        figures.damage_begins.tenths(scale),
        figures.severe.tenths(scale),
        figures.spread.size(scale),
        own(OwnFigure::Spread),
        learned_thresholds(organ, scale),
        open.minimum.mean.tenths(scale),
        open.minimum.spread.size(scale),
        open.margin.signed(scale),
        open.hours_below,
        hours_that_count(organ, scale),
        open.chance.percent(),
        sentences::evidence(tolerance, &organ.applied)
    )
}

/// Where what the garden's nights have taught takes part: what is published beside it.
fn learned_thresholds(organ: &OrganRisk<'_>, scale: Scale) -> String {
    organ.applied.learned.map_or(String::new(), |nights| {
        let (published, learned) = (organ.tolerance.figures(), organ.applied.figures);
        format!(
            " (before hardening: published {} / {}, known to {}, not used; learned from {nights} nights and used {} / {})",
            published.damage_begins.tenths(scale),
            published.severe.tenths(scale),
            published.spread.size(scale),
            learned.damage_begins.tenths(scale),
            learned.severe.tenths(scale),
        )
    })
}

/// What the time does beside the temperature, where a source says how long it must last.
fn hours_that_count(organ: &OrganRisk<'_>, scale: Scale) -> String {
    let Some(needed) = organ.applied.figures.exposure_hours else { return String::new() };
    let own = if organ.applied.is_own(OwnFigure::ExposureHours) { " (your figure)" } else { "" };
    match organ.tolerance.harm {
        Harm::Freezing => {
            let milder = organ.open.relief.size(scale);
            format!(" of {needed:.1} h that the figures mean{own}: counted as {milder} milder")
        }
        Harm::Chilling => {
            let before = organ.open.hours_before;
            format!(" and {before:.1} h on the nights before it, of {needed:.0} h that it takes{own}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beds::sample::{bed, garden};
    use crate::crops::sample::crop;
    use crate::crops::{HarvestHabit, Life, Organ};
    use crate::night::NoNight;
    use crate::plan::tests::sunset;
    use crate::plan::{Before, decide};
    use crate::risk::assess;
    use crate::zone::NightOf;

    #[test]
    fn without_weather_no_decision_is_invented() {
        let crop = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
        let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
        let garden = garden(vec![bed("R1", &[("seedlings", "grown")])], Vec::new());
        let of = NightOf("2027-01-16".parse().expect("a date"));
        let risks = assess(&garden, of, None, &catalogue);
        let plan = decide(&garden, of, sunset(), Err(NoNight::NoForecast), risks, Before::default(), sunset());
        let text = explain(&plan, &plan.beds[0], &catalogue);
        assert!(text.contains("4. Decision: none, for no usable weather is at hand"), "{text}");
        for invented in ["expected loss", "would change it", "before dusk 0"] {
            assert!(!text.contains(invented), "{invented}: {text}");
        }
    }
}
