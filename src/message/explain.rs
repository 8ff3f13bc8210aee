//! One bed's number taken apart, step by step, each with its source.

use super::sentences;
use crate::crops::Catalogue;
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
                "{}, {}, hardened: {}, worth {:.0} minutes of work",
                planting.crop.name,
                planting.planting.stage,
                planting.planting.hardened.word(),
                planting.worth.0
            ),
        );
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
    line("", "5. After a frost".into());
    for planting in &bed.risk.plantings {
        let Some(class) = catalogue.after_frost(planting.crop, &planting.planting.stage) else { continue };
        let rest = [&class.do_not, &class.food, &class.look_again].into_iter().flatten();
        let rest: String = rest.map(|sentence| format!(" {sentence}")).collect();
        line(
            "   ",
            format!(
                "{} (as {}): {}. {} Signs: {}{rest}  [{}, {}]",
                planting.crop.name,
                class.class.replace('_', " "),
                class.then.word(),
                class.short,
                class.injury,
                class.evidence.word(),
                class.sources.join(", ")
            ),
        );
        keys.extend(class.sources.iter().cloned());
    }
    line("", String::new());
    line("", "Sources".into());
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
    let tolerance = organ.tolerance;
    let degree = planting.planting.hardened.degree();
    format!(
        "{} ({} of the worth), compared with the {}: harm begins {}, severe {} (hardening takes {} off {} / {}), known to {}; \
         {} expected, spread {}, margin {}, {:.1} h below; chance {}  [{}]",
        tolerance.organ.word(),
        tolerance.share,
        sentences::frame(tolerance.frame),
        organ.damage_begins.tenths(scale),
        organ.severe.tenths(scale),
        Kelvins(tolerance.hardened_gain.0 * degree).size(scale),
        tolerance.damage_begins.tenths(scale),
        tolerance.severe.tenths(scale),
        tolerance.spread.size(scale),
        organ.open.minimum.mean.tenths(scale),
        organ.open.minimum.spread.size(scale),
        organ.open.margin.signed(scale),
        organ.open.hours_below,
        organ.open.chance.percent(),
        sentences::evidence(tolerance)
    )
}
