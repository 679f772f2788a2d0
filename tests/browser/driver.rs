//! A browser, driven over the WebDriver protocol (W3C, `WebDriver`), which is JSON over HTTP on this machine: a blocking client
//! of a few lines, so that no other library is needed.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Once;
use std::time::Duration;

/// A session of a browser of its own, which ends with this.
pub(crate) struct Browser {
    driver: Driver,
    session: String,
}

/// A running `chromedriver`.
struct Driver {
    child: Child,
    port: u16,
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Driver {
    fn start() -> Result<Self, String> {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|e| format!("`chromedriver` does not start: {e}"))?;
        let mut lines = BufReader::new(child.stdout.take().expect("a pipe"));
        let mut driver = Self { child, port: 0 };
        let mut line = String::new();
        while driver.port == 0 {
            line.clear();
            if lines.read_line(&mut line).unwrap_or(0) == 0 {
                return Err("`chromedriver` ended before it said its port".to_owned());
            }
            let port = line.split_once("on port ").map(|(_, rest)| rest.trim_end().trim_end_matches('.'));
            driver.port = port.and_then(|p| p.parse().ok()).unwrap_or(0);
        }
        // It may speak on: nobody reads it, and nobody must wait.
        std::thread::spawn(move || std::io::copy(&mut lines, &mut std::io::sink()));
        Ok(driver)
    }

    fn call(&self, method: &str, path: &str, body: &Value) -> Result<Value, String> {
        let io = |e: std::io::Error| format!("{method} {path}: {e}");
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).map_err(io)?;
        stream.set_read_timeout(Some(Duration::from_secs(120))).map_err(io)?;
        let body = if method == "POST" { body.to_string() } else { String::new() };
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json; charset=utf-8\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n",
            self.port,
            body.len()
        );
        stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(body.as_bytes())).map_err(io)?;
        let mut reader = BufReader::new(stream);
        let (mut line, mut length) = (String::new(), 0);
        while reader.read_line(&mut line).map_err(io)? > 0 && !line.trim().is_empty() {
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().unwrap_or(0);
            }
            line.clear();
        }
        let mut bytes = vec![0; length];
        reader.read_exact(&mut bytes).map_err(io)?;
        let mut answer: Value = serde_json::from_slice(&bytes).map_err(|e| format!("{method} {path}: {e}"))?;
        let value = answer["value"].take();
        match value.get("error") {
            Some(error) if value.get("message").is_some() => Err(format!("{path}: {error}: {}", value["message"])),
            _ => Ok(value),
        }
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.driver.call("DELETE", &format!("/session/{}", self.session), &Value::Null);
    }
}

/// A browser, or none with a line that says why; where `HITGAP_BROWSER` is `required`, none is a failure.
pub(crate) fn browser() -> Option<Browser> {
    static SAID: Once = Once::new();
    match Browser::open() {
        Ok(browser) => Some(browser),
        Err(why) if required() => panic!("HITGAP_BROWSER=required, and there is no browser: {why}"),
        Err(why) => {
            // Past the test harness, which keeps what a passing test prints.
            SAID.call_once(|| say(&format!("skipped: the browser tests, for want of a browser: {why}")));
            None
        }
    }
}

pub(crate) fn required() -> bool {
    std::env::var_os("HITGAP_BROWSER").is_some_and(|v| v == "required")
}

pub(crate) fn say(line: &str) {
    let _ = writeln!(std::io::stderr(), "{line}");
}

/// The key of the keyboard's table in the protocol (`WebDriver`, section 17.4.2).
pub(crate) const TAB: &str = "\u{e004}";
pub(crate) const ENTER: &str = "\u{e007}";
pub(crate) const ESCAPE: &str = "\u{e00c}";
pub(crate) const LEFT: &str = "\u{e012}";
pub(crate) const UP: &str = "\u{e013}";
pub(crate) const RIGHT: &str = "\u{e014}";
pub(crate) const DOWN: &str = "\u{e015}";

impl Browser {
    fn open() -> Result<Self, String> {
        let driver = Driver::start()?;
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "browserName": "chrome",
            "goog:loggingPrefs": { "browser": "ALL", "performance": "ALL" },
            "goog:chromeOptions": { "args": [
                // Without a screen; in a container there is no sandbox to be had; sound may start without a hand.
                "--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--autoplay-policy=no-user-gesture-required",
                "--no-first-run", "--disable-background-networking", "--window-size=1280,900",
            ] },
        } } });
        let session = driver.call("POST", "/session", &wanted)?;
        let id = session["sessionId"].as_str().ok_or("a session without an id")?.to_owned();
        Ok(Self { driver, session: id })
    }

    fn call(&self, method: &str, path: &str, body: &Value) -> Value {
        self.driver.call(method, &format!("/session/{}{path}", self.session), body).unwrap_or_else(|e| panic!("{e}"))
    }

    pub(crate) fn go(&self, url: &str) {
        self.call("POST", "/url", &json!({ "url": url }));
    }

    /// Opens a page from disk and waits until it says that it is ready.
    /// Opens a page as somebody who has not heard anything of it yet.
    pub(crate) fn visit_anew(&self, page: &Path) {
        self.go(&url(page));
        self.until("return document.documentElement.dataset.ready === 'true'");
    }

    /// Opens a page on which the level is found already, if it asks for one.
    pub(crate) fn visit(&self, page: &Path) {
        self.visit_anew(page);
        self.js("if (hitgap.level && hitgap.level.confirm) hitgap.level.confirm()");
    }

    /// Opens another tab, closes the one that was open, and goes on in the new one.
    pub(crate) fn close_tab(&self) {
        let new = self.call("POST", "/window/new", &json!({ "type": "tab" }));
        self.call("DELETE", "/window", &Value::Null);
        self.call("POST", "/window", &json!({ "handle": new["handle"] }));
    }

    /// What a piece of script in the page returns.
    pub(crate) fn js(&self, script: &str) -> Value {
        self.call("POST", "/execute/sync", &json!({ "script": script, "args": [] }))
    }

    /// What a piece of script in the page resolves to; it may use `await`.
    pub(crate) fn run(&self, script: &str) -> Value {
        let script = format!(
            "const done = arguments[arguments.length - 1];\
             (async () => {{ {script} }})().then((v) => done({{ v }}), (e) => done({{ e: String(e) }}));"
        );
        let out = self.call("POST", "/execute/async", &json!({ "script": script, "args": [] }));
        assert!(out.get("e").is_none(), "{out}");
        out["v"].clone()
    }

    /// Waits until a script returns true.
    pub(crate) fn until(&self, script: &str) {
        for _ in 0..600 {
            if self.js(script) == true {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("never true: {script}");
    }

    /// Clicks as a hand does: the element must be in sight and uncovered.
    pub(crate) fn click(&self, id: &str) {
        self.click_on(&format!("#{id}"));
    }

    /// The same for the first element that a selector fits, brought from under what stays in sight.
    pub(crate) fn click_on(&self, selector: &str) {
        let found = self.call("POST", "/element", &json!({ "using": "css selector", "value": selector }));
        let element = found.as_object().and_then(|o| o.values().next()).and_then(Value::as_str).expect("an element");
        self.js(&format!("document.querySelector({}).scrollIntoView({{ block: 'center' }})", json!(selector)));
        self.call("POST", &format!("/element/{element}/click"), &json!({}));
    }

    /// Presses keys, one after the other, wherever the focus is.
    pub(crate) fn press(&self, keys: &[&str]) {
        let down_up = |k: &&str| [json!({ "type": "keyDown", "value": k }), json!({ "type": "keyUp", "value": k })];
        let actions: Vec<Value> = keys.iter().flat_map(down_up).collect();
        self.call("POST", "/actions", &json!({ "actions": [{ "type": "key", "id": "keyboard", "actions": actions }] }));
    }

    /// Presses Tab with Shift held down.
    pub(crate) fn press_back(&self) {
        const SHIFT: &str = "\u{e008}";
        let key = |what: &str, key: &str| json!({ "type": what, "value": key });
        let actions = [key("keyDown", SHIFT), key("keyDown", TAB), key("keyUp", TAB), key("keyUp", SHIFT)];
        self.call("POST", "/actions", &json!({ "actions": [{ "type": "key", "id": "keyboard", "actions": actions }] }));
    }

    /// Chooses a file as the browser's dialog would, which no page and no script can open or fill.
    pub(crate) fn choose_file(&self, id: &str, file: &Path) {
        let found = self.call("POST", "/element", &json!({ "using": "css selector", "value": format!("#{id}") }));
        let element = found.as_object().and_then(|o| o.values().next()).and_then(Value::as_str).expect("an element");
        let path = file.to_str().expect("a path that is text");
        self.call("POST", &format!("/element/{element}/value"), &json!({ "text": path }));
    }

    /// A command of the browser's own protocol.
    pub(crate) fn devtools(&self, command: &str, parameters: &Value) -> Value {
        self.call("POST", "/goog/cdp/execute", &json!({ "cmd": command, "params": parameters }))
    }

    /// A width of the view in pixels, and its colour scheme.
    pub(crate) fn look(&self, width: u32, scheme: &str) {
        let view = json!({ "width": width, "height": 900, "deviceScaleFactor": 1, "mobile": false });
        self.devtools("Emulation.setDeviceMetricsOverride", &view);
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.devtools("Emulation.setEmulatedMedia", &features);
    }

    /// What the console said since this was last asked.
    pub(crate) fn console(&self) -> Vec<String> {
        let log = self.call("POST", "/se/log", &json!({ "type": "browser" }));
        log.as_array().expect("entries").iter().map(|e| e["message"].as_str().unwrap_or_default().to_owned()).collect()
    }

    /// The addresses that were asked for since this was last asked, the page's own among them.
    pub(crate) fn requests(&self) -> Vec<String> {
        let log = self.call("POST", "/se/log", &json!({ "type": "performance" }));
        let one = |entry: &Value| {
            let message: Value = serde_json::from_str(entry["message"].as_str()?).ok()?;
            let message = &message["message"];
            (message["method"] == "Network.requestWillBeSent")
                .then(|| message["params"]["request"]["url"].as_str().unwrap_or_default().to_owned())
        };
        log.as_array().expect("entries").iter().filter_map(one).collect()
    }
}

/// The address of a file.
pub(crate) fn url(page: &Path) -> String {
    let mut out = String::from("file://");
    for byte in page.to_str().expect("a path that is text").bytes() {
        match byte {
            b'/' | b'-' | b'_' | b'.' | b'0'..=b'9' | b'a'..=b'z' | b'A'..=b'Z' => out.push(char::from(byte)),
            _ => out.push_str(&format!("%{byte:02X}")),
        }
    }
    out
}
