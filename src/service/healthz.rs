//! The page `/healthz`, for a watcher on this machine: 200 where all is in order, 503 where not, and why as JSON.
//!
//! It answers `GET /healthz` and nothing else, a few at a time, each within limits of length and time; a library for it
//! would bring more to go wrong than these lines.

use super::health::Health;
use super::store::StoreFault;
use futures_util::StreamExt;
use futures_util::stream::FuturesUnordered;
use std::net::{Ipv4Addr, SocketAddr};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Mutex;
use tokio::time::{Instant, sleep, timeout};

/// Answered side by side; whoever comes later waits in the system's queue.
const MOST_AT_ONCE: usize = 8;
/// From the connection to the end of the answer.
const LONGEST: Duration = Duration::from_secs(5);
/// Of a request, to the empty line that ends it.
const LARGEST_REQUEST: usize = 4096;
/// An answer serves everybody who asks within this time: asking often does not load the store.
const KEPT: Duration = Duration::from_secs(1);

/// Listens on this machine alone: 127.0.0.1.
pub async fn listen(port: u16) -> std::io::Result<TcpListener> {
    TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).await
}

/// Answers for ever.
pub async fn serve(listener: &TcpListener, health: impl AsyncFn() -> Result<Health, StoreFault>) {
    let page = Page { health, kept: Mutex::default() };
    let mut open = FuturesUnordered::new();
    loop {
        tokio::select! {
            accepted = listener.accept(), if open.len() < MOST_AT_ONCE => match accepted {
                Ok((stream, _)) => open.push(page.converse(stream)),
                Err(error) => {
                    // Too many open files, say: that passes, and must not turn into a busy loop.
                    tracing::warn!(%error, "healthz cannot take a connection");
                    sleep(KEPT).await;
                }
            },
            Some(()) = open.next(), if !open.is_empty() => {}
        }
    }
}

struct Page<H> {
    health: H,
    kept: Mutex<Option<(Instant, String)>>,
}

impl<H: AsyncFn() -> Result<Health, StoreFault>> Page<H> {
    /// One question and its answer. That the other side goes away changes nothing.
    async fn converse(&self, mut stream: TcpStream) {
        let conversation = async {
            let answer = match read_head(&mut stream).await {
                Some(head) => self.answer(&head).await,
                None => answer("400 Bad Request", ""),
            };
            stream.write_all(answer.as_bytes()).await.ok();
            stream.shutdown().await.ok();
        };
        timeout(LONGEST, conversation).await.ok();
    }

    async fn answer(&self, head: &str) -> String {
        let mut words = head.lines().next().unwrap_or_default().split(' ');
        let (method, path, version) = (words.next(), words.next().unwrap_or_default(), words.next());
        if !version.is_some_and(|version| version.starts_with("HTTP/1.")) || words.next().is_some() {
            return answer("400 Bad Request", "");
        }
        // A page in a browser of this machine may call us by a name of its own; it is not told how the garden fares.
        let host = head.lines().skip(1).filter_map(|line| line.split_once(':'));
        let mut hosts = host.filter(|(name, _)| name.eq_ignore_ascii_case("host")).map(|(_, host)| host.trim());
        let is_ours = |host: &str| {
            let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
            name == "127.0.0.1" || name.eq_ignore_ascii_case("localhost")
        };
        if !hosts.all(is_ours) {
            return answer("421 Misdirected Request", "");
        }
        if path.split('?').next() != Some("/healthz") {
            return answer("404 Not Found", "");
        }
        if method != Some("GET") {
            return answer("405 Method Not Allowed", "");
        }
        let mut kept = self.kept.lock().await;
        if let Some((at, text)) = kept.as_ref()
            && at.elapsed() < KEPT
        {
            return text.clone();
        }
        let text = match (self.health)().await {
            Ok(health) => {
                let status = if health.ok { "200 OK" } else { "503 Service Unavailable" };
                answer(status, &serde_json::to_string(&health).unwrap_or_default())
            }
            Err(fault) => {
                tracing::error!(%fault, "healthz cannot read the store");
                let document = serde_json::json!({ "ok": false, "troubles": ["The store cannot be read."] });
                answer("503 Service Unavailable", &document.to_string())
            }
        };
        *kept = Some((Instant::now(), text.clone()));
        text
    }
}

/// The lines of a request before its body; none where it is too long, breaks off, or is no text.
async fn read_head(stream: &mut TcpStream) -> Option<String> {
    let mut head = Vec::new();
    let mut piece = [0; 1024];
    while !head.windows(4).any(|end| end == b"\r\n\r\n") {
        let length = stream.read(&mut piece).await.ok().filter(|length| *length > 0)?;
        head.extend_from_slice(piece.get(..length)?);
        if head.len() > LARGEST_REQUEST {
            return None;
        }
    }
    String::from_utf8(head).ok()
}

fn answer(status: &str, body: &str) -> String {
    let body = if body.is_empty() { String::new() } else { format!("{body}\n") };
    let kind = if body.is_empty() { "text/plain" } else { "application/json" };
    format!(
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nCache-Control: no-store\r\n\
         Connection: close\r\n\r\n{body}",
        body.len()
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::DateTime;
    use std::sync::atomic::{AtomicUsize, Ordering};

    fn health(ok: bool) -> Health {
        Health {
            ok,
            at: DateTime::UNIX_EPOCH,
            gardens: Vec::new(),
            mail_open: 0,
            mail_overdue: 0,
            mail_untold: 0,
            troubles: Vec::new(),
        }
    }

    async fn asked(port: u16, request: &[u8]) -> String {
        let mut stream = TcpStream::connect(("127.0.0.1", port)).await.expect("a connection");
        // Whoever is refused early may not take the rest.
        stream.write_all(request).await.ok();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).await.ok();
        String::from_utf8(answer).expect("text")
    }

    async fn within(work: impl Future<Output = ()>, ok: bool) -> usize {
        let listener = listen(0).await.expect("a port");
        let port = listener.local_addr().expect("an address").port();
        PORT.store(usize::from(port), Ordering::SeqCst);
        let counted = AtomicUsize::new(0);
        let serving = serve(&listener, async || {
            counted.fetch_add(1, Ordering::SeqCst);
            Ok(health(ok))
        });
        tokio::select! { () = serving => {}, () = work => {} }
        counted.load(Ordering::SeqCst)
    }

    static PORT: AtomicUsize = AtomicUsize::new(0);

    fn port() -> u16 {
        u16::try_from(PORT.load(Ordering::SeqCst)).expect("a port")
    }

    /// One test, for the port is known to all of them.
    #[tokio::test]
    async fn one_page_is_answered_and_everything_else_is_turned_away() {
        let work = async {
            let mut long = b"GET /healthz HTTP/1.1\r\nX: ".to_vec();
            long.resize(LARGEST_REQUEST + 100, b'x');
            for (request, status) in [
                (&b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1:8642\r\n\r\n"[..], "200 OK"),
                (b"GET /healthz?x HTTP/1.0\r\n\r\n", "200 OK"),
                (b"GET /healthz HTTP/1.1\r\nHost: garden.example\r\n\r\n", "421 Misdirected Request"),
                (b"POST /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n", "405 Method Not Allowed"),
                (b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n", "404 Not Found"),
                (b"GET /healthz\r\n\r\n", "400 Bad Request"),
                (b"\xff\xfe\r\n\r\n", "400 Bad Request"),
                (&long, "400 Bad Request"),
            ] {
                let answer = asked(port(), request).await;
                let shown = String::from_utf8_lossy(&request[..request.len().min(60)]).into_owned();
                assert!(answer.starts_with(&format!("HTTP/1.1 {status}\r\n")), "{shown}: {answer}");
            }
        };
        assert_eq!(within(work, true).await, 1, "an answer is kept for a second");
        let work = async {
            let answer = asked(port(), b"GET /healthz HTTP/1.1\r\n\r\n").await;
            assert!(answer.starts_with("HTTP/1.1 503 ") && answer.contains("{\"ok\":false,"), "{answer}");
        };
        within(work, false).await;
        // Eight who say nothing hold up the ninth no longer than the limit.
        let work = async {
            let mut silent = Vec::new();
            for _ in 0..MOST_AT_ONCE {
                silent.push(TcpStream::connect(("127.0.0.1", port())).await.expect("a connection"));
            }
            let start = Instant::now();
            let answer = asked(port(), b"GET /healthz HTTP/1.1\r\n\r\n").await;
            assert!(answer.starts_with("HTTP/1.1 200 ") && start.elapsed() < LONGEST * 2, "{answer}");
        };
        within(work, true).await;
    }
}
