//! What a change on a served page costs: from the request to the new hits and the verdict at one tempo, and until the whole page
//! is made anew; how memory stands after many; and what it costs to be idle. Nothing here passes or fails.
//!
//! `CHANGES` sets how many changes there are, else 2,000.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant as Clock};

/// Eight boxes of two kinds of patterns on sixteenth notes for sixteen bars, a fix for one of them.
fn eight() -> String {
    let mut text = "tempos = [120]\nbars = 16\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
                    [stage.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n[fix.later]\nset.\"clock.home.shift\" = \"1 ms\"\n"
        .to_owned();
    for n in 1..=8 {
        let steps = if n % 2 == 0 { "X...x...x...x..." } else { "Xxx.x.xxX.xxx.x." };
        text += &format!(
            "[sequencer.box-{n}]\nclock = [\"sixteenths\", \"gate\"]\nreset = \"home\"\nreset-mode = \"this-clock\"\n\
             steps = \"{steps}\"\nvoice = \"voice-{n}\"\n[voice.voice-{n}]\nmodel = \"kick\"\npitch-start = \"{} Hz\"\n",
            200 + 20 * n
        );
    }
    text
}

struct Open {
    child: Child,
    stream: BufReader<TcpStream>,
    head: String,
}

impl Open {
    fn new(patch: &Path) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_hitgap"));
        command.arg("open").arg(patch).arg("--no-open").stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().expect("it starts");
        let mut first = String::new();
        BufReader::new(child.stdout.take().expect("a pipe")).read_line(&mut first).expect("an address");
        let address = first.trim().strip_prefix("Open http://").expect("an address");
        let (host, entrance) = address.split_once('/').expect("a path");
        let stream = BufReader::new(TcpStream::connect(host).expect("it listens"));
        let mut open = Self { child, stream, head: format!("Host: {host}\r\nOrigin: http://{host}\r\n") };
        let (head, _) = open.ask(&format!("GET /{entrance}"), None);
        let cookie = head.lines().find_map(|l| l.strip_prefix("set-cookie: ")).and_then(|c| c.split(';').next());
        open.head += &format!("Cookie: {}\r\nContent-Type: application/json\r\n", cookie.expect("a cookie"));
        open
    }

    fn ask(&mut self, first: &str, body: Option<&Value>) -> (String, Vec<u8>) {
        let body = body.map_or_else(String::new, Value::to_string);
        let request = format!("{first} HTTP/1.1\r\n{}Content-Length: {}\r\n\r\n{body}", self.head, body.len());
        self.stream.get_mut().write_all(request.as_bytes()).expect("it reads");
        let mut head = String::new();
        while !head.ends_with("\r\n\r\n") {
            assert!(self.stream.read_line(&mut head).expect("an answer") > 0, "it went away");
        }
        let length = head.lines().find_map(|l| l.strip_prefix("content-length: ")).and_then(|l| l.parse().ok());
        let mut bytes = vec![0; length.expect("a length")];
        self.stream.read_exact(&mut bytes).expect("a body");
        (head, bytes)
    }

    fn json(&mut self, first: &str, body: Option<&Value>) -> Value {
        serde_json::from_slice(&self.ask(first, body).1).expect("JSON")
    }

    /// A figure of the system about the program, in its own unit; `None` where it has none.
    fn about(&self, file: &str, read: impl Fn(&str) -> Option<u64>) -> Option<u64> {
        read(&std::fs::read_to_string(format!("/proc/{}/{file}", self.child.id())).ok()?)
    }

    fn kib(&self) -> Option<u64> {
        self.about("status", |s| {
            s.lines().find_map(|l| l.strip_prefix("VmRSS:"))?.trim().split(' ').next()?.parse().ok()
        })
    }

    /// Time on processors, in hundredths of a second on usual systems.
    fn ticks(&self) -> Option<u64> {
        self.about("stat", |s| {
            let fields: Vec<&str> = s.rsplit_once(") ")?.1.split(' ').collect();
            Some(fields.get(11)?.parse::<u64>().ok()? + fields.get(12)?.parse::<u64>().ok()?)
        })
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn of(sorted: &[f64], share: f64) -> f64 {
    sorted[((sorted.len() - 1) as f64 * share).round() as usize]
}

/// What a page knows of the patch: the revision, and what it was told.
#[derive(Clone)]
struct Page {
    base: u64,
    has: Value,
    edition: Value,
}

impl Page {
    /// Sends another text, as a page does; gives the milliseconds until new hits and the verdict are there.
    fn change(&mut self, open: &mut Open, text: &str) -> f64 {
        let start = Clock::now();
        let body = json!({ "base": self.base, "tempo": "120", "text": text, "has": self.has });
        let answer = open.json("PUT /text", Some(&body));
        let took = start.elapsed().as_secs_f64() * 1e3;
        assert!(!answer["near"].is_null(), "{answer}");
        self.base = answer["desk"]["revision"].as_u64().expect("a revision");
        self.has = answer["desk"]["told"].clone();
        took
    }

    /// Looks at what there is; whether the edition is the one of this revision.
    fn look(&mut self, open: &mut Open) -> bool {
        let query = match self.has.as_str() {
            Some(has) => format!("?tempo=120&has={has}&edition={}", self.edition),
            None => "?tempo=120".to_owned(),
        };
        let now = open.json(&format!("GET /now{query}"), None);
        self.has = now["desk"]["told"].clone();
        self.edition = now["edition"].clone();
        now["of"].as_u64() == Some(self.base)
    }
}

fn main() {
    let changes: usize = std::env::var("CHANGES").ok().and_then(|n| n.parse().ok()).unwrap_or(2_000);
    let folder = tempfile::tempdir().expect("a folder");
    let patch = folder.path().join("eight.toml");
    let text = eight();
    std::fs::write(&patch, &text).expect("a patch");
    let mut open = Open::new(&patch);
    let mut page = Page { base: 1, has: Value::Null, edition: Value::Null };
    page.look(&mut open);
    let (mut near, mut memory) = (Vec::new(), Vec::new());
    for n in 0..changes {
        // A delay that is turned.
        near.push(page.change(&mut open, &text.replace("40 us", &format!("{} us", 41 + n % 900))));
        if n % (changes / 5).max(1) == 0 {
            memory.extend(open.kib());
        }
        // No hand is faster; the server has a pace of its own.
        std::thread::sleep(Duration::from_millis(6));
    }
    near.sort_by(f64::total_cmp);
    println!(
        "a change of eight boxes, 16 bars, one tempo, until hits and verdict are there: middle {:.1} ms, 99 of 100 within {:.1} ms, longest {:.1} ms",
        of(&near, 0.5),
        of(&near, 0.99),
        of(&near, 1.0)
    );
    let mut whole = Vec::new();
    for n in 0..30 {
        page.change(&mut open, &text.replace("40 us", &format!("{} us", 1_041 + n)));
        let start = Clock::now();
        while !page.look(&mut open) {
            std::thread::sleep(Duration::from_millis(5));
        }
        whole.push(start.elapsed().as_secs_f64() * 1e3);
    }
    whole.sort_by(f64::total_cmp);
    println!("and all pictures after that: middle {:.0} ms, longest {:.0} ms", of(&whole, 0.5), of(&whole, 1.0));
    memory.extend(open.kib());
    println!("memory in MiB along {changes} changes: {:?}", memory.iter().map(|kib| kib / 1024).collect::<Vec<_>>());
    // What was changed last is measured first; then nothing is left to do.
    for after in ["right after the last change", "later"] {
        let before = open.ticks();
        std::thread::sleep(Duration::from_secs(5));
        let ticks = open.ticks().zip(before).map(|(now, before)| now - before);
        println!("processor time of 5 idle seconds, {after}: {ticks:?} ticks");
    }
}
