//! How far a planting has grown and how hardened it is, in words.

use crate::crops::CountedFrom;
use crate::crops::age::{Stage, StageFrom};
use crate::crops::hardening::{Hardening, MILD};
use crate::risk::{Grown, HardenedBy, HardeningState, LETTUCE_DAYS, PlantingRisk, WorthFrom};
use crate::units::{Celsius, Scale};

/// "heading (by the calendar, 62 days after it was set out; ...)".
pub fn stage(stage: &Stage<'_>) -> String {
    let StageFrom::Calendar { days, start, to_maturity, or } = &stage.from else {
        return format!("{} (in your words)", stage.name);
    };
    let begun = match start {
        CountedFrom::Seed => "it was sown",
        CountedFrom::Transplant => "it was set out",
        CountedFrom::Division => "it was planted",
    };
    let first = match to_maturity {
        Some((low, high)) => format!(", {low} to {high} to the first harvest and more in the cold"),
        None => String::new(),
    };
    let doubt = if or.is_empty() {
        String::new()
    } else {
        format!("; it may be {} as well, and the tender side was taken", or.join(" or "))
    };
    let s = if *days == 1 { "" } else { "s" };
    format!("{} (by the calendar: {days} day{s} after {begun}{first}{doubt})", stage.name)
}

/// "worth 52 minutes: 20 a square metre, 2.88 m², times 0.90: 0.5 for beginning again and ... (assumed)".
pub(super) fn worth(planting: &PlantingRisk<'_>) -> String {
    let whole = planting.whole_worth.minutes.0;
    let stands = match planting.worth.0 {
        now if (now - whole).abs() < 0.5 => String::new(),
        now => format!("; what still stands of it {now:.0}"),
    };
    let WorthFrom::Reckoned { per_square_metre, area, factor, grown, past_its_best } = &planting.whole_worth.from
    else {
        return format!("worth {whole:.0} minutes (in your words){stands}");
    };
    let why = match grown {
        Grown::Days { grown, in_all } => format!(
            "0.5 for beginning again and 0.5 for every {LETTUCE_DAYS:.1} days that have grown it, {grown:.0} of {in_all:.0}, \
             2 at most"
        ),
        Grown::Years { lived, in_all } => {
            format!("1 for beginning again and 1 for every year that has grown it, {lived:.1} of {in_all:.0}")
        }
        Grown::NotKnown => "no table has its days".into(),
    };
    let past = if *past_its_best { "; halved, as it is past its best" } else { "" };
    format!(
        "worth {whole:.0} minutes: {:.0} a square metre, {area:.2} m², times {factor:.2}: {why}{past} (assumed){stands}",
        per_square_metre.0
    )
}

/// "hardened to 45 %: ...".
pub(super) fn hardening(state: &HardeningState, scale: Scale) -> String {
    match &state.from {
        HardenedBy::Manager(word) => format!("hardened: {} (in your words)", word.word()),
        HardenedBy::JustSetOut => {
            "not hardened: raised under cover, and set out less than a week ago or nobody says when".into()
        }
        HardenedBy::NoRecord => "not hardened: assumed, because no earlier night is known yet".into(),
        HardenedBy::Record(record) => format!("hardened to {:.0} %: {}", state.degree * 100.0, lows(record, scale)),
    }
}

fn lows(record: &Hardening, scale: Scale) -> String {
    let low = |low: &Option<Celsius>| low.map_or("not known".to_string(), |low| low.whole(scale));
    let lows: Vec<String> = record.lows.iter().map(low).collect();
    let mild = match record.lows.iter().any(Option::is_none) {
        true => format!(", what is not known counted as {}", MILD.whole(scale)),
        false => String::new(),
    };
    let warmest = match record.warmest_day {
        Some(mean) => format!("the warmer of the last two days had a mean of {}", mean.whole(scale)),
        None => "one of the last two days is not known and counts as warm".into(),
    };
    format!(
        "the last seven lows at the bed, as forecast, were {} (mean {}{mild}); {warmest}  [Tamura 2002, Fennell and Li \
         1985, Sasaki 1996; the degrees are assumed]",
        lows.join(", "),
        record.mean_low.tenths(scale),
    )
}
