//! Damage done to a sound document: what a bad line, a broken disk, a careless hand or an enemy leaves of it.

use std::ops::Range;

/// A stream of numbers from a seed (SplitMix64 by Steele, Lea and Flood 2014, from memory): the same in every run, so
/// that a seed names an input.
pub struct Chance(u64);

impl Chance {
    pub fn from_seed(seed: u64) -> Chance {
        Chance(seed)
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `end`, or 0.
    pub fn below(&mut self, end: usize) -> usize {
        (self.next() % (end.max(1) as u64)) as usize
    }

    pub fn one_of<'a, T>(&mut self, things: &'a [T]) -> &'a T {
        &things[self.below(things.len())]
    }

    /// A stretch of a text, most often short.
    fn stretch(&mut self, length: usize) -> Range<usize> {
        let start = self.below(length + 1);
        let longest = if self.below(4) == 0 { length } else { 40 };
        let end = start + self.below(longest.min(length - start) + 1);
        start..end
    }
}

/// Damage makes a document longer, but not without end.
const LONGEST: usize = 32 * 1024;

/// What no number of a garden or a forecast looks like, and what some do.
const NUMBERS: [&str; 30] = [
    "0",
    "-0",
    "-0.0",
    "1",
    "-1",
    "28",
    "-2.2",
    "60",
    "60.000001",
    "-60.1",
    "99999",
    "1e9",
    "1e308",
    "1e309",
    "-1e999",
    "1e-400",
    "9007199254740993",
    "9223372036854775807",
    "9223372036854775808",
    "-9223372036854775809",
    "18446744073709551616",
    "4294967296",
    "65536",
    "NaN",
    "inf",
    "-inf",
    "null",
    "0x1f",
    "1_000",
    ".5",
];

/// What means something else to a reader than to a machine, or the reverse.
const CHARACTERS: [&str; 24] = [
    "\0",
    "\r",
    "\n",
    "\r\n",
    "\t",
    "\u{7f}",
    "\u{85}",
    "\u{1b}[2J",
    "\u{200b}",
    "\u{202e}",
    "\u{2028}",
    "\u{feff}",
    "\u{301}",
    "é",
    "ß",
    "İ",
    "°",
    "\u{2212}",
    "\u{a0}",
    "\u{1f96c}",
    "\u{10ffff}",
    "\u{fffd}",
    "\\",
    "\"",
];

/// Up to five kinds of damage to a document, most often one or two, with words of its own language and pieces of its relatives.
pub fn damaged(chance: &mut Chance, corpus: &[Vec<u8>], dictionary: &[&str]) -> Vec<u8> {
    let mut text = chance.one_of(corpus).clone();
    for _ in 0..*chance.one_of(&[1, 1, 1, 2, 2, 3, 5]) {
        once(chance, &mut text, corpus, dictionary);
        text.truncate(LONGEST);
    }
    text
}

fn once(chance: &mut Chance, text: &mut Vec<u8>, corpus: &[Vec<u8>], dictionary: &[&str]) {
    let length = text.len();
    match chance.below(14) {
        0 if length > 0 => text[chance.below(length)] ^= 1 << chance.below(8),
        1 if length > 0 => text[chance.below(length)] = chance.next() as u8,
        2 => text.truncate(chance.below(length + 1)),
        3 => drop(text.drain(chance.stretch(length))),
        4 => {
            let copy = text[chance.stretch(length)].to_vec();
            let copies = copy.repeat(1 + chance.below(3));
            insert(chance, text, &copies);
        }
        5 => {
            let lines: Vec<Range<usize>> = lines(text);
            let (from, to) = (chance.one_of(&lines).clone(), chance.one_of(&lines).start);
            let line = text[from].to_vec();
            text.splice(to..to, line);
        }
        6 => {
            let lines = lines(text);
            drop(text.drain(chance.one_of(&lines).clone()));
        }
        7 | 8 => {
            if let Some(number) = word(chance, text, |byte| byte.is_ascii_digit() || b"+-.eE".contains(&byte)) {
                let new = chance.one_of(&NUMBERS);
                text.splice(number, new.bytes());
            }
        }
        9 | 10 => {
            if let Some(name) = word(chance, text, |byte| byte.is_ascii_alphabetic() || b"_-".contains(&byte)) {
                let new = chance.one_of(dictionary);
                text.splice(name, new.bytes());
            }
        }
        11 => {
            let new = *chance.one_of(dictionary);
            insert(chance, text, new.as_bytes());
        }
        12 => {
            let new = *chance.one_of(&CHARACTERS);
            insert(chance, text, new.as_bytes());
        }
        _ => {
            // The head of one document on the tail of another.
            let other = chance.one_of(corpus);
            text.truncate(chance.below(length + 1));
            text.extend_from_slice(&other[chance.below(other.len() + 1)..]);
        }
    }
}

fn insert(chance: &mut Chance, text: &mut Vec<u8>, new: &[u8]) {
    let at = chance.below(text.len() + 1);
    text.splice(at..at, new.iter().copied());
}

/// Each line with its end; never none.
fn lines(text: &[u8]) -> Vec<Range<usize>> {
    let mut lines = Vec::new();
    let mut start = 0;
    for line in text.split_inclusive(|byte| *byte == b'\n') {
        lines.push(start..start + line.len());
        start += line.len();
    }
    if lines.is_empty() {
        lines.push(0..0);
    }
    lines
}

/// The first whole word behind a random place.
fn word(chance: &mut Chance, text: &[u8], is_part: impl Fn(u8) -> bool) -> Option<Range<usize>> {
    let from = chance.below(text.len());
    let from = (from..text.len()).find(|at| !is_part(text[*at]))?;
    let start = (from..text.len()).find(|at| is_part(text[*at]))?;
    let end = (start..text.len()).find(|at| !is_part(text[*at])).unwrap_or(text.len());
    Some(start..end)
}
