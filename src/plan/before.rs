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
    /// Beds that somebody has covered on the day between, by what they wrote down: there the cover lies as it is to lie.
    pub laid: &'b [String],
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
        let out = self.out?;
        let left = of(Some(out), bed)?.cover.as_ref()?;
        let is_laid = self.laid.iter().any(|laid| laid == bed);
        // Whoever writes down one piece over two beds names each of them, and the piece.
        let is_it = *left == cover.title() || (is_laid && cover.together_with.is_some() && *left == cover.name);
        // What a list has found there was to stay, whatever is still known of the day in the evening.
        let lies = self.said_of(bed).is_some_and(|said| said.lies_there() && said.cover.as_ref() == Some(left));
        // What people were told to leave on lies there, whatever has become of the day: where it matters they are told.
        let is_kept = out.kept.as_ref().is_some_and(|kept| kept.iter().any(|kept| kept == bed));
        let is_open = out.open.iter().any(|open| open == bed);
        match by_day(kind, self.day.as_ref()) {
            _ if !is_it => None,
            _ if is_laid || lies => Some(0.0),
            _ if is_kept => Some(if is_open { OPEN_AND_CLOSE } else { 0.0 }),
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
    Some(Said { at: last.at, beds: beds.collect(), covers: last.covers.clone(), ..Said::default() })
}

/// What may be out in the morning when `carried` was left out through the day before: nobody was told to take that away,
/// whatever was said of the night since.
pub fn with_carried(out: Option<Said>, carried: Option<Said>) -> Option<Said> {
    let Some(carried) = carried else { return out };
    // What an earlier morning kept says nothing of the next one.
    let none = Said { beds: Vec::new(), kept: None, open: Vec::new(), ..carried.clone() };
    let mut out = out.unwrap_or(none);
    for bed in carried.beds.into_iter().filter(is_out) {
        match out.beds.iter_mut().find(|other| other.bed == bed.bed) {
            Some(other) if is_out(other) => {}
            Some(other) => *other = bed,
            None => out.beds.push(bed),
        }
    }
    Some(out).filter(|out| !out.beds.is_empty())
}

/// A cover that somebody laid or took off, by what they wrote down.
#[derive(Clone, Debug, PartialEq)]
pub struct Hand {
    pub at: DateTime<Utc>,
    pub bed: String,
    pub on: HandOn,
}

/// What was done with it.
#[derive(Clone, Debug, PartialEq)]
pub enum HandOn {
    /// Laid; what it is called ([`CoverUse::title`]), where that is known.
    Laid(Option<String>),
    TakenOff,
}

/// What is out when people have laid and taken off covers after one instant and until another, in order of time: what they
/// wrote down beats what they were asked. A cover of which nobody knows which it is lies where a list had asked for one.
pub fn with_hands(out: Option<Said>, hands: &[Hand], after: DateTime<Utc>, until: DateTime<Utc>) -> Option<Said> {
    let hands: Vec<&Hand> = hands.iter().filter(|hand| hand.at > after && hand.at <= until).collect();
    let Some(last) = hands.last() else { return out };
    let mut out = out.unwrap_or(Said { at: last.at, ..Said::default() });
    for hand in hands {
        let at = out.beds.iter().position(|bed| bed.bed == hand.bed);
        match (&hand.on, at.and_then(|at| out.beds.get_mut(at))) {
            // That it was asked for stays: the morning asks how the night was.
            (HandOn::TakenOff, Some(bed)) => bed.cover = None,
            (HandOn::Laid(Some(title)), Some(bed)) => {
                // It is the asked one, over two beds too, whatever else was asked with it.
                let is_asked =
                    |asked: &String| CoverUse::together_in(asked).is_some() && CoverUse::name_in(asked) == title;
                if !bed.cover.as_ref().is_some_and(is_asked) {
                    bed.cover = Some(title.clone());
                }
                if !bed.measure.is_work() {
                    bed.measure = Measure::Cover;
                }
            }
            (HandOn::Laid(Some(title)), None) => out.beds.push(SaidBed {
                bed: hand.bed.clone(),
                measure: Measure::Cover,
                cover: Some(title.clone()),
                chance: 0.0,
                remaining: 0.0,
                minutes: None,
                reason: None,
                picks: Vec::new(),
                is_picked: false,
                losses: Vec::new(),
            }),
            (HandOn::Laid(None), _) | (HandOn::TakenOff, None) => {}
        }
    }
    Some(out)
}

/// Beds that people have covered after one instant and until another, and not uncovered since.
pub fn laid(hands: &[Hand], after: DateTime<Utc>, until: DateTime<Utc>) -> Vec<String> {
    let mut laid: Vec<String> = Vec::new();
    for hand in hands.iter().filter(|hand| hand.at > after && hand.at <= until) {
        laid.retain(|bed| *bed != hand.bed);
        if hand.on != HandOn::TakenOff {
            laid.push(hand.bed.clone());
        }
    }
    laid
}

fn is_out(bed: &SaidBed) -> bool {
    bed.cover.is_some() || bed.measure == Measure::BringIn
}

impl Said {
    /// What is out of it when `all` lists of its night were said, the word of the morning after among them, and of the coming
    /// night `said`.
    #[must_use]
    pub fn after_the_morning(mut self, all: &[Said], said: Option<&Said>) -> Said {
        let word = all.iter().rev().find_map(|word| Some((word, word.kept.as_ref()?)));
        if let Some((word, kept)) = word {
            (self.kept, self.open) = (word.kept.clone(), word.open.clone());
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
            losses: Vec::new(),
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

    #[test]
    fn what_people_wrote_down_of_covers_beats_what_they_were_asked() {
        use Measure::{Cover, Fine};
        let at = |hour: i64| DateTime::UNIX_EPOCH + Duration::hours(hour);
        let off = |hour: i64, bed: &str| Hand { at: at(hour), bed: bed.into(), on: HandOn::TakenOff };
        let on = |hour: i64, bed: &str, title: Option<&str>| Hand {
            at: at(hour),
            bed: bed.into(),
            on: HandOn::Laid(title.map(Into::into)),
        };
        // A was asked for, B was not; what is written between the hours of 17 and 40 counts.
        for (hands, a, b) in [
            (vec![], Some(COVER), None),
            (vec![off(32, "A")], None, None),
            (vec![off(16, "A"), off(41, "A")], Some(COVER), None),
            (vec![off(32, "A"), on(33, "A", Some("fleece"))], Some("fleece"), None),
            (vec![on(20, "B", Some("fleece"))], Some(COVER), Some("fleece")),
            // Nobody knows which it was; where one was asked for it is that one.
            (vec![on(20, "B", None), on(20, "A", None)], Some(COVER), None),
            (vec![on(20, "B", Some("fleece")), off(21, "B")], Some(COVER), None),
        ] {
            let out = with_hands(Some(list(13, Cover, Fine)), &hands, at(17), at(40)).expect("a list");
            let covers: Vec<Option<&str>> = out.beds.iter().map(|bed| bed.cover.as_deref()).collect();
            assert_eq!(covers, [a, b], "{hands:?}");
        }
        // Nothing was asked at all.
        let out = with_hands(None, &[on(20, "B", Some("fleece"))], at(17), at(40)).expect("what was laid");
        assert_eq!(out.beds.iter().map(|bed| bed.cover.as_deref()).collect::<Vec<_>>(), [Some("fleece")]);
        assert_eq!(with_hands(None, &[], at(17), at(40)), None);
        // One piece over two beds is written down for each of them.
        let mut two = list(13, Cover, Cover);
        two.beds[0].cover = Some("sheet, one piece together with B".into());
        let out = with_hands(Some(two.clone()), &[on(20, "A", Some("sheet"))], at(17), at(40)).expect("a list");
        assert_eq!(out, two);
        let hands = [on(20, "A", None), on(20, "B", None), off(21, "B"), on(45, "C", None)];
        assert_eq!(laid(&hands, at(17), at(40)), ["A"]);
    }

    #[test]
    fn a_cover_laid_by_day_takes_no_work_and_one_taken_off_takes_all_of_it() {
        let out = list(13, Measure::Cover, Measure::Fine);
        let cover = CoverUse {
            name: COVER.into(),
            stock: 0,
            pieces: 1,
            layers: crate::night::cover::Layers::One,
            together_with: None,
        };
        let minutes = |before: Before<'_>| before.minutes_to_close("A", &cover, CoverKind::Sheet);
        // Nothing is known of the day: a sheet comes off.
        let before = Before { out: Some(&out), ..Before::default() };
        let laid = ["A".to_string()];
        assert_eq!(minutes(before), None);
        assert_eq!(minutes(Before { laid: &laid, ..before }), Some(0.0));
        // A list of this night has found it there.
        let mut said = list(20, Measure::Cover, Measure::Fine);
        said.beds[0].minutes = Some(0.0);
        assert_eq!(minutes(Before { said: Some(&said), ..before }), Some(0.0));
        // And somebody has taken it off since.
        let off = [Hand { at: out.at + Duration::hours(20), bed: "A".into(), on: HandOn::TakenOff }];
        let out = with_hands(Some(out.clone()), &off, out.at, out.at + Duration::hours(30));
        assert_eq!(minutes(Before { out: out.as_ref(), said: Some(&said), ..Before::default() }), None);
    }

    #[test]
    fn what_the_morning_left_on_lies_there_whatever_has_become_of_the_day() {
        let mut word = list(32, Measure::Cover, Measure::Cover);
        (word.kept, word.open) = (Some(vec!["A".into(), "B".into()]), vec!["B".into()]);
        let out = list(13, Measure::Cover, Measure::Cover).after_the_morning(&[word], None);
        let cover = CoverUse {
            name: COVER.into(),
            stock: 0,
            pieces: 1,
            layers: crate::night::cover::Layers::One,
            together_with: None,
        };
        let before = Before { out: Some(&out), ..Before::default() };
        let minutes = |bed: &str| before.minutes_to_close(bed, &cover, CoverKind::Sheet);
        assert_eq!((minutes("A"), minutes("B")), (Some(0.0), Some(OPEN_AND_CLOSE)));
        // The morning after that it is another matter.
        let next = with_carried(None, Some(out.clone())).expect("what was carried");
        assert_eq!(
            Before { out: Some(&next), ..Before::default() }.minutes_to_close("A", &cover, CoverKind::Sheet),
            None
        );
    }
}
