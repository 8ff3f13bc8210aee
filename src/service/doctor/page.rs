//! Does the running service itself say that all is in order, where it was told to offer its page?

use super::{Doctor, Finding};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

impl Doctor<'_> {
    pub(super) async fn page(&self) -> Option<Finding> {
        let port = self.settings.service.signs.healthz_port?;
        let about = format!("service at 127.0.0.1:{port}");
        let asked = async {
            let mut stream = TcpStream::connect(("127.0.0.1", port)).await?;
            stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n").await?;
            let mut answer = Vec::new();
            stream.take(64 << 10).read_to_end(&mut answer).await?;
            Ok::<_, std::io::Error>(String::from_utf8_lossy(&answer).into_owned())
        };
        let mend = "Start the service, or see its log: sudo journalctl -u counterpane";
        Some(match tokio::time::timeout(self.patience, asked).await {
            Err(_) => Finding::wrong(about, "it takes the question and does not answer", mend),
            Ok(Err(error)) => Finding::wrong(about, format!("nobody answers ({error})"), mend),
            Ok(Ok(answer)) if answer.starts_with("HTTP/1.1 200 ") => Finding::ok(about, "it runs, and all is in order"),
            Ok(Ok(answer)) => Finding::wrong(about, format!("it runs, and says {}", troubles(&answer)), mend),
        })
    }
}

/// What the page names as wrong.
fn troubles(answer: &str) -> String {
    let body = answer.split_once("\r\n\r\n").map_or("", |(_, body)| body);
    let document: serde_json::Value = serde_json::from_str(body).unwrap_or_default();
    let troubles = document.get("troubles").and_then(|troubles| troubles.as_array()).cloned().unwrap_or_default();
    let troubles: Vec<&str> = troubles.iter().filter_map(|trouble| trouble.as_str()).collect();
    if troubles.is_empty() { "something else than its page".into() } else { troubles.join(" ") }
}
