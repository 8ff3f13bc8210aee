//! One bed's number taken apart, step by step, each with its source.

use super::{growth, sentences};
use crate::beds::OwnFigure;
use crate::crops::{Catalogue, Harm};
use crate::night::Step;
use crate::plan::{BedPlan, Plan};
use crate::risk::{OrganRisk, PlantingRisk};
use crate::units::{Kelvins, Scale};
use std::collections::BTreeSet;
use std::fmt::Write;

/// Everything behind one bed's measure.
pub fn explain(plan: &Plan<'_>, bed: &BedPlan<'_>, catalogue: &Catalogue) -> String {
    let scale = plan.garden.shown;
    let mut text = String::new();
    let mut line = |indent: &str, content: String| {
        let options = textwrap::Options::new(100).initial_indent(indent).subsequent_indent("        ");
        // Writing to a text in memory cannot fail.
        let _ = writeln!(text, "{}", textwrap::fill(&content, options));
    };
    line("", format!("Bed {} on the night of {}", bed.risk.bed.title(), plan.of));
    line("", format!("Measure: {} ({})", bed.measure.word(), bed.reason.word()));
    match (&plan.night, &bed.risk.night) {
        (Ok(night), Some(bed_night)) => {
            line("", String::new());
            line("", format!("1. The garden's screen: {}", sentences::provenance(plan, night)));
            for step in &night.steps {
                line("   ", step_line(step, scale));
            }
            line(
                "   ",
                format!("= low {}, spread {}", night.minimum.mean.tenths(scale), night.minimum.spread.size(scale)),
            );
            line(
                "   ",
                format!(
                    "clear and calm to {:.0} % (1 up to three tenths of cloud and 3 m/s, 0 from seven tenths or 6 m/s)",
                    night.clear_calm * 100.0
                ),
            );
            line("", String::new());
            line("", "2. The bed".into());
            for step in &bed_night.steps {
                line("   ", step_line(step, scale));
            }
        }
        (Err(why), _) => line("", format!("Nothing is known of the night: {why}.")),
        (Ok(_), None) => {}
    }
    line("", String::new());
    line("", "3. What grows there".into());
    let mut keys = BTreeSet::new();
    for planting in &bed.risk.plantings {
        line(
            "   ",
            format!(
                "{}, {}, worth {:.0} minutes of work",
                planting.crop.name,
                growth::stage(&planting.stage),
                planting.worth.0
            ),
        );
        line("     ", growth::hardening(&planting.hardening, scale));
        for organ in &planting.organs {
            line("     ", organ_line(planting, organ, scale));
            for (kind, outcome) in &organ.covered {
                let (low, typical, high) = kind.low_typical_high();
                let gain = |kelvins: f64| Kelvins(kelvins).signed(scale);
                line(
                    "       ",
                    format!(
                        "under {} (gain {} low, {} typical, {} high): {} expected, spread {}, chance {}",
                        kind.name(),
                        gain(low),
                        gain(typical),
                        gain(high),
                        outcome.minimum.mean.tenths(scale),
                        outcome.minimum.spread.size(scale),
                        outcome.chance.percent()
                    ),
                );
            }
            keys.extend(organ.tolerance.sources.iter().cloned());
        }
    }
    line("", String::new());
    line(
        "",
        format!(
            "4. Decision: expected loss uncovered {:.0} of {:.0} minutes of worth; work {:.0} minutes",
            bed.risk.expected_loss(None).0,
            bed.risk.worth().0,
            bed.work.0
        ),
    );
    line("", String::new());
    line("", "Sources of the thresholds".into());
    for key in keys {
        if let Some(source) = catalogue.sources.get(&key) {
            line(
                "   ",
                format!(
                    "{key}: {} ({}). {}. {}. Read: {}.",
                    source.author, source.year, source.title, source.publisher, source.read
                ),
            );
        }
    }
    text
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
         known to {}{}; {} expected, spread {}, margin {}, {:.1} h below{}; chance {}  [{}]",
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
        open.minimum.mean.tenths(scale),
        open.minimum.spread.size(scale),
        open.margin.signed(scale),
        open.hours_below,
        hours_that_count(organ, scale),
        open.chance.percent(),
        sentences::evidence(tolerance, &organ.applied)
    )
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
