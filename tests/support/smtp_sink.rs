//! A relay inside the test: it takes mail, keeps it, and misbehaves by a script, one entry per connection.

use std::collections::VecDeque;
use std::io::{self, BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard};
use std::thread;
use std::time::Duration;

/// How one connection behaves.
#[derive(Clone, Debug)]
pub enum Fault {
    /// Takes everything.
    None,
    /// Answers RCPT for this address with 550, takes others.
    RefuseRecipient(&'static str),
    /// Answers MAIL FROM with 550.
    RefuseSender,
    /// Offers AUTH PLAIN and answers it with 535.
    RefuseSignIn,
    /// Says nothing for a while instead of answering a command; `""` is the greeting.
    StallAt(&'static str, Duration),
    /// Answers a command with 421 and closes.
    GoodbyeAt(&'static str),
    /// Offers STARTTLS and answers it with 454.
    RefuseTls,
    /// Takes some of the message and closes.
    DropWithinMessage,
    /// Asks for the message and reads none of it.
    StallWithinMessage(Duration),
    /// 421 instead of a greeting.
    NotNow,
    /// 450 for the first RCPT; takes it afterwards.
    Greylist,
    /// 554 after the final dot.
    RefuseMessage,
    /// Says nothing from DATA on.
    StallBeforeMessage(Duration),
    /// Keeps the mail and says nothing for a while after the final dot.
    StallAfterDot(Duration),
    /// Keeps the mail and closes the connection after the final dot.
    DropAfterDotKeeping,
    /// Keeps the mail and answers the final dot with 421.
    GoodbyeAfterDot,
    /// Closes the connection after the final dot; the mail is lost.
    DropAfterDotLosing,
}

/// A mail as it arrived.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Arrived {
    pub from: String,
    pub to: Vec<String>,
    /// Dots unstuffed, lines ending in CR LF.
    pub body: String,
}

impl Arrived {
    pub fn header(&self, name: &str) -> Option<&str> {
        let headers = self.body.split("\r\n\r\n").next().unwrap_or_default();
        headers.split("\r\n").find_map(|line| line.strip_prefix(name)?.strip_prefix(": "))
    }

    /// The subject, however many lines it takes.
    pub fn subject(&self) -> String {
        let headers = self.body.split("\r\n\r\n").next().unwrap_or_default().replace("\r\n ", " ");
        headers.split("\r\n").find_map(|line| line.strip_prefix("Subject: ")).unwrap_or_default().to_string()
    }

    /// The part of a kind that is read, such as `text/plain`, where it is sent as it is; nothing that is enclosed.
    pub fn part(&self, kind: &str) -> &str {
        let read = self.body.split("multipart/alternative;").nth(1).unwrap_or_default();
        let boundary = read.split("boundary=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap_or("none");
        let end = format!("--{boundary}--");
        let read = read.split(&end).next().unwrap_or_default();
        let parts = read.split(boundary).filter(|part| part.contains(&format!("Content-Type: {kind}")));
        parts.last().and_then(|part| part.split_once("\r\n\r\n")).map(|(_, text)| text).unwrap_or_default()
    }

    /// The plain text in one line, so that a sentence is found wherever its lines break.
    pub fn text(&self) -> String {
        self.part("text/plain").split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

/// The relay. It stops taking connections when dropped.
pub struct SmtpSink {
    pub port: u16,
    shared: Arc<Shared>,
}

#[derive(Default)]
struct Shared {
    script: Mutex<VecDeque<Fault>>,
    arrived: Mutex<Vec<Arrived>>,
    connections: AtomicUsize,
    closed: std::sync::atomic::AtomicBool,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(|poisoned| poisoned.into_inner())
}

impl SmtpSink {
    /// Starts it; connections beyond the end of the script behave well.
    pub fn start(script: &[Fault]) -> SmtpSink {
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a free port");
        let port = listener.local_addr().expect("an address").port();
        let shared = Arc::new(Shared { script: Mutex::new(script.iter().cloned().collect()), ..Shared::default() });
        let serving = Arc::clone(&shared);
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                if serving.closed.load(Ordering::SeqCst) {
                    return;
                }
                serving.connections.fetch_add(1, Ordering::SeqCst);
                let fault = lock(&serving.script).pop_front().unwrap_or(Fault::None);
                let serving = Arc::clone(&serving);
                // That a client goes away is what half of the faults are about.
                thread::spawn(move || drop(converse(stream, &fault, &serving)));
            }
        });
        SmtpSink { port, shared }
    }

    /// The mail taken so far, in order of arrival.
    pub fn arrived(&self) -> Vec<Arrived> {
        lock(&self.shared.arrived).clone()
    }

    /// How many connections were made so far.
    pub fn connections(&self) -> usize {
        self.shared.connections.load(Ordering::SeqCst)
    }

    /// Adds to the script.
    pub fn next(&self, fault: Fault) {
        lock(&self.shared.script).push_back(fault);
    }
}

impl Drop for SmtpSink {
    fn drop(&mut self) {
        self.shared.closed.store(true, Ordering::SeqCst);
        // Wakes the listener, so that its thread sees the flag and frees the port.
        drop(TcpStream::connect(("127.0.0.1", self.port)));
    }
}

/// The port of a relay that is down: held, so that nobody else listens there, and refusing.
pub struct Gone {
    pub port: u16,
    _socket: tokio::net::TcpSocket,
}

impl Gone {
    pub fn hold() -> Gone {
        let socket = tokio::net::TcpSocket::new_v4().expect("a socket");
        socket.bind(([127, 0, 0, 1], 0).into()).expect("a free port");
        // Without listening, every connection is refused.
        Gone { port: socket.local_addr().expect("an address").port(), _socket: socket }
    }
}

/// A relay whose computer is there and takes no connection: what is asked of it stays without an answer.
pub struct Deaf {
    pub port: u16,
    _listener: tokio::net::TcpListener,
    _waiting: Vec<TcpStream>,
}

impl Deaf {
    /// Needs a runtime around it.
    pub fn hold() -> Deaf {
        let socket = tokio::net::TcpSocket::new_v4().expect("a socket");
        socket.bind(([127, 0, 0, 1], 0).into()).expect("a free port");
        let listener = socket.listen(1).expect("listening");
        let address = listener.local_addr().expect("an address");
        // Nobody takes these, and once the queue is full the system drops what comes.
        let connect = |_| TcpStream::connect_timeout(&address, Duration::from_millis(200)).ok();
        let waiting = (0..8).map_while(connect).collect();
        Deaf { port: address.port(), _listener: listener, _waiting: waiting }
    }
}

fn converse(stream: TcpStream, fault: &Fault, shared: &Shared) -> io::Result<()> {
    stream.set_read_timeout(Some(Duration::from_secs(30)))?;
    let mut lines = BufReader::new(stream.try_clone()?);
    let say = |text: &str| (&stream).write_all(format!("{text}\r\n").as_bytes());
    if matches!(fault, Fault::NotNow) {
        return say("421 not now");
    }
    if let Fault::StallAt("", pause) = fault {
        thread::sleep(*pause);
    }
    say("220 sink")?;
    let (mut from, mut to, mut greylisted) = (String::new(), Vec::new(), false);
    loop {
        let line = read_line(&mut lines)?;
        let address = || line.split('<').nth(1).and_then(|rest| rest.split('>').next()).unwrap_or_default().to_string();
        let verb = line.split([' ', ':']).next().unwrap_or_default().to_ascii_uppercase();
        match fault {
            Fault::StallAt(at, pause) if *at == verb => thread::sleep(*pause),
            Fault::GoodbyeAt(at) if *at == verb => return say("421 shutting down"),
            _ => {}
        }
        match verb.as_str() {
            "EHLO" if matches!(fault, Fault::RefuseTls) => say("250-sink\r\n250 STARTTLS")?,
            "STARTTLS" => say("454 4.7.0 no encryption just now")?,
            "EHLO" if matches!(fault, Fault::RefuseSignIn) => say("250-sink\r\n250 AUTH PLAIN")?,
            "EHLO" | "NOOP" | "RSET" => say("250 sink")?,
            "AUTH" => say("535 5.7.8 wrong password")?,
            "MAIL" if matches!(fault, Fault::RefuseSender) => say("550 5.7.1 not from you")?,
            "MAIL" => {
                (from, to) = (address(), Vec::new());
                say("250 ok")?;
            }
            "RCPT" => match fault {
                Fault::RefuseRecipient(refused) if *refused == address() => say("550 5.1.1 no such person")?,
                Fault::Greylist if !greylisted => {
                    greylisted = true;
                    say("450 4.7.1 come back later")?;
                }
                _ => {
                    to.push(address());
                    say("250 ok")?;
                }
            },
            "DATA" => {
                if let Fault::StallBeforeMessage(pause) = fault {
                    thread::sleep(*pause);
                    return Ok(());
                }
                say("354 go on")?;
                match fault {
                    Fault::StallWithinMessage(pause) => {
                        thread::sleep(*pause);
                        return Ok(());
                    }
                    Fault::DropWithinMessage => return read_line(&mut lines).map(drop),
                    _ => {}
                }
                let body = read_message(&mut lines)?;
                let keep = || {
                    let mail = Arrived { from: from.clone(), to: to.clone(), body: body.clone() };
                    lock(&shared.arrived).push(mail);
                };
                match fault {
                    Fault::RefuseMessage => say("554 5.6.0 not like this")?,
                    Fault::DropAfterDotLosing => return Ok(()),
                    Fault::DropAfterDotKeeping => {
                        keep();
                        return Ok(());
                    }
                    Fault::GoodbyeAfterDot => {
                        keep();
                        return say("421 shutting down");
                    }
                    Fault::StallAfterDot(pause) => {
                        keep();
                        thread::sleep(*pause);
                        say("250 at last")?;
                    }
                    _ => {
                        keep();
                        say("250 taken")?;
                    }
                }
            }
            "QUIT" => return say("221 goodbye"),
            _ => say("500 what?")?,
        }
    }
}

fn read_line(lines: &mut BufReader<TcpStream>) -> io::Result<String> {
    let mut line = String::new();
    match lines.read_line(&mut line)? {
        0 => Err(io::ErrorKind::UnexpectedEof.into()),
        _ => Ok(line.trim_end_matches(['\r', '\n']).to_string()),
    }
}

fn read_message(lines: &mut BufReader<TcpStream>) -> io::Result<String> {
    let mut body = String::new();
    loop {
        let line = read_line(lines)?;
        if line == "." {
            return Ok(body);
        }
        body.push_str(line.strip_prefix('.').unwrap_or(&line));
        body.push_str("\r\n");
    }
}
