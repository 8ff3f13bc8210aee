//! A weather service inside the test. What it answers can be changed between two requests.

use super::weather_documents::Weather;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// What it answers to whoever asks for a forecast.
#[derive(Clone, Debug)]
pub enum Answer {
    /// In the provider's shape that was asked for.
    Weather(Weather),
    /// A status line's code with its words, and a body.
    Status(&'static str, String),
    /// 200, the header lines and the bytes.
    Bytes(&'static str, Vec<u8>),
    /// Nothing, and the line stays open.
    Silence,
}

/// The service. It stops taking connections when closed or dropped.
pub struct Feed {
    pub base: String,
    port: u16,
    shared: Arc<Shared>,
    listening: Option<JoinHandle<()>>,
}

struct Shared {
    answer: Mutex<Answer>,
    requests: AtomicUsize,
    closed: AtomicBool,
}

impl Feed {
    pub fn start(answer: Answer) -> Feed {
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a free port");
        let port = listener.local_addr().expect("an address").port();
        let shared =
            Arc::new(Shared { answer: Mutex::new(answer), requests: AtomicUsize::new(0), closed: false.into() });
        let serving = Arc::clone(&shared);
        let listening = std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                if serving.closed.load(Ordering::SeqCst) {
                    return;
                }
                let serving = Arc::clone(&serving);
                std::thread::spawn(move || serve(stream, port, &serving));
            }
        });
        Feed { base: format!("http://127.0.0.1:{port}"), port, shared, listening: Some(listening) }
    }

    pub fn with(weather: Weather) -> Feed {
        Feed::start(Answer::Weather(weather))
    }

    pub fn set(&self, answer: Answer) {
        *self.shared.answer.lock().expect("no panic elsewhere") = answer;
    }

    pub fn set_weather(&self, weather: Weather) {
        self.set(Answer::Weather(weather));
    }

    /// How many requests came so far.
    pub fn requests(&self) -> usize {
        self.shared.requests.load(Ordering::SeqCst)
    }

    /// From now on connections are refused.
    pub fn close(&mut self) {
        self.shared.closed.store(true, Ordering::SeqCst);
        // Wakes the listener, so that its thread sees the flag and frees the port.
        drop(TcpStream::connect(("127.0.0.1", self.port)));
        if let Some(listening) = self.listening.take() {
            listening.join().expect("no panic in the feed");
        }
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        self.close();
    }
}

fn serve(mut stream: TcpStream, port: u16, shared: &Shared) {
    let Ok(reading) = stream.try_clone() else { return };
    let head: Vec<String> =
        BufReader::new(reading).lines().map_while(Result::ok).take_while(|line| !line.is_empty()).collect();
    let Some(path) = head.first().and_then(|line| line.split(' ').nth(1)) else { return };
    shared.requests.fetch_add(1, Ordering::SeqCst);
    let answer = shared.answer.lock().expect("no panic elsewhere").clone();
    let json = "Content-Type: application/json\r\n";
    let mut send = |status: &str, headers: &str, body: &[u8]| {
        let head = format!("HTTP/1.1 {status}\r\nContent-Length: {}\r\nConnection: close\r\n{headers}\r\n", body.len());
        // That the client has gone away is what some tests are about.
        stream.write_all(&[head.as_bytes(), body].concat()).ok();
    };
    match answer {
        Answer::Silence => {
            // Longer than any test runs; the line ends with the test.
            std::thread::sleep(Duration::from_secs(300));
        }
        _ if path.starts_with("/points/") => {
            let grid = format!("http://127.0.0.1:{port}/gridpoints/XXX/12,34");
            send("200 OK", json, format!(r#"{{"properties": {{"forecastGridData": "{grid}"}}}}"#).as_bytes());
        }
        Answer::Weather(weather) if path.starts_with("/gridpoints/") => send("200 OK", json, weather.nws().as_bytes()),
        Answer::Weather(weather) if path.starts_with("/weatherapi/locationforecast/") => {
            send("200 OK", json, weather.met_norway().as_bytes());
        }
        Answer::Weather(_) => send("404 Not Found", json, b"{}"),
        Answer::Status(status, body) => send(status, json, body.as_bytes()),
        Answer::Bytes(headers, body) => send("200 OK", headers, &body),
    }
}
