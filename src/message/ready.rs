//! What is ready and what comes next, in a few lines for whoever plans the week; remarks on beds.

use super::letter::capitalised;
use crate::plan::Plan;
use crate::plan::ready::{Coming, Emptied, Follows, Look, Next, Outlook, Ready, outlook};
use crate::plan::remarks::Remark;
use crate::zone::Zone;
use chrono::{DateTime, NaiveDate, Utc};

/// So many plantings that are still to come are named; more would be a calendar.
const NAMED: usize = 3;

/// A few lines on what is ready, the most pressing first.
pub(super) fn lines(plan: &Plan<'_>) -> Vec<String> {
    let outlook = outlook(plan, plan.of.0);
    let stays = || outlook.ready.iter().filter(|ready| !ready.goes_tonight);
    let watched = |look: Look, joint: &str| {
        let with_reason = |ready: &Ready| {
            let what = ready.if_left.as_ref().map_or(String::new(), |what| format!("{joint}{what}"));
            format!("{} {}{what}", ready.bed, ready.crop)
        };
        stays().filter(|ready| ready.look == look).map(with_reason).collect()
    };
    let convenient = stays().filter(|ready| ready.look == Look::WhenConvenient);
    let convenient: Vec<(&str, &str)> = convenient.map(|ready| (ready.bed.as_str(), ready.crop.as_str())).collect();
    let mut lines = Vec::new();
    lines.extend(sentence("Past its best, going by its date", watched(Look::PastItsBest, ", ")));
    lines.extend(sentence("Look every day", watched(Look::EveryDay, ", or ")));
    lines.extend(sentence("Ready", by_bed(&convenient)));
    lines.extend(after_tonight(&outlook));
    let coming = outlook.coming.iter().filter(|coming| coming.not_before.is_some()).take(NAMED);
    lines.extend(sentence("Next", coming.map(|coming| comes(coming, plan.of.0)).collect()));
    lines
}

/// "After tonight nothing else is ready before 20 March (G1 beet)."
pub(super) fn emptied(plan: &Plan<'_>) -> Option<String> {
    let Emptied { next, unknown, regrowing } = outlook(plan, plan.of.0).emptied?;
    let next = next.and_then(|next| {
        let day = date(next.not_before?, plan.of.0);
        Some(format!(" before {day} ({} {})", next.bed, next.crop))
    });
    let mut but: Vec<String> = Vec::new();
    but.extend(
        (!regrowing.is_empty()).then(|| format!("what is cut tonight may come again ({})", regrowing.join(", "))),
    );
    let undated: Vec<String> = unknown.iter().map(|coming| format!("{} {}", coming.bed, coming.crop)).collect();
    but.extend((!undated.is_empty()).then(|| format!("of {} no date is known", undated.join(", "))));
    let but = if but.is_empty() { String::new() } else { format!("; {}", but.join(", and ")) };
    let what = if next.is_some() { "nothing else is ready" } else { "nothing is left to pick" };
    Some(format!("After tonight {what}{}{but}.", next.unwrap_or_default()))
}

/// "Picked or lost tonight: broccoli, next in R2. No other planting follows: pea, dill."
fn after_tonight(outlook: &Outlook) -> Option<String> {
    let where_next = |follows: &Follows| match &follows.next {
        Next::ReadyIn(bed) => Some(format!("{}, more in {bed}", follows.crop)),
        Next::Comes(coming) => Some(format!("{}, next in {}", follows.crop, coming.bed)),
        Next::Nothing => None,
    };
    let followed: Vec<String> = outlook.follows.iter().filter_map(where_next).collect();
    let last = outlook.follows.iter().filter(|follows| follows.next == Next::Nothing);
    let last: Vec<&str> = last.map(|follows| follows.crop.as_str()).collect();
    match (followed.is_empty(), last.is_empty()) {
        (true, true) => None,
        (true, false) => {
            Some(format!("Picked or lost tonight, with no other planting to follow: {}.", last.join(", ")))
        }
        (false, true) => Some(format!("Picked or lost tonight: {}.", followed.join("; "))),
        (false, false) => Some(format!(
            "Picked or lost tonight: {}. No other planting follows {}.",
            followed.join("; "),
            last.join(", ")
        )),
    }
}

/// "R4 carrot, radish; G2 leek": each bed once.
fn by_bed(ready: &[(&str, &str)]) -> Vec<String> {
    let mut beds: Vec<(&str, Vec<&str>)> = Vec::new();
    for (bed, crop) in ready {
        match beds.iter_mut().find(|(known, _)| known == bed) {
            Some((_, crops)) if crops.contains(crop) => {}
            Some((_, crops)) => crops.push(crop),
            None => beds.push((bed, vec![crop])),
        }
    }
    beds.into_iter().map(|(bed, crops)| format!("{bed} {}", crops.join(", "))).collect()
}

fn sentence(what: &str, items: Vec<String>) -> Option<String> {
    (!items.is_empty()).then(|| format!("{}: {}.", capitalised(what), items.join("; ")))
}

fn comes(coming: &Coming, today: NaiveDate) -> String {
    let day = coming.not_before.map_or(String::new(), |day| format!(", not before {}", date(day, today)));
    format!("{} {}{day}", coming.bed, coming.crop)
}

/// A date, with its year where that is another one.
fn date(day: NaiveDate, today: NaiveDate) -> String {
    let same = day.format("%Y").to_string() == today.format("%Y").to_string();
    day.format(if same { "%-d %B" } else { "%-d %B %Y" }).to_string()
}

/// A remark on a bed, as a sentence.
pub fn remark(remark: &Remark, zone: &Zone) -> String {
    let centimetres = |metres: f64| format!("{:.0} cm", metres * 100.0);
    match remark {
        Remark::Shallow { bed, crop, depth, wants } => format!(
            "{bed}: {} of soil is little for {crop}, which wants {}; expect short or forked roots.",
            centimetres(*depth),
            centimetres(*wants)
        ),
        Remark::Close { bed, crop, room, spread } => format!(
            "{bed}: each plant of {crop} has {} of room and grows {} across; thin them, or expect small ones.",
            centimetres(*room),
            centimetres(*spread)
        ),
        Remark::Alike { bed, crop } => format!(
            "{bed}: {crop} stands there more than once, and nothing tells the sowings apart; give each a cultivar or its \
             date (planted), or what is written of one counts for all."
        ),
        Remark::Long { bed, side } => {
            format!("{bed}: it is {side:.0} m long; are that metres? Write feet and centimetres as metres.")
        }
        Remark::Old { bed, crop, planted, days } => {
            format!(
                "{bed}: {crop} was planted on {planted}, {days} days ago; is the year right, and does it still stand?"
            )
        }
        Remark::SmallCover { cover, count: 1 } => {
            format!("{cover}: one piece, too small for any bed here; it is never asked for. Is its size right?")
        }
        Remark::SmallCover { cover, count } => format!(
            "{cover}: {count} pieces, too small for any bed here even together; they are never asked for. Is their size \
             right?"
        ),
        Remark::NobodyWorks => {
            "the crew has no minutes, so that lists ask for no work. Leave [crew] out if work should not be limited."
                .into()
        }
        Remark::NoPlace { zone } => format!(
            "the time zone {zone} is no place's and may know no summer time; write that of a place, such as \
             America/New_York."
        ),
        Remark::LateList { made_at, deadline } => {
            let clock = |at: &DateTime<Utc>| zone.local(*at).format("%H:%M").to_string();
            format!(
                "on the shortest day work should be done by {}, and the afternoon's list is made at {}; make it earlier.",
                clock(deadline),
                clock(made_at)
            )
        }
    }
}
