//! Words to the service manager: systemd's notification protocol (`sd_notify(3)`), a datagram of lines to the socket
//! that the variable `NOTIFY_SOCKET` names. A crate for it would be larger than what is here.

use std::env;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::path::Path;
use std::time::Duration;

/// The way to the service manager, where there is one.
#[derive(Debug, Default)]
pub struct Notify {
    to: Option<(UnixDatagram, SocketAddr)>,
    watchdog: Option<Duration>,
}

impl Notify {
    /// As the environment says. Without a service manager nothing is sent and nothing is missing.
    pub fn from_environment() -> Notify {
        let variable = |name| env::var_os(name).filter(|value| !value.is_empty());
        let Some(socket) = variable("NOTIFY_SOCKET") else { return Notify::default() };
        let of_text = |name| variable(name).and_then(|value| value.to_str()?.parse::<u64>().ok());
        // A watchdog of another process, such as a shell around this one, is not ours to feed.
        let is_ours = of_text("WATCHDOG_PID").is_none_or(|id| id == u64::from(std::process::id()));
        let watchdog = of_text("WATCHDOG_USEC").filter(|micros| is_ours && *micros > 0).map(Duration::from_micros);
        match address(socket.as_bytes()).and_then(|address| Ok((datagram()?, address))) {
            Ok(to) => Notify { to: Some(to), watchdog },
            Err(error) => {
                tracing::warn!(%error, "the service manager named in NOTIFY_SOCKET cannot be told anything");
                Notify::default()
            }
        }
    }

    /// To a socket on the disk, with the watchdog's limit.
    pub fn to(socket: &Path, watchdog: Option<Duration>) -> std::io::Result<Notify> {
        Ok(Notify { to: Some((datagram()?, SocketAddr::from_pathname(socket)?)), watchdog })
    }

    /// Within which time the service manager must hear that all is going round.
    pub fn watchdog(&self) -> Option<Duration> {
        self.watchdog
    }

    /// The service has started.
    pub fn ready(&self) {
        self.send("READY=1");
    }

    /// All is going round.
    pub fn alive(&self) {
        self.send("WATCHDOG=1");
    }

    /// The service is about to end.
    pub fn stopping(&self) {
        self.send("STOPPING=1");
    }

    /// One line for whoever asks how the service is.
    pub fn status(&self, text: &str) {
        self.send(&format!("STATUS={}", text.replace(char::is_control, " ")));
    }

    fn send(&self, line: &str) {
        let Some((socket, address)) = &self.to else { return };
        if let Err(error) = socket.send_to_addr(line.as_bytes(), address) {
            tracing::warn!(%error, line, "the service manager did not hear");
        }
    }
}

fn datagram() -> std::io::Result<UnixDatagram> {
    let socket = UnixDatagram::unbound()?;
    // A manager that does not listen must not stop the service.
    socket.set_nonblocking(true)?;
    Ok(socket)
}

/// A path, or after an `@` a name that is on no disk.
fn address(name: &[u8]) -> std::io::Result<SocketAddr> {
    match name {
        [b'@', name @ ..] => SocketAddr::from_abstract_name(name),
        path => SocketAddr::from_pathname(std::ffi::OsStr::from_bytes(path)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(manager: &UnixDatagram) -> String {
        let mut line = [0; 200];
        manager.set_read_timeout(Some(Duration::from_secs(5))).expect("a timeout");
        let length = manager.recv(&mut line).expect("a word");
        String::from_utf8_lossy(&line[..length]).into_owned()
    }

    #[test]
    fn words_reach_a_socket_on_the_disk_and_one_that_is_on_none() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("notify");
        let unseen = format!("counterpane-test-{}", std::process::id());
        for name in [path.to_str().expect("text").to_string(), format!("@{unseen}")] {
            let address = address(name.as_bytes()).expect("an address");
            let manager = UnixDatagram::bind_addr(&address).expect("a manager");
            let notify = Notify { to: Some((datagram().expect("a socket"), address)), watchdog: None };
            notify.ready();
            notify.alive();
            notify.status("two\nlines");
            notify.stopping();
            let words: Vec<String> = (0..4).map(|_| heard(&manager)).collect();
            assert_eq!(words, ["READY=1", "WATCHDOG=1", "STATUS=two lines", "STOPPING=1"]);
        }
    }

    #[test]
    fn a_manager_that_is_gone_stops_nothing() {
        let address = address(b"/nonexistent/notify").expect("an address");
        Notify { to: Some((datagram().expect("a socket"), address)), watchdog: None }.alive();
        Notify::default().ready();
    }
}
