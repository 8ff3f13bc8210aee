//! `[service]` in `counterpane.toml`: how the service shows the outside that it lives.

use super::PasswordPlace;
use super::reader::Table;
use super::service::{PORT, host_and_port, is_this_machine};
use super::value::Value;

/// How somebody outside can tell that the service lives. Nothing of it is on unless the settings say so.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SignsOfLife {
    /// Called after each complete round.
    pub ping: Option<Ping>,
    /// Where the page `/healthz` is, on this machine alone.
    pub healthz_port: Option<u16>,
}

/// Where the address of the ping is kept: it often is a secret, for whoever knows it can say that all is well.
#[derive(Clone, Debug, PartialEq)]
pub enum Ping {
    Address(String),
    Kept(PasswordPlace),
}

pub(super) fn read(table: Option<Table<'_>>) -> Option<SignsOfLife> {
    let Some(table) = table else { return Some(SignsOfLife::default()) };
    let places = ["ping", "ping_file", "ping_env"].map(|key| table.optional(key));
    if let [.., _, Some(second)] | [_, Some(second), _] = &places
        && places.iter().flatten().count() > 1
    {
        second.fault_at_key("the ping has two addresses", "", "keep one of ping, ping_file and ping_env");
    }
    let ping = match &places {
        [Some(value), ..] => address(value).map(|address| Some(Ping::Address(address))),
        [_, Some(value), _] => value.text().map(|file| Some(Ping::Kept(PasswordPlace::File(file.into())))),
        [.., Some(value)] => value.text().map(|name| Some(Ping::Kept(PasswordPlace::Environment(name.into())))),
        _ => Some(None),
    };
    let port = match table.optional("healthz_port") {
        Some(value) => value.count(&PORT).and_then(|port| u16::try_from(port).ok()).map(Some),
        None => Some(None),
    };
    table.finish();
    Some(SignsOfLife { ping: ping?, healthz_port: port? })
}

fn address(value: &Value<'_>) -> Option<String> {
    let text = value.text()?.trim();
    match ping_fault(text) {
        None => Some(text.to_string()),
        Some((what, mend)) => {
            value.fault(what, "Nobody would miss the service when it is silent.", mend);
            None
        }
    }
}

/// What is wrong with the address of a ping, and how to mend it. The address itself is not repeated: it may be a secret.
pub fn ping_fault(text: &str) -> Option<(&'static str, &'static str)> {
    const MEND: &str = "write it like https://ping.your-watcher.example/your-own-key";
    let Some((scheme, rest)) = text.split_once("://") else { return Some(("this is no address for a ping", MEND)) };
    let authority = rest.split(['/', '?', '#', '\\']).next().unwrap_or_default();
    let Some(host) = host_and_port(authority) else {
        return Some(("the address of the ping names no server, or a port that cannot be", MEND));
    };
    let is_encrypted = scheme.eq_ignore_ascii_case("https");
    let stays_here = scheme.eq_ignore_ascii_case("http") && is_this_machine(host);
    if !is_encrypted && !stays_here {
        return Some(("a ping goes over https, but to this machine itself", "write https:// before the address"));
    }
    None
}
