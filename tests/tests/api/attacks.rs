//! What the door keeps out. Loopback, where every browser is the coach's: nothing but these
//! checks stands between another site's page and the lesson.

use peakorder_tests::test_server::{PATIENCE, TestServer};
use serde_json::{Value, json};
use socket2::{Domain, Socket, Type};
use std::io::{ErrorKind, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

fn server() -> (tempfile::TempDir, TestServer) {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "1");
    (library, server)
}

fn get(host: &str, path: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n")
}

fn post(host: &str, extra: &str, kind: &str, body: &str) -> String {
    format!(
        "POST /api/v1/players HTTP/1.1\r\nHost: {host}\r\n{extra}Content-Type: {kind}\r\n\
         Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    )
}

const PLAYER: &str = r#"{"name":"X","handedness":"right","consent":true}"#;

#[test]
fn a_name_made_to_point_here_is_refused() {
    let (_library, server) = server();
    let at = server.at.to_string();
    let port = server.at.port();
    assert_eq!(server.raw(&get(&at, "/api/v1/state")), 200);
    assert_eq!(server.raw(&get(&format!("localhost:{port}"), "/api/v1/state")), 200);
    for host in
        ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example", "10.0.0.1", "x@127.0.0.1"]
    {
        for path in ["/api/v1/state", "/", "/api/v1/events"] {
            let status = server.raw(&get(&format!("{host}:{port}"), path));
            assert!(status == 421 || status == 400, "{host}{path}: {status}");
        }
    }
    assert_eq!(server.raw("GET /api/v1/state HTTP/1.1\r\nConnection: close\r\n\r\n"), 400, "no host");
    let two = format!(
        "GET /api/v1/state HTTP/1.1\r\nHost: {at}\r\nHost: evil.example\r\nConnection: close\r\n\r\n"
    );
    assert_eq!(server.raw(&two), 400);
}

#[test]
fn a_page_of_another_site_can_change_nothing() {
    let (_library, server) = server();
    let at = server.at.to_string();
    for origin in ["http://evil.example", "null", "http://127.0.0.1:1", "https://127.0.0.1.evil.example"] {
        let status = server.raw(&post(&at, &format!("Origin: {origin}\r\n"), "application/json", PLAYER));
        assert_eq!(status, 403, "{origin}");
    }
    // What a form or a script can send without asking first.
    for kind in [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "text/plain;application/json",
    ] {
        assert_eq!(server.raw(&post(&at, "", kind, PLAYER)), 415, "{kind}");
    }
    assert_eq!(server.get("/api/v1/players").expect(200), json!([]), "nothing was added");
    let asked = format!(
        "OPTIONS /api/v1/players HTTP/1.1\r\nHost: {at}\r\nOrigin: http://evil.example\r\n\
         Access-Control-Request-Method: POST\r\nConnection: close\r\n\r\n"
    );
    assert_ne!(server.raw(&asked), 200, "another site's page gets no leave");
    // Our own page is let through.
    let own = post(&at, &format!("Origin: http://{at}\r\n"), "application/json; charset=utf-8", PLAYER);
    assert_eq!(server.raw(&own), 201);
}

#[test]
fn ids_are_names_and_never_paths() {
    let (library, server) = server();
    let outside = library.path().join("secret");
    std::fs::create_dir(&outside).unwrap();
    std::fs::write(outside.join("session.toml"), "format = \"peakorder.session/1\"\n").unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink(&outside, library.path().join("sessions").join("link")).unwrap();
    for id in ["..%2Fsecret", "%2e%2e%2fsecret", "..%5csecret", "%00", "link", ".", "..", "%2Fetc", ""] {
        for tail in ["", "/swings/1/curves", "/play", "/report"] {
            let status = server.raw(&get(&server.at.to_string(), &format!("/api/v1/sessions/{id}{tail}")));
            assert!((400..500).contains(&status), "{id}{tail}: {status}");
        }
        let query = format!("/api/v1/compare?a={id}:baseline&b={id}:after");
        let status = server.get(&query).status;
        assert!((400..500).contains(&status), "{query}: {status}");
    }
    let about: Value = serde_json::from_str(PLAYER).unwrap();
    server.send("PUT", "/api/v1/players/..%2f..%2fx", &about).refused(404);
    server.post("/api/v1/lesson", &json!({ "player": "../players/x" })).refused(404);
    for path in
        ["/../Cargo.toml", "/%2e%2e/Cargo.toml", "/js/../../Cargo.toml", "//etc/passwd", "/index.html/.."]
    {
        let status = server.raw(&get(&server.at.to_string(), path));
        assert!(status == 404 || status == 400, "{path}: {status}");
    }
}

#[test]
fn too_much_is_refused() {
    let (_library, server) = server();
    let long = json!({ "name": "x".repeat(70 << 10), "handedness": "right" });
    server.post("/api/v1/players", &long).refused(413);
    // Announced only: refused before it is sent.
    let announced = format!(
        "POST /api/v1/players HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\n\
         Content-Length: 1000000000000\r\nConnection: close\r\n\r\n",
        server.at
    );
    assert_eq!(server.raw(&announced), 413);
    let head = format!(
        "GET /api/v1/state HTTP/1.1\r\nHost: {}\r\nX-Long: {}\r\nConnection: close\r\n\r\n",
        server.at,
        "x".repeat(100 << 10)
    );
    assert_eq!(server.raw(&head), 431);
    for body in ["{", "[]", "null", "{\"name\":1}"] {
        let status = server.raw(&post(&server.at.to_string(), "", "application/json", body));
        assert!(status == 400 || status == 422, "{body}: {status}");
    }
}

#[test]
fn one_who_sends_slowly_is_not_waited_for() {
    let (_library, server) = server();
    let head = format!("POST /api/v1/players HTTP/1.1\r\nHost: {}\r\n", server.at);
    let body = format!("{head}Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{{");
    let start = Instant::now();
    let (mut no_head, mut no_body) = (server.connect(), server.connect());
    no_head.write_all(head.as_bytes()).unwrap();
    no_body.write_all(body.as_bytes()).unwrap();
    let mut answer = String::new();
    no_body.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 408"), "{answer}");
    // Closed, with or without a word.
    no_head.read_to_string(&mut answer).unwrap();
    assert!(start.elapsed() < PATIENCE);
}

#[test]
fn one_who_asks_too_fast_has_to_wait() {
    let (_library, server) = server();
    let mut refused = 0;
    for _ in 0..200 {
        let answer = server.send("POST", "/api/v1/lesson/mark", &json!({ "mark": "note", "detail": "x" }));
        match answer.status {
            409 => {}
            429 => {
                assert!(answer.header("retry-after").is_some_and(|s| s.parse::<u64>().is_ok()));
                refused += 1;
            }
            other => panic!("{other}: {}", answer.text),
        }
    }
    assert!(refused > 100, "{refused} of 200");
    server.get("/api/v1/state").expect(200);
}

/// Reads all that has come. An open stream has no more to tell at once, a closed one ends.
fn is_open(stream: &mut TcpStream) -> bool {
    stream.set_read_timeout(Some(Duration::from_millis(20))).unwrap();
    let mut some = [0; 4096];
    loop {
        match stream.read(&mut some) {
            Ok(0) => return false,
            Ok(_) => {}
            Err(why) => return matches!(why.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut),
        }
    }
}

#[test]
fn one_who_opens_too_many_connections_gets_no_more_and_others_go_on() {
    let (_library, server) = server();
    let mut open: Vec<_> = (0..40)
        .map(|_| {
            let mut stream = server.connect();
            // Refused ones are closed at once; writing to them may fail.
            let _ = stream.write_all(get(&server.at.to_string(), "/api/v1/events").as_bytes());
            stream
        })
        .collect();
    // Time for all to be accepted and, beyond the limit, closed.
    std::thread::sleep(Duration::from_secs(1));
    let still_open = open.iter_mut().filter_map(|stream| is_open(stream).then_some(())).count();
    assert_eq!(still_open, 32);
    drop(open);
    let start = Instant::now();
    // Those that were open are noticed to be gone with the next event.
    while start.elapsed() < PATIENCE {
        if std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| server.get("/api/v1/state"))).is_ok() {
            return;
        }
        std::thread::sleep(Duration::from_millis(200));
    }
    panic!("nobody got in again");
}

/// Half-open requests of four addresses, the way one careless or hostile neighbour makes them.
#[cfg(target_os = "linux")]
#[test]
fn connections_that_never_ask_keep_nobody_out() {
    let (_library, server) = server();
    let port = server.at.port();
    let mut held = Vec::new();
    for i in 0..160_u8 {
        // All of 127/8 is this machine's.
        let from = SocketAddr::from(([127, 0, 0, 2 + i % 4], 0));
        let socket = Socket::new(Domain::IPV4, Type::STREAM, None).unwrap();
        socket.bind(&from.into()).unwrap();
        socket.connect(&SocketAddr::from(([127, 0, 0, 1], port)).into()).unwrap();
        let mut stream = TcpStream::from(socket);
        // One that was pushed out already may refuse the bytes.
        let _ = stream.write_all(b"GET /api/v1/state HTTP/1.1\r\nHost: ");
        held.push(stream);
    }
    for _ in 0..20 {
        let asked = Instant::now();
        server.get("/api/v1/state").expect(200);
        assert!(asked.elapsed() < Duration::from_secs(2), "{:?}", asked.elapsed());
    }
    drop(held);
}

#[test]
fn every_answer_carries_the_rules_for_the_browser() {
    let (_library, server) = server();
    for path in ["/", "/api/v1/state", "/nothing/here", "/api/v1/sessions/none"] {
        let answer = server.get(path);
        let policy = answer.header("content-security-policy").unwrap();
        assert!(
            policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"),
            "{policy}"
        );
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"));
        assert!(answer.header("access-control-allow-origin").is_none());
    }
    assert!(server.get("/").header("content-type").unwrap().starts_with("text/html"));
    server.get("/nothing/here").refused(404);
}

#[test]
fn a_reader_who_stops_reading_slows_nobody() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let mut stalled: Vec<_> = (0..8)
        .map(|_| {
            let mut stream = server.connect();
            stream.write_all(get(&server.at.to_string(), "/api/v1/events").as_bytes()).unwrap();
            stream
        })
        .collect();
    // They have their first bytes, and read no more.
    for stream in &mut stalled {
        stream.read_exact(&mut [0; 12]).unwrap();
    }
    let session = server.whole_lesson("Somebody");
    let rows = server.get("/api/v1/sessions").expect(200);
    assert_eq!(rows[0]["id"], session.as_str());
    assert_eq!(rows[0]["swings"], 26, "{rows}");
}

#[test]
fn no_error_tells_where_the_library_is() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let session = server.whole_lesson("Somebody");
    let folder = library.path().join("sessions").join(&session);
    let mut told = Vec::new();
    std::fs::remove_file(folder.join("swings/0001.curves")).unwrap();
    told.push(server.get(&format!("/api/v1/sessions/{session}/swings/1/curves")).refused(404));
    told.push(server.get(&format!("/api/v1/sessions/{session}/report?before=none")).refused(404));
    told.push(server.get(&format!("/api/v1/compare?a={session}:none&b={session}")).refused(404));
    std::fs::write(folder.join("swings/0001.json"), "{").unwrap();
    let rows = server.get("/api/v1/sessions").expect(200);
    told.push(rows[0]["problems"][0].as_str().expect("the damaged swing is told").to_owned());
    std::fs::write(folder.join("session.toml"), "version = ").unwrap();
    told.push(server.get(&format!("/api/v1/sessions/{session}")).refused(500));
    std::fs::remove_file(folder.join("remarks.jsonl")).ok();
    std::fs::remove_dir_all(library.path().join("players")).unwrap();
    told.push(server.get("/api/v1/players").refused(500));
    let place = library.path().to_str().unwrap();
    for text in &told {
        assert!(!text.contains(place) && !text.contains("/tmp"), "{text}");
    }
    assert!(
        told[0].contains(&format!("sessions/{session}/swings/0001.curves")),
        "the file is named: {}",
        told[0]
    );
}

#[test]
fn a_method_that_an_address_does_not_take_is_refused_with_those_it_takes() {
    let (_library, server) = server();
    let at = server.at;
    for (method, path, takes) in [
        ("TRACE", "/api/v1/players", "GET"),
        ("TRACE", "/api/v1/lesson/end", "POST"),
        ("PATCH", "/api/v1/lesson/target", "PUT"),
        ("OPTIONS", "/api/v1/state", "GET"),
    ] {
        let mut stream = server.connect();
        write!(stream, "{method} {path} HTTP/1.1\r\nHost: {at}\r\nConnection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        assert!(answer.starts_with("HTTP/1.1 405 "), "{method} {path}: {answer}");
        let allow =
            answer.lines().find_map(|l| l.to_ascii_lowercase().strip_prefix("allow:").map(str::to_owned));
        assert!(allow.is_some_and(|a| a.to_ascii_uppercase().contains(takes)), "{method} {path}: {answer}");
    }
}
