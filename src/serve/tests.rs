//! The server spoken to over its port: what was before, any tempo, who waits for an answer, and the way back to the gallery.

use super::*;
use serde_json::{Value, json};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

struct Served {
    run: Arc<Run>,
    folder: tempfile::TempDir,
}

impl Served {
    fn of(subject: impl FnOnce(&Path) -> Subject) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let server = Server::new(subject(folder.path()), 0).expect("a server");
        let run = Arc::clone(&server.run);
        std::thread::spawn(move || server.serve());
        Self { run, folder }
    }

    fn patch(text: &str) -> Self {
        Self::of(|folder| {
            let file = folder.join("rig.toml");
            std::fs::write(&file, text).expect("a file");
            Subject::of(file)
        })
    }

    fn send(&self, first: &str, body: Option<&Value>) -> TcpStream {
        let port = self.run.port;
        let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).expect("it listens");
        let body = body.map_or(String::new(), Value::to_string);
        let kind = if body.is_empty() { "" } else { "Content-Type: application/json\r\n" };
        let head = format!(
            "{first} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nConnection: close\r\n\
             Cookie: {}={}\r\n{kind}Content-Length: {}\r\n\r\n{body}",
            guard::cookie_name(port),
            self.run.keys.cookie.text(),
            body.len()
        );
        stream.write_all(head.as_bytes()).expect("it reads");
        stream
    }

    /// The status and the body.
    fn ask(&self, first: &str, body: Option<&Value>) -> (u16, String) {
        let mut all = String::new();
        self.send(first, body).read_to_string(&mut all).expect("an answer");
        let (head, body) = all.split_once("\r\n\r\n").expect("a head");
        (head[9..12].parse().expect("a status"), body.to_owned())
    }

    fn get(&self, path: &str) -> (u16, Value) {
        let (status, body) = self.ask(&format!("GET {path}"), None);
        (status, serde_json::from_str(&body).expect("JSON"))
    }

    fn opened(&self) -> Arc<Opened> {
        self.run.opened.get().expect("open")
    }

    fn title(&self, title: &str) -> Value {
        let base = self.opened().desk.view().revision;
        let edits = json!([{ "do": "set", "at": ["title"], "to": title }]);
        let (status, body) = self.ask("POST /edit", Some(&json!({ "base": base, "edits": edits, "gesture": title })));
        assert_eq!(status, 200, "{body}");
        serde_json::from_str::<Value>(&body).expect("JSON")["desk"].take()
    }
}

/// Waits for what another thread does.
fn until(what: &str, so: impl Fn() -> bool) {
    let since = Instant::now();
    while !so() {
        assert!(since.elapsed() < Duration::from_secs(120), "never: {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

const BELL: &str = include_str!("../../patches/late-bell.toml");

#[test]
fn the_text_of_before_is_given_and_told_of() {
    let served = Served::patch(BELL);
    assert_eq!(served.get("/now").1["desk"]["keeps"], json!([]));
    assert_eq!(served.title("One")["keeps"], json!(["opened"]));
    assert_eq!(served.title("Two")["keeps"], json!(["opened"]));
    let (status, told) = served.get("/past?since=1");
    assert!(status == 200 && told["text"].as_str().is_some_and(|text| text.contains("\"One\"")), "{told}");
    for since in ["2", "opened", "saved"] {
        assert_eq!(served.get(&format!("/past?since={since}")).1["text"], json!(BELL), "{since}");
    }
    for since in ["3", "0", "-1", "yesterday"] {
        assert_eq!(served.get(&format!("/past?since={since}")).0, 422, "{since}");
    }
}

/// By hand: 1 % of two beats, 1.2 s / bpm.
#[test]
fn any_tempo_is_made_and_the_patch_has_no_word_of_it() {
    let served = Served::patch(BELL);
    for bpm in [97.0, 33.5, 120.0] {
        let (status, told) = served.get(&format!("/near?tempo={bpm}"));
        let cell = &told["near"]["data"]["tempo"]["cells"][1];
        let gap = cell["gapMs"].as_f64().expect("a gap").abs();
        assert!(status == 200 && told["of"] == 1 && (gap - 1200.0 / bpm).abs() < 1e-6, "{bpm}: {cell}");
    }
    assert!(served.opened().desk.view().saved());
    // A change is answered at the tempo at hand, whether the patch has it or not.
    let edit = json!({ "base": 1, "tempo": "97", "edits": [{ "do": "set", "at": ["title"], "to": "Mine" }] });
    let (_, body) = served.ask("POST /edit", Some(&edit));
    let answer: Value = serde_json::from_str(&body).expect("JSON");
    assert_eq!((&answer["near"]["tempo"], &answer["desk"]["fault"]), (&json!("97"), &Value::Null));
    assert_eq!(served.get("/near?tempo=x").0, 422);
    // A pulse of 400 ms is too long at 300, where the period of a beat is 200: that is told, and is no fault of the patch at its own.
    let long = "tempos = [60]\n[clock.a]\nrate = \"1 per beat\"\nwidth = \"400 ms\"\n[sequencer.s]\nclock = \"a\"\nsteps = \"x\"\nvoice = \"kick\"\n";
    let served = Served::patch(long);
    let (status, told) = served.get("/near?tempo=300");
    assert!(
        status == 422 && told["says"].as_str().is_some_and(|says| says.contains("cannot be played at 300")),
        "{told}"
    );
    let edit = json!({ "base": 1, "tempo": "300", "edits": [{ "do": "set", "at": ["title"], "to": "Mine" }] });
    let (_, body) = served.ask("POST /edit", Some(&edit));
    let answer: Value = serde_json::from_str(&body).expect("JSON");
    assert_eq!((&answer["near"]["tempo"], &answer["desk"]["fault"]), (&json!("60"), &Value::Null));
}

/// A box that plays another step from the start on, which no delay mends; and so many parts that could be put into its clock, and into the
/// clock of both boxes, that to try all pairs takes long.
fn hopeless() -> String {
    let tempos: Vec<String> = (0..16).map(|n| (60 + 5 * n).to_string()).collect();
    let mut text = format!("tempos = [{}]\nbars = 60\n[clock.c]\nrate = \"4 per beat\"\n", tempos.join(", "));
    for (name, more) in [("ox", ""), ("odd", "power-up-step = 3\n")] {
        text += &format!("[sequencer.{name}]\nclock = \"c\"\nsteps = \"x...x\"\nvoice = \"kick\"\n{more}");
    }
    for n in 0..200 {
        text += &format!("[component.p{n}]\nkind = \"delay\"\ndelay = \"{} us\"\n", n + 1);
    }
    text
}

#[test]
fn nobody_who_is_gone_is_worked_for() {
    let served = Served::patch(&hopeless());
    let counts = || served.opened().asking.counts();
    let stream = served.send("GET /mend", None);
    until("it is worked at", || counts() == [1, 0]);
    drop(stream);
    until("it is given up", || counts() == [0, 1]);
    // Who asks another does not wait for the first any more.
    let mut first = served.send("GET /mend", None);
    until("it is worked at", || counts() == [1, 1]);
    assert_eq!(served.ask("GET /advise?on=nobody.clock", None).0, 422);
    let mut told = String::new();
    first.read_to_string(&mut told).expect("an answer");
    assert!(told.contains(" 422 ") && told.contains("another question"), "{told}");
}

#[test]
fn from_a_rig_of_the_gallery_a_way_leads_back() {
    let served = Served::of(|_| Subject::of(PathBuf::new()));
    // The gallery writes where the program was started: so this is told by what is open, in a folder of its own.
    let begun = |name: &str, first| {
        let subject = gallery::begin(name, served.folder.path(), &Subject::of(PathBuf::new())).expect("written");
        Opened::of_gallery(subject, first).expect("opened")
    };
    assert_eq!(served.ask("GET /gallery", None).0, 200);
    served.run.opened.set(begun("late-bell", 1));
    assert_eq!(served.get("/now").1["desk"]["gallery"], true);
    served.title("Mine");
    let (status, page) = served.ask("GET /gallery", None);
    assert!(status == 200 && page.contains("Back to late-bell.toml") && page.contains("is not saved"), "{page}");
    // The first is followed no further, its pages are told so, and what was not saved stays beside it.
    let first = served.opened();
    let mut news = first.shown.news();
    served.run.opened.set(begun("thin-ice", first.desk.view().revision + 1));
    first.leave();
    let (left, desk) = (Arc::downgrade(&first), served.get("/now").1["desk"].take());
    drop(first);
    until("nobody holds the first", || left.strong_count() == 0);
    news.mark_unchanged();
    assert!(news.has_changed().is_err());
    assert!(served.folder.path().join(".late-bell.toml.unsaved").exists());
    assert_eq!(desk["patch"], "thin-ice.toml");
    // A change that was meant for the first is refused by the second.
    let late = json!({ "base": 2, "edits": [{ "do": "set", "at": ["title"], "to": "Late" }] });
    assert_eq!(served.ask("POST /edit", Some(&late)).0, 409);
    // One that was named has no gallery.
    assert_eq!(Served::patch(BELL).ask("GET /gallery", None).0, 404);
}
