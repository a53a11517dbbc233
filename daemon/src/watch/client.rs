//! Follows a server's events. After every loss it reads the whole state again.

use axum::body::Bytes;
use axum::http::{Request, StatusCode, Uri, header};
use futures::StreamExt as _;
use hyper::body::Incoming;
use hyper::client::conn::http1::{SendRequest, handshake};
use hyper_util::rt::TokioIo;
use serde_json::Value;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::sync::mpsc;

/// The server sends a heartbeat every two seconds; silence for this long means that the connection is lost.
const SILENCE: Duration = Duration::from_secs(6);
/// Pause before the next attempt.
const PAUSE: Duration = Duration::from_secs(1);
/// A whole state is not larger than this, bytes.
const STATE_LIMIT: usize = 64 << 20;

/// What the watcher shows next.
#[derive(Debug)]
pub enum Update {
    /// The whole state.
    State(Value),
    /// One event: its tag and data.
    Event(String, Value),
    /// The connection is lost, and why.
    Lost(FollowError),
}

/// Why the server cannot be followed.
#[derive(Debug, thiserror::Error)]
pub enum FollowError {
    /// No connection.
    #[error("{at}: {why}; is peakorderd serve running there?")]
    Connect {
        /// Where.
        at: String,
        /// The reason.
        why: std::io::Error,
    },
    /// The stream of events is silent.
    #[error("the server is silent")]
    Silent,
    /// The stream of events has ended.
    #[error("the server ended")]
    Ended,
    /// A request has no answer.
    #[error("the server does not answer")]
    NoAnswer,
    /// The server refuses; says why.
    #[error("{0}")]
    Refused(String),
    /// The server refuses without a reason.
    #[error("the server answers {0}")]
    Status(StatusCode),
    /// The state is not the expected JSON.
    #[error("the server's state cannot be read: {0}")]
    State(#[from] serde_json::Error),
    /// The pairing link is used up or wrong.
    #[error("this link is not valid any more; use the viewers' link that peakorderd serve printed")]
    Link,
    /// A request cannot be written.
    #[error(transparent)]
    Request(#[from] axum::http::Error),
    /// The connection breaks.
    #[error(transparent)]
    Connection(#[from] hyper::Error),
    /// An answer breaks off.
    #[error(transparent)]
    Body(#[from] axum::Error),
}

/// A text that names no server.
#[derive(Debug, thiserror::Error)]
pub enum AddressError {
    /// Not an address of ours.
    #[error("'{0}' is not an address like http://127.0.0.1:7311/ or a link that peakorderd serve printed")]
    Unknown(String),
    /// An encrypted one.
    #[error("'{0}' is encrypted, which peakorderd watch cannot follow; open it in a browser")]
    Encrypted(String),
}

/// Where the server is, and how to get in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServerAddress {
    /// `host:port`.
    authority: String,
    /// Token of a pairing link.
    token: Option<String>,
}

impl std::str::FromStr for ServerAddress {
    type Err = AddressError;

    fn from_str(text: &str) -> Result<Self, AddressError> {
        let wrong = || AddressError::Unknown(text.to_owned());
        let uri: Uri = text.parse().map_err(|_| wrong())?;
        if uri.scheme_str() == Some("https") {
            return Err(AddressError::Encrypted(text.to_owned()));
        }
        let authority = uri.authority().filter(|_| uri.scheme_str() == Some("http")).ok_or_else(wrong)?;
        let authority =
            if authority.port().is_some() { authority.to_string() } else { format!("{authority}:80") };
        let token = match uri.path().strip_prefix("/pair/") {
            Some(token) => Some(token.to_owned()),
            None if uri.path() == "/" => None,
            None => return Err(wrong()),
        };
        Ok(Self { authority, token })
    }
}

/// Follows `server` until the receiver is gone.
pub async fn follow(server: ServerAddress, to: mpsc::Sender<Update>) {
    let mut follower = Follower { server, cookie: String::new() };
    loop {
        let Err(why) = follower.once(&to).await else { return };
        if to.send(Update::Lost(why)).await.is_err() {
            return;
        }
        tokio::time::sleep(PAUSE).await;
    }
}

struct Follower {
    server: ServerAddress,
    cookie: String,
}

type Connection = SendRequest<axum::body::Body>;

impl Follower {
    /// Follows until the connection is lost (an error) or the receiver is gone.
    async fn once(&mut self, to: &mpsc::Sender<Update>) -> Result<(), FollowError> {
        if let (Some(token), true) = (self.server.token.clone(), self.cookie.is_empty()) {
            self.pair(&token).await?;
        }
        // The events first, so that nothing is missed while the state is fetched.
        let events = self.get("/api/v1/events").await?.into_body();
        let state = self.state().await?;
        let mut seq = state["seq"].as_u64().unwrap_or(0);
        if to.send(Update::State(state)).await.is_err() {
            return Ok(());
        }
        let mut chunks = axum::body::Body::new(events).into_data_stream();
        let mut parser = Parser::default();
        loop {
            let chunk = tokio::time::timeout(SILENCE, chunks.next()).await;
            let chunk = chunk.map_err(|_| FollowError::Silent)?.ok_or(FollowError::Ended)?;
            for event in parser.push(&chunk?) {
                // The state includes it already.
                if event.id.is_some_and(|id| id <= seq) {
                    continue;
                }
                // The event of a lesson that starts has only the id.
                let news = if matches!(event.name.as_str(), "lagged" | "session_started") {
                    let state = self.state().await?;
                    seq = state["seq"].as_u64().unwrap_or(0);
                    Update::State(state)
                } else {
                    Update::Event(event.name, event.data)
                };
                if to.send(news).await.is_err() {
                    return Ok(());
                }
            }
        }
    }

    async fn connect(&self) -> Result<Connection, FollowError> {
        let at = &self.server.authority;
        let stream =
            TcpStream::connect(at).await.map_err(|why| FollowError::Connect { at: at.clone(), why })?;
        let (requests, connection) = handshake(TokioIo::new(stream)).await?;
        // The reader of the answer sees its end.
        tokio::spawn(connection);
        Ok(requests)
    }

    async fn ask(&self, path: &str) -> Result<axum::http::Response<Incoming>, FollowError> {
        let request = Request::get(path)
            .header(header::HOST, &self.server.authority)
            .header(header::COOKIE, &self.cookie)
            .body(axum::body::Body::empty())?;
        let mut connection = self.connect().await?;
        let answer = tokio::time::timeout(SILENCE, connection.send_request(request)).await;
        Ok(answer.map_err(|_| FollowError::NoAnswer)??)
    }

    async fn get(&self, path: &str) -> Result<axum::http::Response<Incoming>, FollowError> {
        let answer = self.ask(path).await?;
        if answer.status() == StatusCode::OK {
            return Ok(answer);
        }
        let status = answer.status();
        let body = body(answer).await.unwrap_or_default();
        let said: Value = serde_json::from_slice(&body).unwrap_or_default();
        Err(match said["error"].as_str() {
            Some(why) => FollowError::Refused(why.to_owned()),
            None => FollowError::Status(status),
        })
    }

    async fn state(&self) -> Result<Value, FollowError> {
        let body = body(self.get("/api/v1/state").await?).await?;
        Ok(serde_json::from_slice(&body)?)
    }

    async fn pair(&mut self, token: &str) -> Result<(), FollowError> {
        let answer = self.ask(&format!("/pair/{token}")).await?;
        let cookie = answer.headers().get(header::SET_COOKIE).and_then(|v| v.to_str().ok());
        match cookie.and_then(|c| c.split(';').next()) {
            Some(cookie) => {
                cookie.clone_into(&mut self.cookie);
                Ok(())
            }
            None => Err(FollowError::Link),
        }
    }
}

async fn body(answer: axum::http::Response<Incoming>) -> Result<Bytes, FollowError> {
    let whole = axum::body::to_bytes(axum::body::Body::new(answer.into_body()), STATE_LIMIT);
    Ok(tokio::time::timeout(SILENCE, whole).await.map_err(|_| FollowError::NoAnswer)??)
}

/// One event of a stream.
#[derive(Debug, Clone, PartialEq)]
struct Event {
    name: String,
    id: Option<u64>,
    data: Value,
}

/// Parses server-sent events as far as this server uses them (HTML Living Standard,
/// section 9.2: lines `event:`, `id:`, `data:`, an empty line ends an event, `:` is a comment).
#[derive(Debug, Default)]
struct Parser {
    rest: Vec<u8>,
    name: String,
    id: Option<u64>,
    data: String,
}

impl Parser {
    fn push(&mut self, chunk: &[u8]) -> Vec<Event> {
        self.rest.extend_from_slice(chunk);
        let mut events = Vec::new();
        while let Some(end) = self.rest.iter().position(|b| *b == b'\n') {
            let line: Vec<u8> = self.rest.drain(..=end).collect();
            let line = String::from_utf8_lossy(&line);
            let line = line.trim_end_matches(['\r', '\n']);
            if line.is_empty() {
                events.extend(self.end_of_event());
                continue;
            }
            let (field, value) = line.split_once(':').unwrap_or((line, ""));
            let value = value.strip_prefix(' ').unwrap_or(value);
            match field {
                "event" => value.clone_into(&mut self.name),
                "id" => self.id = value.parse().ok(),
                "data" => self.data.push_str(value),
                _ => {}
            }
        }
        events
    }

    fn end_of_event(&mut self) -> Option<Event> {
        let (name, id, data) =
            (std::mem::take(&mut self.name), self.id.take(), std::mem::take(&mut self.data));
        (!name.is_empty()).then(|| Event { name, id, data: serde_json::from_str(&data).unwrap_or_default() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn events_are_parsed_wherever_the_chunks_end() {
        let text = ":\n\nevent: hello\ndata: {\"seq\":3}\n\nevent: straps\nid: 4\ndata: []\r\n\r\n";
        let wanted = [
            Event { name: "hello".into(), id: None, data: json!({ "seq": 3 }) },
            Event { name: "straps".into(), id: Some(4), data: json!([]) },
        ];
        for size in 1..text.len() {
            let mut parser = Parser::default();
            let events: Vec<Event> = text.as_bytes().chunks(size).flat_map(|c| parser.push(c)).collect();
            assert_eq!(events, wanted, "chunks of {size}");
        }
    }

    #[test]
    fn addresses_and_links_are_told_apart() {
        let server = |text: &str| text.parse::<ServerAddress>();
        assert_eq!(server("http://127.0.0.1:7311/").unwrap().authority, "127.0.0.1:7311");
        assert_eq!(server("http://bay.local").unwrap().authority, "bay.local:80");
        assert_eq!(server("http://10.0.0.2:7311/pair/ab12").unwrap().token.as_deref(), Some("ab12"));
        for wrong in ["127.0.0.1:7311", "https://127.0.0.1/", "http://127.0.0.1/x", "", "http://"] {
            assert!(server(wrong).is_err(), "{wrong}");
        }
    }
}
