//! What people were told, and have done, before a list is made.

use super::said::{Elsewhere, Said, SaidBed};
use super::spell::{DayAdvice, OPEN_AND_CLOSE, by_day};
use super::taken::Taken;
use super::{CoverUse, Measure};
use crate::night::cover::CoverKind;
use crate::night::day::Day;
use chrono::{DateTime, Utc};

/// What a list starts from. Nothing said and nothing out is [`Before::default`].
#[derive(Clone, Copy, Debug, Default)]
pub struct Before<'b> {
    /// What was last said of this night.
    pub said: Option<&'b Said>,
    /// What the night before has left out: covers on beds, pots inside.
    pub out: Option<&'b Said>,
    /// The day between the two nights, as far as it is known.
    pub day: Option<Day>,
    /// Shared covers that other gardens have.
    pub elsewhere: &'b [Elsewhere],
    /// What was picked or lost, by what somebody wrote down.
    pub taken: &'b [Taken],
}

impl<'b> Before<'b> {
    /// After nothing but this.
    pub fn said(said: Option<&'b Said>) -> Before<'b> {
        Before { said, ..Before::default() }
    }

    /// What was last said of a bed.
    pub(super) fn said_of(&self, bed: &str) -> Option<&'b SaidBed> {
        of(self.said, bed)
    }

    /// Person-minutes of the afternoon that it takes to have a cover ready which the night before has left on this bed;
    /// `None` where it is not there, or comes off by day.
    pub(super) fn minutes_to_close(&self, bed: &str, cover: &CoverUse, kind: CoverKind) -> Option<f64> {
        let left = of(self.out, bed)?.cover.as_ref()?;
        match by_day(kind, self.day.as_ref()) {
            _ if *left != cover.title() => None,
            DayAdvice::StaysOn => Some(0.0),
            DayAdvice::Open => Some(OPEN_AND_CLOSE),
            DayAdvice::ComesOff => None,
        }
    }

    /// Whether the pots of a bed stand inside since the night before.
    pub(super) fn is_inside(&self, bed: &str) -> bool {
        of(self.out, bed).is_some_and(|out| out.measure == Measure::BringIn)
    }
}

fn of<'b>(said: Option<&'b Said>, bed: &str) -> Option<&'b SaidBed> {
    said?.beds.iter().find(|said| said.bed == bed)
}

/// What may lie on the beds in the morning: covers and pots of the list that stood when the work was to be done, and
/// of every later one. A list called off at dusk has been worked through by then; one that knows nothing replaces none.
pub fn still_out(said: &[Said], deadline: DateTime<Utc>) -> Option<Said> {
    let knows = |said: &Said| said.beds.iter().all(|bed| bed.measure != Measure::Unknown);
    let standing = said.iter().rposition(|said| said.at <= deadline && knows(said)).unwrap_or(0);
    let (last, earlier) = said.get(standing..)?.split_last()?;
    let beds = last.beds.iter().map(|bed| {
        let lists = earlier.iter().rev().flat_map(|said| &said.beds);
        std::iter::once(bed)
            .chain(lists)
            .filter(|other| other.bed == bed.bed)
            .find(|bed| is_out(bed))
            .unwrap_or(bed)
            .clone()
    });
    Some(Said { at: last.at, beds: beds.collect(), covers: last.covers.clone(), kept: None })
}

/// What may be out in the morning when `carried` was left out through the day before: nobody was told to take that away,
/// whatever was said of the night since.
pub fn with_carried(out: Option<Said>, carried: Option<Said>) -> Option<Said> {
    let Some(carried) = carried else { return out };
    let mut out = out.unwrap_or(Said { beds: Vec::new(), ..carried.clone() });
    for bed in carried.beds.into_iter().filter(is_out) {
        match out.beds.iter_mut().find(|other| other.bed == bed.bed) {
            Some(other) if is_out(other) => {}
            Some(other) => *other = bed,
            None => out.beds.push(bed),
        }
    }
    Some(out).filter(|out| !out.beds.is_empty())
}

fn is_out(bed: &SaidBed) -> bool {
    bed.cover.is_some() || bed.measure == Measure::BringIn
}

impl Said {
    /// What is out of it when `all` lists of its night were said, the word of the morning after among them, and of the coming
    /// night `said`.
    #[must_use]
    pub fn after_the_morning(mut self, all: &[Said], said: Option<&Said>) -> Said {
        if let Some(kept) = all.iter().rev().find_map(|said| said.kept.as_ref()) {
            let is_wanted = |out: &SaidBed| of(said, &out.bed).is_some_and(is_out);
            self.beds.retain(|bed| kept.contains(&bed.bed) && (said.is_none() || is_wanted(bed)));
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Duration;

    const COVER: &str = "sheet";

    /// One list at an hour of the day: A's measure and B's, with a cover where that is what they say.
    fn list(hour: i64, a: Measure, b: Measure) -> Said {
        let bed = |bed: &str, measure: Measure| SaidBed {
            bed: bed.into(),
            measure,
            cover: (measure == Measure::Cover).then(|| COVER.into()),
            chance: 0.5,
            remaining: 0.2,
            minutes: None,
            reason: None,
            picks: Vec::new(),
            is_picked: false,
        };
        let beds = vec![bed("A", a), bed("B", b)];
        Said { at: DateTime::UNIX_EPOCH + Duration::hours(hour), beds, ..Said::default() }
    }

    #[test]
    fn what_lies_on_the_beds_is_what_stood_when_the_work_was_done_and_what_came_later() {
        use Measure::{BringIn, Cover, Fine, Unknown};
        for (lists, expected) in [
            (vec![list(13, Cover, Fine)], [Cover, Fine]),
            // Called off before anyone has gone out, and after.
            (vec![list(7, Cover, Cover), list(13, Fine, Fine)], [Fine, Fine]),
            (vec![list(13, Cover, Fine), list(19, Fine, Fine)], [Cover, Fine]),
            (vec![list(13, Cover, Fine), list(19, Fine, Cover)], [Cover, Cover]),
            (vec![list(13, BringIn, Cover), list(19, Fine, Fine)], [BringIn, Cover]),
            // Weather that went missing calls nothing off.
            (vec![list(7, Cover, Fine), list(13, Unknown, Unknown)], [Cover, Unknown]),
            (vec![list(13, Unknown, Unknown)], [Unknown, Unknown]),
            (vec![list(19, Cover, Fine), list(20, Fine, Fine)], [Cover, Fine]),
        ] {
            let out = still_out(&lists, DateTime::UNIX_EPOCH + Duration::hours(17));
            let measures: Vec<Measure> = out.iter().flat_map(|said| &said.beds).map(|bed| bed.measure).collect();
            assert_eq!(measures, expected, "{lists:?}");
        }
        assert_eq!(still_out(&[], DateTime::UNIX_EPOCH), None);
    }

    #[test]
    fn what_was_left_out_by_day_is_out_until_somebody_is_told_to_take_it_away() {
        use Measure::{BringIn, Cover, Fine};
        let evening = DateTime::UNIX_EPOCH + Duration::hours(17);
        let carried = list(0, Cover, BringIn);
        // Called off before the deadline: on a day on which nobody had taken it away.
        for lists in [vec![list(7, Cover, BringIn), list(13, Fine, Fine)], vec![list(13, Fine, Fine)], Vec::new()] {
            let out = with_carried(still_out(&lists, evening), Some(carried.clone())).expect("something");
            assert_eq!(out.beds.iter().map(|bed| bed.measure).collect::<Vec<_>>(), [Cover, BringIn], "{lists:?}");
        }
        let out = with_carried(still_out(&[list(13, Fine, Fine)], evening), None).expect("a list");
        assert_eq!(out.beds.iter().map(|bed| bed.measure).collect::<Vec<_>>(), [Fine, Fine]);
        assert_eq!(with_carried(None, Some(list(0, Fine, Fine))), None);
        // In the morning people were told what to leave: that alone is still there.
        let kept = Said { kept: Some(vec!["B".into()]), ..list(32, Cover, BringIn) };
        let left = carried.after_the_morning(&[kept], None);
        assert_eq!(left.beds.iter().map(|bed| bed.bed.as_str()).collect::<Vec<_>>(), ["B"]);
    }
}
