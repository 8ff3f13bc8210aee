//! To whom a mail and its password are given: handshakes with a relay on this machine that shows good and bad
//! certificates.

mod support;

use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use support::feed::Feed;
use support::installation::{GARDEN, Installation, Ran, at, service};
use support::weather_documents::Weather;

const PASSWORD: &str = "hunter2-correct-horse";

#[derive(Clone, Copy, PartialEq, Eq)]
enum Greeting {
    /// TLS from the first byte.
    Implicit,
    /// Offers STARTTLS.
    StartTls,
    /// Offers no TLS, as when somebody on the way takes the offer out.
    Stripped,
}

/// A relay with a certificate, and every command it was given.
struct Relay {
    port: u16,
    said: Arc<Mutex<Vec<String>>>,
}

fn tls_file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/tls").join(name)
}

impl Relay {
    fn start(certificate: &str, greeting: Greeting) -> Relay {
        let chain = vec![CertificateDer::from_pem_file(tls_file(certificate)).expect("a certificate")];
        let key = PrivateKeyDer::from_pem_file(tls_file("relay.key")).expect("a key");
        let tls =
            ServerConfig::builder().with_no_client_auth().with_single_cert(chain, key).expect("they belong together");
        let (tls, said) = (Arc::new(tls), Arc::new(Mutex::new(Vec::new())));
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let relay = Relay { port: listener.local_addr().expect("an address").port(), said: said.clone() };
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                stream.set_read_timeout(Some(Duration::from_secs(20))).expect("set");
                let (tls, said) = (tls.clone(), said.clone());
                // A client that hangs up is what these tests are about.
                std::thread::spawn(move || serve(stream, greeting, tls, &said).ok());
            }
        });
        relay
    }

    fn said(&self) -> String {
        self.said.lock().expect("no panic elsewhere").join("\n")
    }
}

fn serve(
    mut stream: TcpStream,
    greeting: Greeting,
    tls: Arc<ServerConfig>,
    said: &Mutex<Vec<String>>,
) -> std::io::Result<()> {
    let encrypted = |stream: TcpStream| {
        let connection = ServerConnection::new(tls).map_err(std::io::Error::other)?;
        Ok::<_, std::io::Error>(StreamOwned::new(connection, stream))
    };
    match greeting {
        Greeting::Implicit => {
            let mut stream = encrypted(stream)?;
            stream.write_all(b"220 relay\r\n")?;
            converse(stream, "250 AUTH PLAIN LOGIN", said).map(drop)
        }
        Greeting::Stripped => {
            stream.write_all(b"220 relay\r\n")?;
            converse(stream, "250 AUTH PLAIN LOGIN", said).map(drop)
        }
        Greeting::StartTls => {
            stream.write_all(b"220 relay\r\n")?;
            let stream = converse(stream, "250 STARTTLS", said)?;
            converse(encrypted(stream)?, "250 AUTH PLAIN LOGIN", said).map(drop)
        }
    }
}

/// Answers commands until the end, or until both sides agree to begin with TLS.
fn converse<Stream: Read + Write>(stream: Stream, offer: &str, said: &Mutex<Vec<String>>) -> std::io::Result<Stream> {
    let mut stream = BufReader::new(stream);
    loop {
        let mut line = String::new();
        if stream.read_line(&mut line)? == 0 {
            return Ok(stream.into_inner());
        }
        said.lock().expect("no panic elsewhere").push(line.trim_end().into());
        let answer = match line.split([' ', '\r']).next().unwrap_or_default() {
            "EHLO" => format!("250-relay\r\n{offer}\r\n"),
            "AUTH" => "235 welcome\r\n".into(),
            "STARTTLS" => "220 go on\r\n".into(),
            "DATA" => {
                stream.get_mut().write_all(b"354 go on\r\n")?;
                let mut body = String::new();
                while !body.ends_with("\r\n.\r\n") {
                    if stream.read_line(&mut body)? == 0 {
                        return Ok(stream.into_inner());
                    }
                }
                "250 taken\r\n".into()
            }
            "QUIT" => "221 bye\r\n".into(),
            _ => "250 yes\r\n".into(),
        };
        stream.get_mut().write_all(answer.as_bytes())?;
        if line.starts_with("STARTTLS") {
            return Ok(stream.into_inner());
        }
    }
}

/// One evening's mail through a relay, by a machine that trusts one authority.
fn evening(relay: &Relay, tls: &str, trusts: &str) -> (Ran, Installation) {
    let feed = Feed::with(Weather::of_low(-4.0, at("2027-01-16T15:00:00Z")));
    let port = relay.port;
    let delivery = format!(
        "[mail.smtp]\nserver = \"localhost\"\nport = {port}\ntls = \"{tls}\"\nuser = \"frost\"\npassword_file = \"secret\""
    );
    let garden = Installation::with(&service(&[("grid", "nws", &feed.base)], &delivery), GARDEN);
    garden.write("secret", &format!("{PASSWORD}\n"));
    let mut command = garden.command(&["run", "--once", "--patience", "5", "--now", "2027-01-16T13:00:10-05:00"]);
    // The only authority there is.
    command.env("SSL_CERT_FILE", tls_file(trusts)).env_remove("SSL_CERT_DIR");
    (command.env("COUNTERPANE_LOG", "trace").output().expect("the program starts").into(), garden)
}

#[test]
fn a_relay_that_a_trusted_authority_vouches_for_is_given_the_mail() {
    for (tls, greeting) in [("implicit", Greeting::Implicit), ("starttls", Greeting::StartTls)] {
        let relay = Relay::start("relay.pem", greeting);
        let (ran, garden) = evening(&relay, tls, "authority.pem");
        let ran = ran.ended_with(0);
        assert_eq!(garden.asked("SELECT DISTINCT state FROM outbox"), ["sent"], "{tls}");
        assert!(relay.said().contains("AUTH PLAIN"), "{tls}: {}", relay.said());
        // Not even the most talkative log repeats the password, as text or as it is sent.
        for secret in [PASSWORD, "AGZyb3N0AGh1bnRlcjItY29ycmVjdC1ob3JzZQ"] {
            assert!(!ran.err.contains(secret) && !ran.out.contains(secret), "{tls}: {}", ran.err);
        }
        assert!(relay.said().contains("AGZyb3N0AGh1bnRlcjItY29ycmVjdC1ob3JzZQ"), "{}", relay.said());
    }
}

#[test]
fn a_relay_with_a_bad_certificate_is_told_neither_password_nor_mail() {
    for (certificate, trusts) in [
        ("self-signed.pem", "authority.pem"),
        ("another-host.pem", "authority.pem"),
        ("expired.pem", "authority.pem"),
        ("relay.pem", "self-signed.pem"),
    ] {
        for (tls, greeting) in [("implicit", Greeting::Implicit), ("starttls", Greeting::StartTls)] {
            let relay = Relay::start(certificate, greeting);
            let (ran, garden) = evening(&relay, tls, trusts);
            let ran = ran.ended_with(5);
            let case = format!("{certificate}, {tls}, trusting {trusts}");
            assert_eq!(garden.asked("SELECT DISTINCT state FROM outbox"), ["waiting"], "{case}");
            for word in ["AUTH", "MAIL", "RCPT", "DATA"] {
                assert!(!relay.said().contains(word), "{case}: {}", relay.said());
            }
            assert!(ran.err.contains("certificate"), "{case}: {}", ran.err);
            assert!(!ran.err.contains(PASSWORD), "{case}");
        }
    }
}

#[test]
fn a_relay_whose_offer_of_encryption_was_taken_out_is_told_nothing() {
    let relay = Relay::start("relay.pem", Greeting::Stripped);
    let (ran, _) = evening(&relay, "starttls", "authority.pem");
    let ran = ran.ended_with(5);
    assert!(ran.err.contains("does not offer STARTTLS"), "{}", ran.err);
    assert!(!relay.said().contains("AUTH") && !relay.said().contains("MAIL"), "{}", relay.said());
}
