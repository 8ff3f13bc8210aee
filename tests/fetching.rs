//! What a feed's server can do to us, played by a small server on this machine.

use chrono::{DateTime, Utc};
use counterpane::service::feed::{
    CellForecast, Conditions, FeedFault, FetchLimits, Fetched, Fetcher, Location, Question, hourly_arrays_address,
    met_norway_address, nws_grid_address,
};
use counterpane::weather::Provider;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

type Outcome = Result<(), Box<dyn std::error::Error>>;

const FORECAST: &str = include_str!("feeds/nws_frost_night.json");

/// A server that answers each request, given as its head, with what a script writes, and then hangs up.
struct Server {
    base: Location,
    heads: Arc<Mutex<Vec<String>>>,
    /// Bytes the client let us send.
    sent: Arc<AtomicUsize>,
}

/// One connection, counting what gets through.
struct Line {
    stream: TcpStream,
    sent: Arc<AtomicUsize>,
}

impl Line {
    /// Whether the client still takes it.
    fn send(&mut self, bytes: &[u8]) -> bool {
        let taken = self.stream.write_all(bytes).is_ok();
        if taken {
            self.sent.fetch_add(bytes.len(), Ordering::SeqCst);
        }
        taken
    }

    fn answer(&mut self, status: &str, headers: &[&str], body: &[u8]) {
        let headers: String = headers.iter().map(|header| format!("{header}\r\n")).collect();
        let head = format!("HTTP/1.1 {status}\r\nContent-Length: {}\r\nConnection: close\r\n{headers}\r\n", body.len());
        self.send(&[head.as_bytes(), body].concat());
    }
}

fn serve(script: impl Fn(&str, &mut Line) + Send + 'static) -> Result<Server, Box<dyn std::error::Error>> {
    let listener = TcpListener::bind("127.0.0.1:0")?;
    let base = format!("http://{}", listener.local_addr()?).parse()?;
    let (heads, sent) = (Arc::new(Mutex::new(Vec::new())), Arc::new(AtomicUsize::new(0)));
    let server = Server { base, heads: heads.clone(), sent: sent.clone() };
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let Ok(reading) = stream.try_clone() else { return };
            let head: String = BufReader::new(reading)
                .lines()
                .map_while(Result::ok)
                .take_while(|line| !line.is_empty())
                .map(|line| line + "\n")
                .collect();
            let Ok(mut heads) = heads.lock() else { return };
            heads.push(head.clone());
            drop(heads);
            script(&head, &mut Line { stream, sent: sent.clone() });
        }
    });
    Ok(server)
}

impl Server {
    fn at(&self, path: &str) -> Result<Location, Box<dyn std::error::Error>> {
        Ok(format!("{}{path}", self.base).parse()?)
    }

    async fn fetched(&self) -> Result<Fetched, FeedFault> {
        fetcher().fetch(&self.base, &Conditions::default(), now()).await
    }

    fn requests(&self) -> Vec<String> {
        self.heads.lock().map(|heads| heads.clone()).unwrap_or_default()
    }
}

fn fetcher() -> Fetcher {
    fetcher_within(FetchLimits::default())
}

fn fetcher_within(limits: FetchLimits) -> Fetcher {
    match Fetcher::with_limits("tends@garden.example", limits) {
        Ok(fetcher) => fetcher,
        Err(fault) => panic!("{fault}"),
    }
}

fn now() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + chrono::Duration::days(20_468)
}

#[tokio::test]
async fn a_document_comes_whole_with_what_it_says_about_asking_again() -> Outcome {
    let server = serve(|_, line| {
        let headers = ["ETag: \"v1\"", "Last-Modified: Thu, 15 Jan 2026 19:42:10 GMT", "Cache-Control: max-age=1800"];
        line.answer("200 OK", &headers, FORECAST.as_bytes());
    })?;
    let Fetched::Fresh { body, conditions } = server.fetched().await? else { panic!("not fresh") };
    assert_eq!(body, FORECAST.as_bytes());
    assert_eq!(conditions.etag.as_deref(), Some("\"v1\""));
    assert_eq!(conditions.last_modified.as_deref(), Some("Thu, 15 Jan 2026 19:42:10 GMT"));
    assert_eq!(conditions.expires, Some(now() + chrono::Duration::seconds(1800)));
    let head = server.requests().concat().to_ascii_lowercase();
    assert!(head.contains("user-agent: counterpane/") && head.contains("(tends@garden.example)"), "{head}");
    assert!(head.contains("accept-encoding: gzip"), "{head}");
    Ok(())
}

#[tokio::test]
async fn what_was_stored_is_sent_back_unchanged_and_304_keeps_it() -> Outcome {
    let server = serve(|_, line| line.answer("304 Not Modified", &["Cache-Control: max-age=60"], b""))?;
    // Neither the spelling of the date nor its day of the week is right; it is theirs, and goes back as it came.
    let stored = Conditions {
        etag: Some("W/\"v1\"".into()),
        last_modified: Some("Fri, 5 Jan 2026 9:42:10 GMT".into()),
        expires: None,
    };
    let answer = fetcher().fetch(&server.base, &stored, now()).await?;
    let expires = Some(now() + chrono::Duration::seconds(60));
    assert_eq!(answer, Fetched::NotModified { conditions: Conditions { expires, ..stored } });
    let head = server.requests().concat().to_ascii_lowercase();
    assert!(head.contains("if-modified-since: fri, 5 jan 2026 9:42:10 gmt\n"), "{head}");
    assert!(head.contains("if-none-match: w/\"v1\"\n"), "{head}");
    // To a request without conditions, 304 is no answer.
    assert!(matches!(server.fetched().await, Err(FeedFault::NotTheFormat { .. })));
    Ok(())
}

#[tokio::test]
async fn an_announced_flood_is_refused_before_it_flows() -> Outcome {
    // Only announced: a client that waits for the flood finds the line dead instead.
    let server = serve(|_, line| {
        line.send(b"HTTP/1.1 200 OK\r\nContent-Length: 200000000\r\n\r\n");
    })?;
    assert_eq!(server.fetched().await, Err(FeedFault::TooLarge { limit: 2 * 1024 * 1024 }));
    Ok(())
}

#[tokio::test]
async fn an_unannounced_flood_is_cut_off() -> Outcome {
    let server = serve(|_, line| {
        line.send(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n");
        let piece = [b"10000\r\n".as_slice(), &[b'7'; 65_536], b"\r\n"].concat();
        for _ in 0..3_000 {
            if !line.send(&piece) {
                return;
            }
        }
    })?;
    assert_eq!(server.fetched().await, Err(FeedFault::TooLarge { limit: 2 * 1024 * 1024 }));
    assert!(server.sent.load(Ordering::SeqCst) < 20_000_000, "too much was let in");
    Ok(())
}

#[tokio::test]
async fn a_small_gzip_that_becomes_huge_is_cut_off() -> Outcome {
    let mut bomb = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    let piece = vec![b' '; 1_000_000];
    for _ in 0..40 {
        bomb.write_all(&piece)?;
    }
    let bomb = bomb.finish()?;
    assert!(bomb.len() < 300_000, "the bomb is itself too long: {}", bomb.len());
    let server = serve(move |_, line| line.answer("200 OK", &["Content-Encoding: gzip"], &bomb))?;
    assert_eq!(server.fetched().await, Err(FeedFault::TooLarge { limit: 2 * 1024 * 1024 }));
    Ok(())
}

#[tokio::test]
async fn a_compressed_document_is_unpacked_and_a_damaged_one_is_unreachable() -> Outcome {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packed.write_all(FORECAST.as_bytes())?;
    let packed = packed.finish()?;
    let half = packed[..packed.len() / 2].to_vec();
    let server = serve(move |head, line| {
        let body = if head.contains("/half") { &half } else { &packed };
        line.answer("200 OK", &["Content-Encoding: gzip"], body);
    })?;
    let Fetched::Fresh { body, .. } = server.fetched().await? else { panic!("not fresh") };
    assert_eq!(body, FORECAST.as_bytes());
    let half = fetcher().fetch(&server.at("half")?, &Conditions::default(), now()).await;
    assert!(matches!(half, Err(FeedFault::Unreachable { .. })), "{half:?}");
    Ok(())
}

#[tokio::test]
async fn a_body_that_breaks_off_is_no_document() -> Outcome {
    let server = serve(|_, line| {
        line.send(b"HTTP/1.1 200 OK\r\nContent-Length: 5000\r\n\r\n{\"properties\": {");
    })?;
    assert!(matches!(server.fetched().await, Err(FeedFault::Unreachable { .. })));
    Ok(())
}

#[tokio::test]
async fn each_status_has_its_fault() -> Outcome {
    let problem = br#"{"correlationId": "1a2b", "title": "Forecast Grid Expired", "status": 503,
        "detail": "The requested forecast grid was issued too long ago."}"#;
    let five = Some(Duration::from_secs(5));
    for (status, header, expected) in [
        ("404 Not Found", "X: y", FeedFault::Moved { to: None }),
        ("410 Gone", "X: y", FeedFault::Moved { to: None }),
        ("429 Too Many Requests", "Retry-After: 5", FeedFault::Throttled { retry_after: five }),
        ("429 Too Many Requests", "X: y", FeedFault::Throttled { retry_after: None }),
        ("204 No Content", "X: y", FeedFault::Empty),
        (
            "503 Service Unavailable",
            "Retry-After: 5",
            FeedFault::Unavailable {
                status: 503,
                retry_after: five,
                detail: "The requested forecast grid was issued too long ago.".into(),
            },
        ),
        (
            "403 Forbidden",
            "X: y",
            FeedFault::Refused { reason: "status 403: The requested forecast grid was issued too long ago.".into() },
        ),
    ] {
        let server = serve(move |_, line| line.answer(status, &[header], problem))?;
        assert_eq!(server.fetched().await, Err(expected), "{status}");
    }
    Ok(())
}

#[tokio::test]
async fn status_203_is_taken() -> Outcome {
    let server = serve(|_, line| line.answer("203 Non-Authoritative Information", &[], FORECAST.as_bytes()))?;
    assert!(matches!(server.fetched().await?, Fetched::Fresh { .. }));
    Ok(())
}

#[tokio::test]
async fn a_web_page_and_an_empty_answer_are_named() -> Outcome {
    let page = include_bytes!("feeds/page_in_place_of_a_forecast.html");
    for content_type in ["Content-Type: text/html; charset=utf-8", "Content-Type: application/json", "X: y"] {
        let server = serve(move |_, line| line.answer("200 OK", &[content_type], page))?;
        let Err(FeedFault::Refused { reason }) = server.fetched().await else { panic!("{content_type}: not refused") };
        assert!(reason.contains("web page"), "{reason}");
    }
    let server = serve(|_, line| line.answer("200 OK", &[], b" \r\n"))?;
    assert_eq!(server.fetched().await, Err(FeedFault::Empty));
    Ok(())
}

#[tokio::test]
async fn a_redirect_is_followed_at_home_three_times_and_never_abroad() -> Outcome {
    let abroad = serve(|_, line| line.answer("200 OK", &[], FORECAST.as_bytes()))?;
    let elsewhere = format!("Location: {}", abroad.at("grid")?);
    let server = serve(move |head, line| {
        let (status, location) = match head.split(' ').nth(1) {
            Some("/abroad") => ("301 Moved Permanently", elsewhere.as_str()),
            Some("/once") => ("301 Moved Permanently", "Location: /grid"),
            Some("/round") => ("302 Found", "Location: /round"),
            _ => ("200 OK", "X: y"),
        };
        line.answer(status, &[location], FORECAST.as_bytes());
    })?;
    let ask = async |path: &str| -> Result<_, Box<dyn std::error::Error>> {
        Ok(fetcher().fetch(&server.at(path)?, &Conditions::default(), now()).await)
    };
    assert!(matches!(ask("once").await?, Ok(Fetched::Fresh { .. })));
    assert_eq!(ask("abroad").await?, Err(FeedFault::Moved { to: Some(abroad.at("grid")?.to_string()) }));
    assert!(abroad.requests().is_empty(), "the other server was asked");
    let before = server.requests().len();
    assert!(matches!(ask("round").await?, Err(FeedFault::Moved { .. })));
    assert_eq!(server.requests().len() - before, 4);
    Ok(())
}

#[tokio::test]
async fn a_stall_ends_in_time_and_says_so() -> Outcome {
    let server = serve(|head, line| {
        let head = match head.contains("/early") {
            true => b"".as_slice(),
            false => b"HTTP/1.1 200 OK\r\nContent-Length: 500\r\n\r\n{",
        };
        line.send(head);
        std::thread::sleep(Duration::from_secs(2));
    })?;
    let limits = FetchLimits { read: Duration::from_millis(200), ..FetchLimits::default() };
    for path in ["early", "late"] {
        let start = Instant::now();
        let answer = fetcher_within(limits).fetch(&server.at(path)?, &Conditions::default(), now()).await;
        let Err(FeedFault::Unreachable { reason }) = answer else { panic!("{path}: {answer:?}") };
        assert!(reason.contains("in time"), "{reason}");
        assert!(start.elapsed() < Duration::from_secs(5), "{path}: {:?}", start.elapsed());
    }
    Ok(())
}

#[tokio::test]
async fn slow_drops_end_with_the_total_time() -> Outcome {
    let server = serve(|_, line| {
        line.send(b"HTTP/1.1 200 OK\r\nContent-Length: 500\r\n\r\n");
        while line.send(b" ") {
            std::thread::sleep(Duration::from_millis(50));
        }
    })?;
    let limits = FetchLimits { total: Duration::from_millis(400), ..FetchLimits::default() };
    let start = Instant::now();
    let answer = fetcher_within(limits).fetch(&server.base, &Conditions::default(), now()).await;
    assert!(matches!(answer, Err(FeedFault::Unreachable { .. })), "{answer:?}");
    assert!(start.elapsed() < Duration::from_secs(5));
    Ok(())
}

#[tokio::test]
async fn nobody_listening_is_unreachable_and_worth_another_try() -> Outcome {
    let closed = TcpListener::bind("127.0.0.1:0")?.local_addr()?;
    let location = format!("http://{closed}/").parse()?;
    let Err(fault) = fetcher().fetch(&location, &Conditions::default(), now()).await else { panic!("answered") };
    assert!(fault.worth_another_try() && fault.to_string().contains("refused"), "{fault}");
    Ok(())
}

#[tokio::test]
async fn the_grid_of_a_place_is_looked_up_and_must_be_at_home() -> Outcome {
    let server = serve(|head, line| {
        let host = head.lines().find_map(|line| line.strip_prefix("host: ")).unwrap_or_default();
        let grid = match head.split(' ').nth(1) {
            Some("/points/35.5951,-82.5") => format!("http://{host}/gridpoints/XXX/12,34"),
            Some("/points/40,-74") => "https://weather.example/gridpoints/XXX/12,34".into(),
            Some("/points/41,-74") => "/gridpoints/XXX/12,34".into(),
            Some("/points/42,-74") => {
                return line.answer("200 OK", &[], br#"{"properties": {"forecastGridData": null, "gridX": null}}"#);
            }
            _ => return line.answer("404 Not Found", &[], b""),
        };
        line.answer("200 OK", &[], format!(r#"{{"properties": {{"forecastGridData": "{grid}"}}}}"#).as_bytes());
    })?;
    let fetcher = fetcher();
    let grid = nws_grid_address(&fetcher, &server.base, 35.595058, -82.5, now()).await?;
    assert_eq!(grid, server.at("gridpoints/XXX/12,34")?.to_string());
    for latitude in [40.0, 41.0] {
        let elsewhere = nws_grid_address(&fetcher, &server.base, latitude, -74.0, now()).await;
        assert!(matches!(elsewhere, Err(FeedFault::Moved { to: Some(_) })), "{elsewhere:?}");
    }
    // Neither does a place in the sea have a grid, nor one that the service does not know.
    for (latitude, why) in [(42.0, "no grid"), (0.0, "404")] {
        let nowhere = nws_grid_address(&fetcher, &server.base, latitude, -74.0, now()).await;
        let Err(FeedFault::NotCovered { reason }) = nowhere else { panic!("{nowhere:?}") };
        assert!(reason.contains(why), "{reason}");
    }
    Ok(())
}

/// A fetch of the raw grid at a server by one garden, which has nothing at hand.
async fn asked_at(fetcher: &Fetcher, location: &Location, now: DateTime<Utc>) -> Result<CellForecast, FeedFault> {
    let deadline = tokio::time::Instant::now() + Duration::from_secs(20);
    let provider = Provider::NationalWeatherService;
    let question =
        Question { provider: &provider, location, kept: None, now, deadline, spread: Duration::from_secs(3600) };
    fetcher.forecast(&question).await
}

#[tokio::test]
async fn gardens_of_one_cell_share_one_request_until_it_expires() -> Outcome {
    let server = serve(|_, line| {
        std::thread::sleep(Duration::from_millis(50));
        line.answer("200 OK", &["Cache-Control: max-age=1800"], FORECAST.as_bytes());
    })?;
    let (fetcher, cell, other) = (fetcher(), server.at("/gridpoints/XXX/12,34")?, server.at("/gridpoints/XXX/12,35")?);
    let gardens = futures_util::future::join_all((0..20).map(|_| asked_at(&fetcher, &cell, now()))).await;
    assert!(gardens.iter().all(|answer| answer.as_ref().is_ok_and(|answer| answer.forecast.hours.len() > 20)));
    assert_eq!(server.requests().len(), 1);
    // Another cell is another question, and so is this one when its answer has expired.
    asked_at(&fetcher, &other, now()).await?;
    asked_at(&fetcher, &cell, now() + chrono::Duration::minutes(29)).await?;
    assert_eq!(server.requests().len(), 2);
    asked_at(&fetcher, &cell, now() + chrono::Duration::minutes(31)).await?;
    assert_eq!(server.requests().len(), 3);
    Ok(())
}

#[tokio::test]
async fn gardens_that_wait_together_share_a_failure_and_the_next_asks_anew() -> Outcome {
    let server = serve(|_, line| {
        std::thread::sleep(Duration::from_millis(50));
        line.answer("404 Not Found", &[], b"");
    })?;
    let (fetcher, cell) = (fetcher(), server.at("/gridpoints/XXX/12,34")?);
    let gardens = futures_util::future::join_all((0..20).map(|_| asked_at(&fetcher, &cell, now()))).await;
    assert!(gardens.iter().all(|answer| matches!(answer, Err(FeedFault::Moved { .. }))), "{gardens:?}");
    assert_eq!(server.requests().len(), 1);
    assert!(asked_at(&fetcher, &cell, now()).await.is_err());
    assert_eq!(server.requests().len(), 2);
    Ok(())
}

#[tokio::test]
async fn a_provider_that_asks_for_silence_is_left_alone_by_every_garden() -> Outcome {
    let server = serve(|_, line| line.answer("429 Too Many Requests", &["Retry-After: 1800"], b""))?;
    let other = serve(|_, line| line.answer("200 OK", &[], FORECAST.as_bytes()))?;
    let (fetcher, one, another) = (fetcher(), server.at("/gridpoints/XXX/1,1")?, server.at("/gridpoints/XXX/2,2")?);
    let half_an_hour = Duration::from_secs(1800);
    assert!(matches!(asked_at(&fetcher, &one, now()).await, Err(FeedFault::Throttled { retry_after: Some(wait) })
        if wait == half_an_hour));
    for location in [&one, &another] {
        let later = now() + chrono::Duration::minutes(29);
        let Err(FeedFault::Throttled { retry_after: Some(wait) }) = asked_at(&fetcher, location, later).await else {
            panic!("{location:?} was asked")
        };
        assert!(wait <= half_an_hour, "{wait:?}");
    }
    assert_eq!(server.requests().len(), 1);
    // Another provider did not ask for it, and no silence is for ever.
    assert!(asked_at(&fetcher, &other.base, now()).await.is_ok());
    asked_at(&fetcher, &another, now() + chrono::Duration::minutes(31)).await.err();
    assert_eq!(server.requests().len(), 2);
    Ok(())
}

#[tokio::test]
async fn a_short_silence_is_waited_for_within_one_look() -> Outcome {
    let asked = AtomicUsize::new(0);
    let server = serve(move |_, line| match asked.fetch_add(1, Ordering::SeqCst) {
        0 => line.answer("429 Too Many Requests", &["Retry-After: 1"], b""),
        _ => line.answer("200 OK", &[], FORECAST.as_bytes()),
    })?;
    let start = Instant::now();
    asked_at(&fetcher(), &server.base, now()).await?;
    assert!(start.elapsed() >= Duration::from_secs(1) && server.requests().len() == 2);
    Ok(())
}

#[tokio::test]
async fn what_has_not_changed_is_kept_and_shared_with_gardens_that_have_nothing() -> Outcome {
    let server = serve(|head, line| match head.contains("if-none-match: \"v1\"") {
        true => line.answer("304 Not Modified", &["ETag: \"v1\"", "Cache-Control: max-age=600"], b""),
        false => line.answer("200 OK", &["ETag: \"v1\""], FORECAST.as_bytes()),
    })?;
    let fetcher = fetcher();
    let first = asked_at(&fetcher, &server.base, now()).await?;
    let later = now() + chrono::Duration::minutes(20);
    let question = Question {
        provider: &Provider::NationalWeatherService,
        location: &server.base,
        kept: Some((&first.forecast, &first.conditions)),
        now: later,
        deadline: tokio::time::Instant::now() + Duration::from_secs(20),
        spread: Duration::ZERO,
    };
    let kept = fetcher.forecast(&question).await?;
    assert_eq!(kept.forecast, first.forecast);
    let in_ten_minutes = |expires: DateTime<Utc>| (expires - later).num_seconds().abs_diff(600) < 20;
    assert!(kept.conditions.expires.is_some_and(in_ten_minutes), "{:?}", kept.conditions);
    assert_eq!(asked_at(&fetcher, &server.base, later).await?.forecast, first.forecast);
    assert_eq!(server.requests().len(), 2);
    Ok(())
}

#[tokio::test]
async fn neighbouring_gardens_ask_for_one_document() -> Outcome {
    let base: Location = "https://weather.example".parse()?;
    for address in [met_norway_address, hourly_arrays_address] {
        let here = address(&base, 35.5951, -82.5512, Some(652.0))?;
        assert_eq!(here, address(&base, 35.5979, -82.5531, Some(648.5))?);
        assert_ne!(here, address(&base, 35.6151, -82.5512, Some(652.0))?);
        assert_ne!(here, address(&base, 35.5951, -82.5512, Some(670.0))?);
    }
    Ok(())
}

#[tokio::test]
async fn the_elevation_is_sent_to_met_norway() -> Outcome {
    let server = serve(|_, line| line.answer("200 OK", &[], FORECAST.as_bytes()))?;
    let address = met_norway_address(&server.base, 35.6, -82.5, Some(650.0))?.parse()?;
    fetcher().fetch(&address, &Conditions::default(), now()).await?;
    let asked = server.requests().concat();
    assert!(
        asked.starts_with("GET /weatherapi/locationforecast/2.0/complete?lat=35.6&lon=-82.5&altitude=650 "),
        "{asked}"
    );
    Ok(())
}

#[tokio::test]
async fn a_file_is_read_within_the_same_limit() -> Outcome {
    let folder = tempfile::tempdir()?;
    let place = |name: &str| Location::File(folder.path().join(name));
    std::fs::write(folder.path().join("good.json"), FORECAST)?;
    std::fs::write(folder.path().join("long.json"), vec![b' '; 2 * 1024 * 1024 + 1])?;
    std::fs::write(folder.path().join("empty.json"), "\n")?;
    let ask = async |location: &Location| fetcher().fetch(location, &Conditions::default(), now()).await;
    let body = FORECAST.as_bytes().to_vec();
    assert_eq!(ask(&place("good.json")).await, Ok(Fetched::Fresh { body, conditions: Conditions::default() }));
    assert_eq!(ask(&place("long.json")).await, Err(FeedFault::TooLarge { limit: 2 * 1024 * 1024 }));
    assert_eq!(ask(&place("empty.json")).await, Err(FeedFault::Empty));
    assert_eq!(ask(&place("none.json")).await, Err(FeedFault::Moved { to: None }));
    assert!(matches!(ask(&place("")).await, Err(FeedFault::Unreachable { .. })));
    Ok(())
}

#[tokio::test]
async fn plain_http_to_another_machine_is_refused_even_if_built_by_hand() -> Outcome {
    let Location::Loopback(mut url) = "http://127.0.0.1/".parse()? else { panic!("not loopback") };
    url.set_host(Some("weather.example"))?;
    let ask = async |location: Location| fetcher().fetch(&location, &Conditions::default(), now()).await;
    assert!(matches!(ask(Location::Loopback(url.clone())).await, Err(FeedFault::Refused { .. })));
    let Err(fault) = ask(Location::Https(url)).await else { panic!("asked without encryption") };
    assert!(fault.to_string().contains("scheme"), "{fault}");
    Ok(())
}
