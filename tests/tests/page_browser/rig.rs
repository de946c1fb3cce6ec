//! A real browser for tests of pages, over the Chrome DevTools Protocol: no driver and nothing between.
//!
//! `SLACKSIDE_BROWSER` names the program; without it a `chromium` on the path is taken. Where there is none the tests say so and
//! skip, unless the variable is set: then they fail.

use std::fs;
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;
use tungstenite::stream::MaybeTlsStream;
use tungstenite::{Message, WebSocket};

/// How long anything may take.
const PATIENCE: Duration = Duration::from_secs(90);

/// A browser with one page open. It ends with this value.
pub struct Browser {
    program: Child,
    socket: WebSocket<MaybeTlsStream<TcpStream>>,
    session: String,
    asked: u64,
    /// Whatever went wrong in the page: exceptions, errors written to the console, and requests for anything but the page itself.
    pub complaints: Vec<String>,
    home: TempDir,
}

impl Browser {
    /// Start it; `None` where there is none and none is demanded.
    ///
    /// # Panics
    /// It is demanded and does not start.
    #[must_use]
    pub fn start() -> Option<Self> {
        let demanded = std::env::var("SLACKSIDE_BROWSER").ok();
        let name = demanded.clone().unwrap_or_else(|| "chromium".to_owned());
        let home = tempfile::tempdir().expect("a temporary directory");
        let started = Command::new(&name)
            .args(["--headless=new", "--no-sandbox", "--disable-gpu", "--remote-debugging-port=0", "--hide-scrollbars"])
            .arg(format!("--user-data-dir={}", home.path().display()))
            .arg("about:blank")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let program = match started {
            Ok(program) => program,
            Err(error) => {
                assert!(demanded.is_none(), "{name} does not start: {error}");
                println!("skipped: there is no {name} here; SLACKSIDE_BROWSER names another");
                return None;
            }
        };
        let address = address(home.path());
        let (socket, _) = tungstenite::connect(&address).expect("the browser answers");
        if let MaybeTlsStream::Plain(stream) = socket.get_ref() {
            stream.set_read_timeout(Some(PATIENCE)).expect("a socket");
        }
        let mut browser = Self { program, socket, session: String::new(), asked: 0, complaints: Vec::new(), home };
        let target = browser.ask("Target.createTarget", json!({"url": "about:blank"}));
        let attach = json!({"targetId": target["targetId"], "flatten": true});
        let session = browser.ask("Target.attachToTarget", attach);
        session["sessionId"].as_str().expect("a session").clone_into(&mut browser.session);
        for domain in ["Page", "Runtime", "Network", "Log"] {
            browser.ask(&format!("{domain}.enable"), json!({}));
        }
        Some(browser)
    }

    /// Ask for something, and wait for the answer.
    ///
    /// # Panics
    /// The browser refuses.
    pub fn ask(&mut self, method: &str, parameters: Value) -> Value {
        self.asked += 1;
        let mut message = json!({"id": self.asked, "method": method, "params": parameters});
        if !self.session.is_empty() {
            message["sessionId"] = json!(self.session);
        }
        self.socket.send(Message::text(message.to_string())).expect("the browser listens");
        loop {
            let mut answer = self.hear();
            if answer["id"] == json!(self.asked) {
                assert!(answer.get("error").is_none(), "{method}: {}", answer["error"]);
                return answer["result"].take();
            }
        }
    }

    fn hear(&mut self) -> Value {
        loop {
            let Message::Text(text) = self.socket.read().expect("the browser speaks") else { continue };
            let message: Value = serde_json::from_str(&text).expect("JSON");
            let told = &message["params"];
            match message["method"].as_str() {
                Some("Runtime.exceptionThrown") => self.complaints.push(told["exceptionDetails"].to_string()),
                Some("Runtime.consoleAPICalled") if told["type"] == "error" => {
                    self.complaints.push(told["args"].to_string())
                }
                Some("Log.entryAdded") if told["entry"]["level"] == "error" => {
                    self.complaints.push(told["entry"].to_string())
                }
                Some("Network.requestWillBeSent") => {
                    let address = told["request"]["url"].as_str().unwrap_or_default();
                    let own = ["file:", "data:", "about:", "blob:"].iter().any(|scheme| address.starts_with(scheme));
                    if !own {
                        self.complaints.push(format!("asks for {address}"));
                    }
                }
                _ => {}
            }
            return message;
        }
    }

    /// Open a page from its text, and wait until it is there and its script is done.
    ///
    /// # Panics
    /// It does not come.
    pub fn open(&mut self, html: &str) {
        let path = self.home.path().join("page.html");
        fs::write(&path, html).expect("written");
        self.ask("Page.navigate", json!({"url": format!("file://{}", path.display())}));
        self.wait_for("document.readyState === 'complete' && location.protocol === 'file:'");
    }

    /// The value of an expression in the page; promises are awaited.
    ///
    /// # Panics
    /// It throws.
    pub fn value(&mut self, expression: &str) -> Value {
        let wanted = json!({"expression": expression, "awaitPromise": true, "returnByValue": true});
        let mut answer = self.ask("Runtime.evaluate", wanted);
        assert!(answer.get("exceptionDetails").is_none(), "{expression}: {}", answer["exceptionDetails"]);
        answer["result"]["value"].take()
    }

    /// A number in the page.
    ///
    /// # Panics
    /// It is none.
    pub fn number(&mut self, expression: &str) -> f64 {
        let value = self.value(expression);
        value.as_f64().unwrap_or_else(|| panic!("{expression} is {value}, no number"))
    }

    /// How long script has run so far, in milliseconds of the processor, once `Performance.enable` has asked for thread ticks.
    ///
    /// # Panics
    /// The browser does not count it.
    pub fn script_ms(&mut self) -> f64 {
        let told = self.ask("Performance.getMetrics", json!({}));
        let metrics = told["metrics"].as_array().expect("metrics");
        let script = metrics.iter().find(|metric| metric["name"] == "ScriptDuration").expect("script is counted");
        script["value"].as_f64().expect("seconds") * 1e3
    }

    /// A text in the page.
    ///
    /// # Panics
    /// It is none.
    pub fn text(&mut self, expression: &str) -> String {
        let value = self.value(expression);
        value.as_str().unwrap_or_else(|| panic!("{expression} is {value}, no text")).to_owned()
    }

    /// Wait until an expression is true.
    ///
    /// # Panics
    /// It does not become true.
    pub fn wait_for(&mut self, expression: &str) {
        let begun = Instant::now();
        while self.value(&format!("Boolean({expression})")) != json!(true) {
            assert!(begun.elapsed() < PATIENCE, "never came true: {expression}; {:?}", self.complaints);
            sleep(Duration::from_millis(20));
        }
    }

    /// Make the window so large; a phone has touch and no scroll bars.
    pub fn size(&mut self, width: u32, height: u32, phone: bool) {
        let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone});
        self.ask("Emulation.setDeviceMetricsOverride", size);
    }

    /// Light or dark.
    pub fn scheme(&mut self, scheme: &str) {
        let features = json!({"media": "", "features": [{"name": "prefers-color-scheme", "value": scheme}]});
        self.ask("Emulation.setEmulatedMedia", features);
    }

    /// As on paper, or as on a screen again.
    pub fn paper(&mut self, paper: bool) {
        self.ask("Emulation.setEmulatedMedia", json!({"media": if paper { "print" } else { "" }}));
    }

    /// Press and let go a key, as the keyboard tells it.
    pub fn key(&mut self, key: &str, shift: bool) {
        let text = if key.chars().count() == 1 { key } else { "" };
        for kind in ["keyDown", "keyUp"] {
            let told = if kind == "keyDown" { text } else { "" };
            let mut event = json!({"type": kind, "key": key, "modifiers": if shift { 8 } else { 0 }});
            if !told.is_empty() {
                event["text"] = json!(told);
            }
            if key == "Tab" {
                event["windowsVirtualKeyCode"] = json!(9);
            }
            self.ask("Input.dispatchKeyEvent", event);
        }
    }

    /// Move, press or let go the mouse.
    pub fn mouse(&mut self, kind: &str, x: f64, y: f64) {
        let held = kind != "mouseReleased" && kind != "hover";
        let kind = if kind == "hover" { "mouseMoved" } else { kind };
        let button = if held { "left" } else { "none" };
        let count = u8::from(kind == "mousePressed" || kind == "mouseReleased");
        let button = if kind == "mouseReleased" { "left" } else { button };
        self.ask(
            "Input.dispatchMouseEvent",
            json!({"type": kind, "x": x, "y": y, "button": button, "buttons": u8::from(held), "clickCount": count}),
        );
    }

    /// Put so many fingers on the screen, move them, or take them away.
    pub fn touch(&mut self, kind: &str, places: &[(f64, f64)]) {
        let points: Vec<Value> =
            places.iter().enumerate().map(|(id, (x, y))| json!({"x": x, "y": y, "id": id})).collect();
        self.ask("Input.dispatchTouchEvent", json!({"type": kind, "touchPoints": points}));
    }

    /// How many pages it prints on paper of this size in inches.
    ///
    /// # Panics
    /// It does not print.
    pub fn pages(&mut self, width: f64, height: f64) -> usize {
        let wanted = json!({"paperWidth": width, "paperHeight": height, "printBackground": true, "preferCSSPageSize": false,
            "marginTop": 0.47, "marginBottom": 0.47, "marginLeft": 0.47, "marginRight": 0.47});
        let answer = self.ask("Page.printToPDF", wanted);
        // In base 64 a name cannot be looked for; the page says how long its text is.
        let decoded = self.value(&format!(
            "(atob('{}').match(/\\/Type\\s*\\/Page\\b/g) ?? []).length",
            answer["data"].as_str().expect("a document")
        ));
        usize::try_from(decoded.as_u64().expect("a count")).expect("few pages")
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

/// Where the browser listens, once it says so.
fn address(home: &Path) -> String {
    let begun = Instant::now();
    loop {
        let said = fs::read_to_string(home.join("DevToolsActivePort")).unwrap_or_default();
        if let Some((port, path)) = said.trim().split_once('\n') {
            return format!("ws://127.0.0.1:{port}{path}");
        }
        assert!(begun.elapsed() < PATIENCE, "the browser does not say where it listens");
        sleep(Duration::from_millis(20));
    }
}
