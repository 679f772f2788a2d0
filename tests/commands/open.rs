//! `open` serves a page to one browser of this machine, follows the patch, and lets nobody else in. Spoken to here as a program
//! that lies about who it is could: by bytes over TCP (HTTP/1.1, RFC 9112).

use super::place::Place;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

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

/// Other users of this machine, pages of other sites and names that lead here come to nothing, and what they asked for is not in
/// what they are told.
#[test]
fn nobody_else_is_let_in() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let (port, own) = (server.port, ("Cookie", cookie.as_str()));
    let before = server.now(&cookie);
    let (name, value) = cookie.split_once('=').expect("a name");
    let wrong = format!("{name}={}", value.chars().rev().collect::<String>());
    let short = format!("{name}={}", &value[1..]);
    let other_port = format!("127.0.0.1:{}", port ^ 1);
    let bare = "127.0.0.1".to_owned();
    let local = format!("http://localhost:{port}");
    let secret = &server.secret;
    let backwards: String = secret.chars().rev().collect();
    let [wrong, short, other_port, bare, local] = [&wrong, &short, &other_port, &bare, &local].map(String::as_str);
    let refused = vec![
        // The secret and the cookie.
        ("GET /".to_owned(), Vec::<(&str, &str)>::new(), 403_u16),
        ("GET /now".to_owned(), vec![], 403),
        ("GET /events".to_owned(), vec![], 403),
        ("GET /now".to_owned(), vec![("Cookie", wrong)], 403),
        ("GET /now".to_owned(), vec![("Cookie", short)], 403),
        ("GET /now".to_owned(), vec![("Cookie", "hitgap=")], 403),
        (format!("GET /enter/{backwards}"), vec![], 403),
        (format!("GET /enter/{}", &secret[1..]), vec![], 403),
        (format!("GET /?secret={secret}"), vec![], 403),
        // The host: a name of another site that leads here (DNS rebinding).
        ("GET /now".to_owned(), vec![own, ("Host", "evil.example")], 421),
        ("GET /now".to_owned(), vec![own, ("Host", other_port)], 421),
        ("GET /now".to_owned(), vec![own, ("Host", bare)], 421),
        (format!("GET /enter/{secret}"), vec![("Host", "evil.example")], 421),
        (format!("GET http://evil.example:{port}/now"), vec![own], 421),
        ("GET /now".to_owned(), vec![own, ("Host", "")], 400),
        // Another page that asks in the name of its visitor.
        ("GET /now".to_owned(), vec![own, ("Origin", "http://evil.example")], 403),
        ("GET /now".to_owned(), vec![own, ("Origin", "null")], 403),
        ("GET /now".to_owned(), vec![own, ("Origin", local)], 403),
        ("GET /now".to_owned(), vec![own, ("Sec-Fetch-Site", "cross-site")], 403),
        ("GET /now".to_owned(), vec![own, ("Sec-Fetch-Site", "same-site")], 403),
        (format!("GET /enter/{secret}"), vec![("Sec-Fetch-Site", "cross-site")], 403),
        // Methods, bodies, paths.
        ("POST /now".to_owned(), vec![own], 405),
        ("PUT /".to_owned(), vec![own], 405),
        ("DELETE /now".to_owned(), vec![own], 405),
        ("OPTIONS /now".to_owned(), vec![own], 405),
        ("HEAD /now".to_owned(), vec![own], 405),
        ("GET /now".to_owned(), vec![own, ("Content-Length", "1")], 413),
        ("GET /now".to_owned(), vec![own, ("Transfer-Encoding", "chunked")], 413),
        ("GET /patches/late-bell.toml".to_owned(), vec![own], 404),
        ("GET /../Cargo.toml".to_owned(), vec![own], 404),
        ("GET /%2e%2e/%2e%2e/etc/passwd".to_owned(), vec![own], 404),
        ("GET /enter/".to_owned(), vec![own], 404),
        ("GET //".to_owned(), vec![own], 404),
    ];
    for (first, headers, status) in refused {
        let answer = server.ask(&first, &headers);
        // What is no HTTP never comes as far as our own answers.
        if status != 400 {
            assert_eq!(answer.status, status, "{first} {headers:?}: {answer:?}");
            assert_eq!(answer.header("content-security-policy"), Some("default-src 'none'; frame-ancestors 'none'"));
        }
        assert!(answer.status >= 400 && answer.body.len() < 100, "{first} {headers:?}: {answer:?}");
        assert!(answer.header("set-cookie").is_none() && answer.header("access-control-allow-origin").is_none());
        assert!(!answer.body.contains("Wren"), "{first}");
    }
    assert_eq!(server.now(&cookie), before);
}

#[test]
fn who_has_the_secret_gets_the_page_under_a_strict_policy() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let (own, host) = (("Cookie", cookie.as_str()), format!("127.0.0.1:{}", server.port));
    let origin = format!("http://{host}");
    let others = format!("theirs=1; {cookie}; more=2");
    for headers in [
        vec![own],
        vec![own, ("Host", host.as_str()), ("Origin", origin.as_str()), ("Sec-Fetch-Site", "same-origin")],
        vec![("Cookie", others.as_str()), ("Sec-Fetch-Site", "none")],
    ] {
        let answer = server.ask("GET /", &headers);
        assert_eq!(answer.status, 200, "{headers:?}");
        assert!(answer.body.contains("<title>The late bell</title>") && !answer.body.contains(&server.secret));
        for (name, value) in [
            ("cache-control", "no-store"),
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "no-referrer"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
        ] {
            assert_eq!(answer.header(name), Some(value));
        }
        let policy = answer.header("content-security-policy").expect("a policy");
        assert!(policy.starts_with("default-src 'none'; script-src 'sha256-"), "{policy}");
        assert!(policy.contains("; connect-src 'self'; ") && policy.ends_with("; frame-ancestors 'none'"), "{policy}");
        assert!(!policy.contains("unsafe") && !policy.contains('*'), "{policy}");
    }
    let named = format!("localhost:{}", server.port);
    assert_eq!(server.ask("GET /now", &[own, ("Host", named.as_str())]).status, 200);
}

/// The gap in a cell at the first tempo, in milliseconds and without its sign.
fn gap(now: &Value, version: usize) -> Option<f64> {
    now["data"]["tempos"][0]["cells"][version]["gapMs"].as_f64().map(f64::abs)
}

/// Editors write into a file, or put another in its place; a fault is told as `check` tells it, and what was good stays.
#[test]
fn it_follows_the_file() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    events.next();
    let first = server.now(&cookie);
    assert_eq!((&first["edition"], &first["of"], &first["desk"]["revision"]), (&1.into(), &1.into(), &1.into()));
    assert!(first["desk"]["fault"].is_null() && gap(&first, 1) == Some(10.0), "{}", first["desk"]);
    // The phase of 1 % of two beats at 120 is 10 ms, and 3 % are 30 ms: by hand.
    let file = place.path("patches/late-bell.toml");
    let text = std::fs::read_to_string(&file).expect("a patch");
    let turned = text.replace("set.\"clock.slow.phase\" = \"1 %\"", "set.\"clock.slow.phase\" = \"3 %\"");
    assert_ne!(turned, text);
    std::fs::write(&file, &turned).expect("saved");
    let second = server.until(&cookie, &mut events, |now| gap(now, 1) == Some(30.0));
    assert_eq!(second["desk"]["text"].as_str(), Some(&*turned));
    // Renamed over, with a fault.
    let other = place.path("patches/late-bell.toml.new");
    std::fs::write(&other, turned.replace("reset-mode = \"next-clock\"", "reset-mode = \"next-clok\""))
        .expect("a file");
    std::fs::rename(&other, &file).expect("renamed");
    let third = server.until(&cookie, &mut events, |now| !now["desk"]["fault"].is_null());
    assert_eq!(third["data"], second["data"]);
    let check = place.command("hitgap check patches/late-bell.toml").output().expect("it runs");
    let told = String::from_utf8(check.stderr).expect("text");
    assert!(told.contains("next-clok"), "{told}");
    assert_eq!(third["desk"]["fault"].as_str().map(str::trim_end), Some(told.trim_end()));
    // Good again, the same as before: what was wrong is gone.
    std::fs::write(&other, &text).expect("a file");
    std::fs::rename(&other, &file).expect("renamed");
    let fourth = server.until(&cookie, &mut events, |now| now["desk"]["fault"].is_null() && gap(now, 1) == Some(10.0));
    assert_eq!(fourth["data"], first["data"]);
    // A page that comes later is the newest; and every step leads back.
    let page = server.ask("GET /", &[("Cookie", cookie.as_str())]).body;
    assert!(page.contains(&format!("data-edition=\"{}\"", fourth["edition"])));
    assert_eq!((&fourth["desk"]["undo"], &fourth["desk"]["saved"]), (&3.into(), &true.into()));
}

/// A take is a file of its own; one that is missing is waited for, and one outside of the patch's folder is not read.
#[test]
fn it_follows_takes_and_leaves_other_files_alone() {
    let take = |ms: u32| format!("time_s,due_beat\n0.{ms:03},0\n");
    let patch = "tempos = [120]\nbars = 1\n[clock.q]\nrate = \"1 per beat\"\n[sequencer.a]\nclock = \"q\"\nsteps = \"X...\"\nvoice = \"v\"\n\
                 [voice.v]\nmodel = \"kick\"\n[hits.hand]\nfile = \"take.csv\"\nvoice = \"v\"\n";
    let place = Place::new().with("rig/p.toml", patch).with("rig/take.csv", take(4)).with("out.csv", take(6));
    let server = Open::new(&place, "rig/p.toml");
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    assert_eq!(gap(&server.now(&cookie), 0), Some(4.0));
    std::fs::write(place.path("rig/take.csv"), take(7)).expect("saved");
    server.until(&cookie, &mut events, |now| gap(now, 0) == Some(7.0));
    let fault = |now: &Value, words: &str| now["desk"]["fault"].as_str().is_some_and(|f| f.contains(words));
    std::fs::write(place.path("rig/p.toml"), patch.replace("take.csv", "../out.csv")).expect("saved");
    server.until(&cookie, &mut events, |now| fault(now, "outside of the patch's folder"));
    std::fs::write(place.path("rig/p.toml"), patch.replace("take.csv", "later.csv")).expect("saved");
    server.until(&cookie, &mut events, |now| fault(now, "could not be read"));
    std::fs::write(place.path("rig/later.csv"), take(9)).expect("saved");
    server.until(&cookie, &mut events, |now| now["desk"]["fault"].is_null() && gap(now, 0) == Some(9.0));
}

/// What changes the patch says what it stands on, is heard at once, and leads back; the file is written when that is asked for.
#[test]
fn it_is_changed_saved_and_led_back() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    let file = place.path("patches/late-bell.toml");
    let text = std::fs::read_to_string(&file).expect("a patch");
    let turned = text.replace("= \"1 %\"", "= \"3 %\"");
    let put = |base: u64, text: &str| {
        server.change(&cookie, "PUT /text", &serde_json::json!({ "base": base, "tempo": "120", "text": text }))
    };
    let answer = put(1, &turned);
    assert_eq!(answer.status, 200, "{answer:?}");
    let (desk, near) = (&answer.json()["desk"], &answer.json()["near"]);
    assert_eq!((&desk["revision"], &desk["saved"], &desk["undo"]), (&2.into(), &false.into(), &1.into()));
    // The answer has what is heard now: 3 % of two beats at 120, by hand; and, last, the version that the file has.
    assert_eq!(near["data"]["tempo"]["cells"][1]["gapMs"].as_f64().map(f64::abs), Some(30.0), "{near}");
    let names: Vec<_> = near["data"]["variants"].as_array().expect("versions").iter().map(|v| &v["name"]).collect();
    assert_eq!(names, ["original", "phase", "or-gate", "as saved"]);
    assert_eq!(std::fs::read_to_string(&file).expect("a patch"), text, "not saved yet");
    let whole = server.until(&cookie, &mut events, |now| now["of"] == 2);
    assert_eq!(whole["data"]["tempos"][0]["cells"][1]["hits"], near["data"]["tempo"]["cells"][1]["hits"]);
    // A second page that knows nothing of it changes nothing.
    let late = put(1, "");
    assert_eq!((late.status, &late.json()["desk"]["text"]), (409, &Value::from(turned.as_str())));
    // A fault is told as it is elsewhere, and is a step like any other.
    let wrong = put(2, &turned.replace("next-clock", "next-clok"));
    assert_eq!((wrong.status, &wrong.json()["near"]), (200, &Value::Null));
    assert!(wrong.json()["desk"]["fault"].as_str().is_some_and(|fault| fault.contains("next-clok")), "{wrong:?}");
    let base = |base: u64| serde_json::json!({ "base": base, "tempo": "120" });
    // Soon after each other, both were one turn of the text.
    let back = server.change(&cookie, "POST /undo", &base(3)).json();
    assert_eq!((&back["desk"]["text"], &back["desk"]["saved"]), (&Value::from(text.as_str()), &Value::from(true)));
    assert_eq!(server.change(&cookie, "POST /undo", &base(4)).status, 422);
    assert_eq!(put(4, &turned).status, 200);
    let hash = back["desk"]["hash"].as_str().expect("a checksum");
    let save = |base: u64, hash: &str| {
        server.change(&cookie, "POST /save", &serde_json::json!({ "base": base, "hash": hash }))
    };
    assert_eq!(save(5, &hash.replace(|c: char| c.is_ascii_digit(), "a")).status, 409);
    let saved = save(5, hash);
    assert_eq!((saved.status, &saved.json()["desk"]["saved"]), (200, &Value::from(true)), "{saved:?}");
    assert_eq!(std::fs::read_to_string(&file).expect("a patch"), turned);
}

/// While something is not saved, another program changes the file: nothing is overwritten, and both are kept.
#[test]
fn what_two_change_is_lost_by_neither() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    let file = place.path("patches/late-bell.toml");
    let text = std::fs::read_to_string(&file).expect("a patch");
    let [mine, mut theirs] = [3, 1].map(|share| text.replace("= \"1 %\"", &format!("= \"{share} %\"")));
    assert_eq!(server.change(&cookie, "PUT /text", &serde_json::json!({ "base": 1, "text": mine })).status, 200);
    for n in 0..50 {
        theirs = format!("{text}# {n}\n");
        std::fs::write(&file, &theirs).expect("written by another");
        let now = server.until(&cookie, &mut events, |now| now["desk"]["file"]["text"] == theirs.as_str());
        assert_eq!(now["desk"]["text"], mine.as_str());
        // Another hand has seen only what was there before.
        let (base, old) = (&now["desk"]["revision"], now["data"]["title"].as_str().expect("a text"));
        let over = serde_json::json!({ "base": base, "hash": old });
        assert_eq!(server.change(&cookie, "POST /save", &over).status, 409);
        assert_eq!(std::fs::read_to_string(&file).expect("a file"), theirs);
    }
    let now = server.now(&cookie);
    let taken = server.change(&cookie, "POST /take", &serde_json::json!({ "base": now["desk"]["revision"] })).json();
    assert_eq!((&taken["desk"]["text"], &taken["desk"]["file"]), (&Value::from(theirs.as_str()), &Value::Null));
    let back = server.change(&cookie, "POST /undo", &serde_json::json!({ "base": taken["desk"]["revision"] })).json();
    assert_eq!(back["desk"]["text"], mine.as_str());
}

/// The program is killed in the middle: what was not saved is there when the patch is opened again, and leads back to the file.
#[test]
fn what_is_not_saved_outlives_the_program() {
    let place = Place::new();
    let mut server = Open::new(&place, PATCH);
    let text = std::fs::read_to_string(place.path("patches/late-bell.toml")).expect("a patch");
    let mine = text.replace("= \"1 %\"", "= \"3 %\"");
    let put = serde_json::json!({ "base": 1, "text": mine });
    assert_eq!(server.change(&server.cookie(), "PUT /text", &put).status, 200);
    server.child.kill().expect("killed");
    server.child.wait().expect("an end");
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let now = server.now(&cookie);
    assert_eq!((&now["desk"]["text"], &now["desk"]["saved"]), (&Value::from(mine.as_str()), &Value::from(false)));
    assert!(now["desk"]["kept"].as_str().is_some_and(|kept| kept.contains("not saved")));
    assert_eq!(gap(&now, 1), Some(30.0));
    let back = server.change(&cookie, "POST /undo", &serde_json::json!({ "base": 1 })).json();
    assert_eq!(back["desk"]["text"], text.as_str());
    // All is as the file has it: nothing lies about.
    assert!(!place.path("patches/.late-bell.toml.unsaved").exists());
}

/// Files from the page: those that `compare` makes of the same patch, with what is on the desk; one work at a time, and it can be stopped.
#[test]
fn files_are_made_from_the_page() {
    let place = Place::new();
    let server = Open::new(&place, &format!("{PATCH} --out made"));
    let cookie = server.cookie();
    let over = || loop {
        let job = server.ask("GET /progress", &[("Cookie", cookie.as_str())]).json();
        if job["over"] == true {
            return job;
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    assert_eq!(server.ask("GET /progress", &[("Cookie", cookie.as_str())]).json(), Value::Null);
    let make = |work: &str| server.change(&cookie, "POST /files", &serde_json::json!({ "do": work }));
    assert_eq!(make("compare").status, 202);
    let job = over();
    assert!(job["error"].is_null() && job["share"] == 1.0, "{job}");
    let page = job["files"][0].as_str().expect("a page");
    assert!(page.ends_with("late-bell.html") && place.path(page).exists(), "{job}");
    let compared = place.command(&format!("hitgap compare {PATCH} --out other")).output().expect("it runs");
    assert!(compared.status.success());
    for entry in std::fs::read_dir(place.path("other")).expect("a folder") {
        let name = entry.expect("an entry").file_name();
        let [made, other] = ["made", "other"].map(|dir| std::fs::read(place.path(dir).join(&name)).expect("a file"));
        // The manifest has paths of its own.
        assert!(made == other || name == "manifest.json", "{}", name.display());
    }
    // What takes long is stopped, and leaves nothing half written.
    let long = Open::new(&place, "patches/late-bell.toml --out long");
    let cookie = long.cookie();
    let text = std::fs::read_to_string(place.path("patches/late-bell.toml")).expect("a patch");
    let put = serde_json::json!({ "base": 1, "text": text.replace("bars   = 8", "bars   = 2000") });
    assert_eq!(long.change(&cookie, "PUT /text", &put).status, 200);
    assert_eq!(long.change(&cookie, "POST /files", &serde_json::json!({ "do": "render" })).status, 202);
    assert_eq!(long.change(&cookie, "POST /files", &serde_json::json!({ "do": "render" })).status, 409);
    assert_eq!(long.change(&cookie, "POST /stop", &serde_json::json!({})).status, 200);
    let job = loop {
        let job = long.ask("GET /progress", &[("Cookie", cookie.as_str())]).json();
        if job["over"] == true {
            break job;
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    assert!(job["error"].as_str().is_some_and(|error| error.contains("stopped")), "{job}");
}

/// Without a patch there is a gallery: what is chosen there is written into the folder, over nothing, and is open.
#[test]
fn a_rig_of_the_gallery_is_written_and_opened() {
    let place = Place::new().with("late-bell.toml", "mine\n");
    let server = Open::new(&place, "");
    let cookie = server.cookie();
    let own = [("Cookie", cookie.as_str())];
    let gallery = server.ask("GET /", &own);
    assert_eq!(gallery.status, 200);
    assert!(gallery.body.contains("data-begin=\"late-bell\">The late bell<"));
    assert_eq!(server.ask("GET /now", &own).status, 404);
    let begin = |name: &str| server.change(&cookie, "POST /begin", &serde_json::json!({ "name": name }));
    assert_eq!([begin("../late-bell").status, begin("components").status, begin("").status], [422; 3]);
    assert_eq!(begin("late-bell").status, 200);
    assert_eq!(std::fs::read_to_string(place.path("late-bell.toml")).expect("a file"), "mine\n");
    let written = std::fs::read_to_string(place.path("late-bell-2.toml")).expect("a file");
    assert_eq!(server.now(&cookie)["desk"]["text"], written.as_str());
    assert!(server.ask("GET /", &own).body.contains("data-edition"));
    // Another one can be begun from there, and a tab of the first changes nothing of it.
    let first = server.now(&cookie)["desk"]["revision"].as_u64().expect("a number");
    assert!(server.ask("GET /gallery", &own).body.contains("Back to late-bell-2.toml"));
    assert_eq!(begin("thin-ice").status, 200);
    let now = server.now(&cookie);
    assert_eq!((&now["desk"]["patch"], &now["desk"]["gallery"]), (&"thin-ice.toml".into(), &true.into()));
    let late = serde_json::json!({ "base": first, "text": "" });
    assert_eq!(server.change(&cookie, "PUT /text", &late).status, 409);
    assert_eq!(server.now(&cookie)["desk"]["text"], now["desk"]["text"]);
}

/// Three hundred bodies that no page sends: each is refused, and nothing has changed.
#[test]
fn hostile_bodies_change_nothing() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let before = server.now(&cookie);
    let long = "9".repeat(400);
    let deep = format!("{}{}", "[".repeat(20_000), "]".repeat(20_000));
    let values = [
        "",
        "null",
        "[]",
        "{}",
        "7",
        "\"text\"",
        "{\"base\":1",
        "{\"base\":-1}",
        "{\"base\":1.5}",
        "{\"base\":\"1\"}",
        "{\"base\":2,\"text\":\"\",\"hash\":\"\"}",
        "\u{0}",
        "{\"base\":18446744073709551616}",
        &long,
        &deep,
        "\u{feff}{}",
        "{\"base\":2,\"edits\":[{\"do\":\"set\",\"at\":[],\"to\":1}]}",
        "{\"base\":2,\"edits\":7,\"do\":\"all\",\"name\":\"../x\"}",
        "{\"text\":\"x\"}",
        "{\"hash\":\"x\"}",
        "{\"base\":1,\"base\":1,\"text\":[]}",
    ];
    let mut refused = 0;
    let paths = [
        "POST /edit",
        "PUT /text",
        "POST /undo",
        "POST /redo",
        "POST /save",
        "POST /take",
        "POST /files",
        "POST /begin",
    ];
    for path in paths {
        for value in values {
            for kind in ["application/json", "text/plain"] {
                let answer = server.send_body(&cookie, path, kind, value);
                assert!((400..500).contains(&answer.status), "{path} {kind} {value:.60}: {}", answer.status);
                refused += 1;
            }
        }
    }
    assert_eq!(refused, 336);
    let now = server.now(&cookie);
    assert_eq!((&now["desk"], &now["edition"]), (&before["desk"], &before["edition"]));
    // Without an origin, or more than a patch can be.
    let host = ("Cookie", cookie.as_str());
    assert_eq!(server.ask("POST /undo", &[host]).status, 403);
    let origin = format!("http://127.0.0.1:{}", server.port);
    let large = [host, ("Origin", origin.as_str()), ("Content-Length", "4000000")];
    assert_eq!(server.ask("PUT /text", &large).status, 413);
    assert_eq!(server.ask("GET /text", &[host]).status, 405);
}

/// The address that a browser is started with can be read by other users in the list of programs: it opens once.
#[cfg(unix)]
#[test]
fn the_address_of_a_browsers_start_opens_once() {
    use std::os::unix::fs::PermissionsExt;
    let place =
        Place::new().with("opener", "#!/bin/sh\nprintf '%s\\n' \"$1\" > \"$LOG.part\" && mv \"$LOG.part\" \"$LOG\"\n");
    std::fs::set_permissions(place.path("opener"), std::fs::Permissions::from_mode(0o755)).expect("a program");
    let log = place.path("opened");
    let mut command = place.command(&format!("hitgap open {PATCH}"));
    command.env("HITGAP_OPENER", place.path("opener")).env("LOG", &log);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it starts");
    let mut out = BufReader::new(child.stdout.take().expect("a pipe"));
    let mut first = String::new();
    out.read_line(&mut first).expect("an address");
    let since = Instant::now();
    while !log.exists() && since.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(10));
    }
    let handed = std::fs::read_to_string(&log).expect("an address");
    let parts = |address: &str| {
        let (port, secret) =
            address.trim().rsplit_once("127.0.0.1:").and_then(|(_, a)| a.split_once("/enter/")).expect("an address");
        (port.parse::<u16>().expect("a port"), secret.to_owned())
    };
    let ((port, handed), (_, secret)) = (parts(&handed), parts(&first));
    assert_ne!(handed, secret);
    let server = Open { child, port, secret };
    let status = |secret: &str| server.ask(&format!("GET /enter/{secret}"), &[]).status;
    assert_eq!([status(&handed), status(&handed)], [303, 403]);
    assert_eq!([status(&server.secret), status(&server.secret)], [303, 303]);
}

/// Ctrl-C ends it, with pages open.
#[cfg(unix)]
#[test]
fn it_ends_when_it_is_asked_to() {
    let place = Place::new();
    let mut server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    events.next();
    let asked = Command::new("kill").args(["-INT", &server.child.id().to_string()]).status().expect("kill");
    assert!(asked.success());
    assert_eq!(server.child.wait().expect("an end").code(), Some(130));
    // What was told is whole, or broken off; it does not hang.
    let _ = events.0.read_to_end(&mut Vec::new());
}

#[test]
fn what_cannot_be_served_is_told() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let taken = format!("hitgap open {PATCH} --no-open --port {}", server.port);
    let output = place.command(&taken).output().expect("it runs");
    let told = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.starts_with(&format!("error: port {} of this machine could not be had: ", server.port)), "{told}");
    assert!(told.contains("\nhelp: name another with --port, or leave it out"), "{told}");
}
