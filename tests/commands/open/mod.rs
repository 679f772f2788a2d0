//! `open` serves a page to one browser of this machine, follows the patch, and lets nobody else in. Spoken to here as a program
//! that lies about who it is could: by bytes over TCP (HTTP/1.1, RFC 9112).

mod changes;
mod follows;
mod guard;
mod makes;
mod starts_and_ends;

use super::place::Place;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Stdio};
use std::time::Duration;

/// A running server, ended with this.
struct Open {
    child: Child,
    port: u16,
    /// What the first address ends with.
    secret: String,
}

impl Drop for Open {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An answer: its status, its head in lower case but for values, its body.
#[derive(Debug)]
struct Answer {
    status: u16,
    head: Vec<(String, String)>,
    body: String,
}

impl Answer {
    /// Reads one until the connection is over.
    fn of(mut stream: TcpStream) -> Self {
        let mut all = Vec::new();
        stream.read_to_end(&mut all).expect("an answer");
        let all = String::from_utf8(all).expect("text");
        let (head, body) = all.split_once("\r\n\r\n").unwrap_or_else(|| panic!("no head: {all}"));
        let mut lines = head.lines();
        let status = lines.next().and_then(|l| l.split(' ').nth(1)).and_then(|s| s.parse().ok()).expect("a status");
        let head = lines.filter_map(|l| l.split_once(": ")).map(|(n, v)| (n.to_ascii_lowercase(), v.to_owned()));
        Self { status, head: head.collect(), body: body.to_owned() }
    }

    fn header(&self, name: &str) -> Option<&str> {
        self.head.iter().find(|(own, _)| own == name).map(|(_, value)| value.as_str())
    }

    fn json(&self) -> Value {
        serde_json::from_str(&self.body).expect("JSON")
    }
}

impl Open {
    fn new(place: &Place, line: &str) -> Self {
        let mut command = place.command(&format!("hitgap open {line} --no-open"));
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it starts");
        let mut out = BufReader::new(child.stdout.take().expect("a pipe"));
        let mut first = String::new();
        out.read_line(&mut first).expect("an address");
        let (port, secret) = first
            .trim_end()
            .strip_prefix("Open http://127.0.0.1:")
            .and_then(|rest| rest.split_once("/enter/"))
            .unwrap_or_else(|| panic!("no address: {first}"));
        let (port, secret) = (port.parse().expect("a port"), secret.to_owned());
        std::thread::spawn(move || std::io::copy(&mut out, &mut std::io::sink()));
        Self { child, port, secret }
    }

    fn send(&self, request: &str) -> TcpStream {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        stream.set_read_timeout(Some(Duration::from_secs(60))).expect("a limit");
        stream.write_all(request.as_bytes()).expect("it reads");
        stream
    }

    /// What a request comes to, and the connection is over.
    fn ask(&self, first: &str, headers: &[(&str, &str)]) -> Answer {
        let host = format!("127.0.0.1:{}", self.port);
        let mut request = format!("{first} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|(name, _)| *name == "Host") {
            request += &format!("Host: {host}\r\n");
        }
        for (name, value) in headers.iter().filter(|(_, value)| !value.is_empty()) {
            request += &format!("{name}: {value}\r\n");
        }
        Answer::of(self.send(&format!("{request}\r\n")))
    }

    /// What a page's request with a body comes to.
    fn send_body(&self, cookie: &str, first: &str, kind: &str, body: &str) -> Answer {
        let host = format!("127.0.0.1:{}", self.port);
        let head = format!(
            "{first} HTTP/1.1\r\nConnection: close\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {cookie}\r\n\
             Content-Type: {kind}\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        );
        Answer::of(self.send(&head))
    }

    fn change(&self, cookie: &str, first: &str, body: &Value) -> Answer {
        self.send_body(cookie, first, "application/json", &body.to_string())
    }

    /// The cookie, as a browser gets it.
    fn cookie(&self) -> String {
        let answer = self.ask(&format!("GET /enter/{}", self.secret), &[]);
        assert_eq!((answer.status, answer.header("location")), (303, Some("/")), "{answer:?}");
        let (cookie, rest) = answer.header("set-cookie").and_then(|c| c.split_once("; ")).expect("a cookie");
        assert_eq!(rest, "HttpOnly; SameSite=Strict; Path=/");
        assert!(!cookie.contains(&self.secret), "the address is no cookie");
        cookie.to_owned()
    }

    /// What is shown now.
    fn now(&self, cookie: &str) -> Value {
        let answer = self.ask("GET /now", &[("Cookie", cookie)]);
        assert_eq!(answer.status, 200, "{answer:?}");
        answer.json()
    }

    /// What is shown as soon as that is so; it is looked at with each event.
    fn until(&self, cookie: &str, events: &mut Events, so: impl Fn(&Value) -> bool) -> Value {
        loop {
            let now = self.now(cookie);
            if so(&now) {
                return now;
            }
            events.next();
        }
    }

    /// The events, one after the other.
    fn events(&self, cookie: &str) -> Events {
        let host = format!("127.0.0.1:{}", self.port);
        let stream = self.send(&format!("GET /events HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\n\r\n"));
        Events(BufReader::new(stream))
    }
}

struct Events(BufReader<TcpStream>);

impl Events {
    /// Waits for the next one.
    fn next(&mut self) -> String {
        let mut line = String::new();
        loop {
            line.clear();
            assert!(self.0.read_line(&mut line).expect("an event") > 0, "the server went away");
            if let Some(data) = line.strip_prefix("data: ") {
                return data.trim_end().to_owned();
            }
        }
    }
}

const PATCH: &str = "patches/late-bell.toml --tempo 120 --bars 2";

/// The gap in a cell at the first tempo, in milliseconds and without its sign.
fn gap(now: &Value, version: usize) -> Option<f64> {
    now["data"]["tempos"][0]["cells"][version]["gapMs"].as_f64().map(f64::abs)
}
