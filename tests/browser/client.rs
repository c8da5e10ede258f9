//! A browser without a window, asked over its debugging socket (the protocol that the browser itself describes
//! at `/json/protocol`). It listens on loopback only and is stopped when the test ends.

use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;
use tungstenite::{Message, WebSocket};

/// How long anything may take before the test gives up.
const PATIENCE: Duration = Duration::from_secs(60);

/// Keeps the browser from doing anything but what it is asked: no updates, no reports, no first steps.
const QUIET: [&str; 9] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--remote-debugging-port=0",
];

pub struct Browser {
    child: Child,
    socket: WebSocket<TcpStream>,
    last: u64,
    /// What the browser told without being asked, with the page it is about.
    pub events: Vec<Value>,
    _profile: TempDir,
}

impl Browser {
    /// `None` where no browser is installed; in a run that must not skip, that fails.
    pub fn start() -> Option<Self> {
        let profile = tempfile::tempdir().expect("a folder");
        let started = Command::new("chromium")
            .args(QUIET)
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let child = match started {
            Ok(child) => child,
            Err(error) => {
                crate::skipped::skip("Chromium", &error);
                return None;
            }
        };
        let (port, path) = address(profile.path());
        let stream = TcpStream::connect(("127.0.0.1", port)).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a limit");
        let url = format!("ws://127.0.0.1:{port}{path}");
        let (socket, _) = tungstenite::client(url, stream).expect("a web socket");
        Some(Self {
            child,
            socket,
            last: 0,
            events: Vec::new(),
            _profile: profile,
        })
    }

    fn read(&mut self) -> Value {
        loop {
            match self.socket.read().expect("the browser answers in time") {
                Message::Text(text) => return serde_json::from_str(&text).expect("JSON"),
                Message::Close(_) => panic!("the browser went away"),
                _ => {}
            }
        }
    }

    /// Asks for something and waits for the answer.
    pub fn call(&mut self, page: Option<&str>, method: &str, parameters: &Value) -> Value {
        self.last += 1;
        let mut asked = json!({ "id": self.last, "method": method, "params": parameters });
        if let Some(page) = page {
            asked["sessionId"] = json!(page);
        }
        let text = asked.to_string();
        self.socket.send(Message::text(text)).expect("it listens");
        loop {
            let told = self.read();
            if told["id"] == json!(self.last) {
                assert!(told["error"].is_null(), "{method}: {told}");
                return told["result"].clone();
            }
            self.events.push(told);
        }
    }

    /// Opens a file in a page of its own and waits until it has loaded.
    pub fn open(&mut self, file: &Path, scripts: bool) -> Page<'_> {
        let made = self.call(
            None,
            "Target.createTarget",
            &json!({ "url": "about:blank" }),
        );
        let target = json!({ "targetId": made["targetId"], "flatten": true });
        let attached = self.call(None, "Target.attachToTarget", &target);
        let session = attached["sessionId"].as_str().expect("a name").to_owned();
        self.events.clear();
        let mut page = Page {
            browser: self,
            session,
            target: made["targetId"].clone(),
            loaded: Duration::ZERO,
        };
        for domain in ["Page", "Runtime", "Log", "Network"] {
            page.call(&format!("{domain}.enable"), &json!({}));
        }
        let off = json!({ "value": !scripts });
        page.call("Emulation.setScriptExecutionDisabled", &off);
        page.go(file);
        page
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Port and path of the socket, which the browser writes to its folder as soon as it listens.
fn address(profile: &Path) -> (u16, String) {
    let file = profile.join("DevToolsActivePort");
    let start = Instant::now();
    loop {
        let text = std::fs::read_to_string(&file).unwrap_or_default();
        if let Some((port, path)) = text.split_once('\n')
            && let Ok(port) = port.parse()
            && path.starts_with('/')
        {
            return (port, path.trim_end().to_owned());
        }
        assert!(start.elapsed() < PATIENCE, "the browser does not listen");
        std::thread::sleep(Duration::from_millis(20));
    }
}

pub struct Page<'b> {
    browser: &'b mut Browser,
    session: String,
    target: Value,
    /// How long opening took.
    pub loaded: Duration,
}

impl Page<'_> {
    pub fn call(&mut self, method: &str, parameters: &Value) -> Value {
        self.browser.call(Some(&self.session), method, parameters)
    }

    pub fn close(self) {
        let asked = json!({ "targetId": self.target });
        self.browser.call(None, "Target.closeTarget", &asked);
    }

    fn go(&mut self, file: &Path) {
        let start = Instant::now();
        let url = format!("file://{}", file.display());
        self.call("Page.navigate", &json!({ "url": url }));
        let loaded = |told: &Value| told["method"] == "Page.loadEventFired";
        while !self.browser.events.iter().any(loaded) {
            let told = self.browser.read();
            self.browser.events.push(told);
            assert!(start.elapsed() < PATIENCE, "the page does not load");
        }
        self.loaded = start.elapsed();
    }

    /// What an expression of the page's language is.
    pub fn value(&mut self, expression: &str) -> Value {
        let asked =
            json!({ "expression": expression, "returnByValue": true, "awaitPromise": true });
        let told = self.call("Runtime.evaluate", &asked);
        let thrown = &told["exceptionDetails"];
        assert!(thrown.is_null(), "{expression}: {thrown}");
        told["result"]["value"].clone()
    }

    pub fn text(&mut self, expression: &str) -> String {
        let value = self.value(expression);
        value
            .as_str()
            .map(str::to_owned)
            .unwrap_or_else(|| panic!("{expression} is {value}"))
    }

    pub fn number(&mut self, expression: &str) -> u64 {
        let value = self.value(expression);
        value
            .as_f64()
            .map(|number| number.round() as u64)
            .unwrap_or_else(|| panic!("{expression} is {value}"))
    }

    /// Presses and lets go of the mouse in the middle of an element.
    pub fn click(&mut self, selector: &str) {
        let place = format!(
            "(() => {{ const one = document.querySelector({selector:?}); one.scrollIntoView({{block: 'center'}}); \
             const at = one.getBoundingClientRect(); return [at.x + at.width / 2, at.y + at.height / 2]; }})()"
        );
        let at = self.value(&place);
        for kind in ["mousePressed", "mouseReleased"] {
            let event =
                json!({ "type": kind, "x": at[0], "y": at[1], "button": "left", "clickCount": 1 });
            self.call("Input.dispatchMouseEvent", &event);
        }
    }

    pub fn press(&mut self, key: &str, code: u32) {
        for kind in ["keyDown", "keyUp"] {
            let event =
                json!({ "type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code });
            self.call("Input.dispatchKeyEvent", &event);
        }
    }

    /// What the page complained of, and what it asked for beyond itself.
    pub fn complaints(&mut self) -> Vec<Value> {
        // An answer to a later question tells that all earlier events have been told.
        self.value("1");
        let complaint = |told: &&Value| match told["method"].as_str().unwrap_or("") {
            "Runtime.exceptionThrown" | "Runtime.consoleAPICalled" | "Log.entryAdded" => true,
            "Page.javascriptDialogOpening" | "Network.webSocketCreated" => true,
            "Network.requestWillBeSent" => told["params"]["type"] != "Document",
            _ => false,
        };
        self.browser
            .events
            .iter()
            .filter(complaint)
            .cloned()
            .collect()
    }

    /// How many requests were seen at all: the page itself is one.
    pub fn requests(&mut self) -> usize {
        let sent = |told: &&Value| told["method"] == "Network.requestWillBeSent";
        self.browser.events.iter().filter(sent).count()
    }
}
