//! Every parser under damaged and hostile text: no panic, no long wait, and what is accepted can be believed.
//!
//! `corpus/<parser>/` holds sound documents and what once went wrong. They are replayed as they are, and they are what
//! `hostile/mutation.rs` damages. An ordinary run takes a few seconds; for a long one
//!
//! ```text
//! COUNTERPANE_HOSTILE_INPUTS=10000000 cargo test --release --test hostile -- --nocapture
//! ```
//!
//! tries so many inputs of each parser and prints figures. `COUNTERPANE_HOSTILE_SEED` begins elsewhere; a fault names the
//! seed of its input. A fault that was mended leaves its input in the corpus, under a name that says what it was.

mod hostile {
    pub mod mutation;
    pub mod parsers;
}

use hostile::mutation::{Chance, damaged};
use hostile::parsers::{PARSERS, Parser};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Far above what any input needs, also on a busy machine.
const LONGEST: Duration = Duration::from_secs(5);

/// The documents of a parser, in order of name.
fn corpus(parser: &Parser) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus").join(parser.name);
    let entries = std::fs::read_dir(&folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("readable").path()).collect();
    paths.sort();
    paths.into_iter().map(|path| (path.clone(), std::fs::read(&path).expect("readable"))).collect()
}

/// Whether the parser accepts the text, how long it took, or what it did wrong.
fn tried(parser: &Parser, text: &[u8]) -> Result<(bool, Duration), String> {
    let start = Instant::now();
    let accepted = match catch_unwind(AssertUnwindSafe(|| (parser.judge)(text))) {
        Ok(judged) => judged?,
        Err(panic) => {
            let words = panic.downcast_ref::<String>().map(String::as_str).or(panic.downcast_ref::<&str>().copied());
            return Err(format!("panic: {}", words.unwrap_or("without words")));
        }
    };
    let took = start.elapsed();
    if took > LONGEST { Err(format!("{took:?} for one input")) } else { Ok((accepted, took)) }
}

fn number(variable: &str) -> Option<u64> {
    let text = std::env::var(variable).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{variable}={text} is not a number")))
}

fn under_fire(name: &str) {
    let parser = PARSERS.iter().find(|parser| parser.name == name).expect("a parser of that name");
    let documents: Vec<Vec<u8>> = corpus(parser).into_iter().map(|(_, text)| text).collect();
    let inputs = number("COUNTERPANE_HOSTILE_INPUTS").unwrap_or(parser.inputs);
    let first = number("COUNTERPANE_HOSTILE_SEED").unwrap_or(0);
    let (mut accepted, mut slowest, mut wrong) = (0_u64, Duration::ZERO, Vec::new());
    let start = Instant::now();
    for seed in (first..).take(usize::try_from(inputs).unwrap_or(usize::MAX)) {
        let text = damaged(&mut Chance::from_seed(seed), &documents, parser.dictionary);
        match tried(parser, &text) {
            Ok((was_accepted, took)) => {
                accepted += u64::from(was_accepted);
                slowest = slowest.max(took);
            }
            Err(fault) => wrong.push(format!("seed {seed}: {fault}\n{}\n", String::from_utf8_lossy(&text))),
        }
        if wrong.len() == 3 {
            break;
        }
    }
    println!(
        "{name}: {inputs} inputs from seed {first} in {:.1} s, {:.1} % accepted, slowest {slowest:?}",
        start.elapsed().as_secs_f64(),
        100.0 * accepted as f64 / inputs.max(1) as f64
    );
    assert!(wrong.is_empty(), "{name}:\n{}", wrong.join("\n"));
    // Where nothing is accepted only the first line of a parser was tried.
    assert!(inputs < 1_000 || accepted * 100 > inputs, "{name}: only {accepted} of {inputs} inputs were accepted");
}

#[test]
fn the_corpus_is_answered() {
    let mut wrong = Vec::new();
    for parser in &PARSERS {
        let documents = corpus(parser);
        let mut accepted = 0;
        for (path, text) in &documents {
            match tried(parser, text) {
                Ok((was_accepted, _)) => accepted += usize::from(was_accepted),
                Err(fault) => wrong.push(format!("{}: {fault}", path.display())),
            }
        }
        assert!(accepted > 0, "no sound document for {}", parser.name);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// One test each, so that they run side by side and the slow one is named.
macro_rules! under_fire {
    ($($name:ident),+) => { $(#[test] fn $name() { under_fire(stringify!($name)); })+ };
}

under_fire!(
    service,
    garden,
    crop,
    bibliography,
    nws,
    met_norway,
    hourly_arrays,
    csv,
    temperature,
    schedule,
    journal,
    logged,
    log,
    time
);
