//! What `.cargo/deny.toml` allows, held against what is built here: licences, crates that must not come in, and where all
//! of it comes from. `cargo deny` asks the same for every system, and advisories, and wants to be installed; this wants
//! neither that nor a network.

use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;
use toml::de::DeTable;

const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

fn text<'v>(value: &'v Value, key: &str) -> Option<&'v str> {
    value[key].as_str()
}

/// The packages that are built for this system, tests included.
fn packages() -> Vec<Value> {
    let host = Command::new("rustc").arg("-vV").output().expect("rustc is there");
    let host = String::from_utf8(host.stdout).expect("text");
    let host = host.lines().find_map(|line| line.strip_prefix("host: ")).expect("a system").to_string();
    let asked = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--locked", "--format-version", "1", "--filter-platform", &host])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo is there");
    assert!(asked.status.success(), "{}", String::from_utf8_lossy(&asked.stderr));
    let metadata: Value = serde_json::from_slice(&asked.stdout).expect("JSON");
    metadata["packages"].as_array().expect("packages").clone()
}

/// Whether what we may use is enough for a licence expression of SPDX (<https://spdx.github.io/spdx-spec>, annex on
/// licence expressions). AND binds closer than OR; a slash is an old OR; an exception is a licence of its own.
fn allows(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    let whole = either(&words, &mut at, allowed);
    whole && at == words.len()
}

fn either(words: &[&str], at: &mut usize, allowed: &BTreeSet<String>) -> bool {
    let mut any = both(words, at, allowed);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        any |= both(words, at, allowed);
    }
    any
}

fn both(words: &[&str], at: &mut usize, allowed: &BTreeSet<String>) -> bool {
    let mut all = one(words, at, allowed);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        all &= one(words, at, allowed);
    }
    all
}

fn one(words: &[&str], at: &mut usize, allowed: &BTreeSet<String>) -> bool {
    let Some(word) = words.get(*at) else { return false };
    *at += 1;
    if *word == "(" {
        let within = either(words, at, allowed);
        *at += 1;
        return within;
    }
    if words.get(*at) == Some(&"WITH") {
        let licence = format!("{word} WITH {}", words.get(*at + 1).unwrap_or(&""));
        *at += 2;
        return allowed.contains(&licence);
    }
    allowed.contains(*word)
}

/// A package may name a file in place of an expression.
fn is_apache(package: &Value) -> bool {
    let folder = text(package, "manifest_path").and_then(|path| Path::new(path).parent());
    let file = folder.zip(text(package, "license_file")).map(|(folder, file)| folder.join(file));
    let words = file.and_then(|file| std::fs::read_to_string(file).ok()).unwrap_or_default();
    words.contains("Apache License") && words.contains("Version 2.0, January 2004")
}

/// Of a list in the rules, each entry's own text or that under a key.
fn listed(rules: &DeTable<'_>, section: &str, list: &str, key: Option<&str>) -> BTreeSet<String> {
    let list = rules.get(section).and_then(|section| section.get_ref().get(list));
    let entries = list.and_then(|list| list.get_ref().as_array()).expect("a list");
    let texts = entries.iter().map(|entry| {
        let text = key.map_or(Some(entry), |key| entry.get_ref().get(key));
        text.and_then(|text| text.get_ref().as_str()).expect("a text").to_string()
    });
    texts.collect()
}

#[test]
fn what_is_built_is_what_the_rules_for_dependencies_allow() {
    let rules = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(".cargo/deny.toml")).expect("rules");
    let rules = DeTable::parse(&rules).expect("sound TOML").into_inner();
    let allowed = listed(&rules, "licenses", "allow", None);
    let denied = listed(&rules, "bans", "deny", Some("crate"));
    assert!(allowed.contains("MIT") && denied.contains("openssl-sys"), "the rules are read");
    let (mut wrong, packages) = (Vec::new(), packages());
    assert!(packages.len() > 100, "{} packages", packages.len());
    for package in &packages {
        let name = text(package, "name").unwrap_or_default();
        let licence = text(package, "license");
        if !licence.map_or_else(|| is_apache(package) && allowed.contains("Apache-2.0"), |of| allows(of, &allowed)) {
            wrong.push(format!("{name}: the licence {licence:?} is not among those of .cargo/deny.toml"));
        }
        if denied.contains(name) {
            wrong.push(format!("{name}: .cargo/deny.toml says why it must not come in"));
        }
        if text(package, "source").unwrap_or(REGISTRY) != REGISTRY {
            wrong.push(format!("{name}: it comes from {:?}", package["source"]));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_licence_expression_is_read_as_it_is_meant() {
    let allowed: BTreeSet<String> = ["MIT", "Apache-2.0", "ISC"].map(String::from).into();
    for (expression, expected) in [
        ("MIT", true),
        ("GPL-3.0-only", false),
        ("GPL-3.0-only OR MIT", true),
        ("MIT/Apache-2.0", true),
        ("MIT AND GPL-3.0-only", false),
        ("ISC AND (GPL-2.0-only OR Apache-2.0)", true),
        ("ISC AND GPL-2.0-only OR Apache-2.0", true),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", false),
        ("Apache-2.0 WITH LLVM-exception", false),
        ("Apache-2.0 WITH LLVM-exception OR MIT", true),
        ("MIT Apache-2.0", false),
        ("", false),
    ] {
        assert_eq!(allows(expression, &allowed), expected, "{expression}");
    }
}
