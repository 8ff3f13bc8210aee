//! A weather service inside the test. What it answers can be changed between two requests.

use super::weather_documents::Weather;
use std::collections::VecDeque;
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
    /// A status line's code with its words, and the header lines.
    Headers(&'static str, &'static str),
    /// The forecast's length announced, and half of it sent.
    Half(Weather),
    /// Weather, for a place that has no grid: the look-up gives null.
    Sea,
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
    /// Answers to be given first, once each.
    script: Mutex<VecDeque<Answer>>,
    /// The grid's cell that covers the place.
    cell: Mutex<&'static str>,
    old_cell: Mutex<Option<Weather>>,
    requests: AtomicUsize,
    /// Of those, the ones for a forecast.
    forecasts: AtomicUsize,
    closed: AtomicBool,
}

impl Feed {
    pub fn start(answer: Answer) -> Feed {
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a free port");
        let port = listener.local_addr().expect("an address").port();
        let shared = Arc::new(Shared {
            answer: Mutex::new(answer),
            script: Mutex::default(),
            cell: Mutex::new("12,34"),
            old_cell: Mutex::default(),
            requests: AtomicUsize::new(0),
            forecasts: AtomicUsize::new(0),
            closed: false.into(),
        });
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

    /// Answers the next requests for a forecast by these, one each.
    pub fn set_script(&self, answers: Vec<Answer>) {
        *self.shared.script.lock().expect("no panic elsewhere") = answers.into();
    }

    /// The place lies in another cell from now on, and the one before is gone.
    pub fn move_cell(&self, cell: &'static str) {
        *self.shared.cell.lock().expect("no panic elsewhere") = cell;
    }

    /// What the cell that the place lay in before has now.
    pub fn serve_old_cell(&self, weather: Weather) {
        *self.shared.old_cell.lock().expect("no panic elsewhere") = Some(weather);
    }

    /// How many requests for a forecast came so far.
    pub fn forecasts(&self) -> usize {
        self.shared.forecasts.load(Ordering::SeqCst)
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
    let is_look_up = path.starts_with("/points/");
    let cell = *shared.cell.lock().expect("no panic elsewhere");
    let mut answer = shared.answer.lock().expect("no panic elsewhere").clone();
    if !is_look_up {
        shared.forecasts.fetch_add(1, Ordering::SeqCst);
        if let Some(first) = shared.script.lock().expect("no panic elsewhere").pop_front() {
            answer = first;
        }
    }
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
        Answer::Sea if is_look_up => send("200 OK", json, br#"{"properties": {"forecastGridData": null}}"#),
        _ if is_look_up => {
            let grid = format!("http://127.0.0.1:{port}/gridpoints/XXX/{cell}");
            send("200 OK", json, format!(r#"{{"properties": {{"forecastGridData": "{grid}"}}}}"#).as_bytes());
        }
        _ if path.starts_with("/gridpoints/") && !path.ends_with(cell) => {
            match *shared.old_cell.lock().expect("no panic elsewhere") {
                Some(weather) => send("200 OK", json, weather.nws().as_bytes()),
                None => send("404 Not Found", json, b"{}"),
            }
        }
        Answer::Weather(weather) if path.starts_with("/gridpoints/") => send("200 OK", json, weather.nws().as_bytes()),
        Answer::Weather(weather) if path.starts_with("/weatherapi/locationforecast/") => {
            send("200 OK", json, weather.met_norway().as_bytes());
        }
        Answer::Weather(_) | Answer::Sea => send("404 Not Found", json, b"{}"),
        Answer::Headers(status, headers) => send(status, headers, b""),
        Answer::Half(weather) => {
            let body = weather.nws();
            let head = format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n{json}\r\n", body.len());
            stream.write_all(&[head.as_bytes(), &body.as_bytes()[..body.len() / 2]].concat()).ok();
        }
        Answer::Status(status, body) => send(status, json, body.as_bytes()),
        Answer::Bytes(headers, body) => send("200 OK", headers, &body),
    }
}
