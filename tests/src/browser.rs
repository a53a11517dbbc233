//! A real browser, headless, driven over WebDriver (W3C Recommendation 2018): a handful of
//! JSON requests to the driver on this machine.
//!
//! Debian's packages `chromium` and `chromium-driver` bring both programs. Where they are
//! missing the tests say so and pass, unless `PEAKORDER_NEEDS_BROWSER` is set, as it is in
//! `.ci/run`: then they fail.

use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// What the page is looked at on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Screen {
    /// For messages.
    pub name: &'static str,
    /// CSS pixels.
    pub width: u32,
    /// CSS pixels.
    pub height: u32,
    /// The system prefers dark.
    pub dark: bool,
    /// Fingers, not a mouse.
    pub touch: bool,
}

/// A 10-inch tablet on its side.
pub const TABLET: Screen =
    Screen { name: "tablet, light", width: 1280, height: 800, dark: false, touch: true };
/// A screen of that size with a mouse.
pub const DESK: Screen = Screen { name: "desk, light", touch: false, ..TABLET };
/// The tablet in the dark.
pub const TABLET_DARK: Screen = Screen { name: "tablet, dark", dark: true, ..TABLET };
/// A tablet upright.
pub const UPRIGHT: Screen =
    Screen { name: "tablet upright, light", width: 800, height: 1280, dark: false, touch: true };
/// A phone.
pub const PHONE: Screen = Screen { name: "phone, light", width: 390, height: 844, dark: false, touch: true };
/// The same in the dark.
pub const PHONE_DARK: Screen = Screen { name: "phone, dark", dark: true, ..PHONE };

/// Set where a missing browser is a failure.
pub const NEEDED: &str = "PEAKORDER_NEEDS_BROWSER";

/// How long an element may take to be there and to be free to be tapped.
const TAPPABLE: Duration = Duration::from_secs(15);

/// Key by which WebDriver names an element (W3C WebDriver, section 12.1).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// A browser window.
#[derive(Debug)]
pub struct Browser {
    agent: ureq::Agent,
    /// Address of the WebDriver session.
    session: String,
    screen: Screen,
    /// Dropped last, after the window.
    _driver: Driver,
}

/// The WebDriver server; it and the browsers it started are gone when this is dropped.
#[derive(Debug)]
struct Driver {
    child: Child,
    port: u16,
}

impl Driver {
    fn start() -> Option<Self> {
        let mut command = Command::new("chromedriver");
        command.arg("--port=0").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let mut child = match command.spawn() {
            Ok(child) => child,
            Err(why) => {
                assert!(
                    std::env::var_os(NEEDED).is_none(),
                    "chromedriver: {why}; install chromium and chromium-driver, or unset {NEEDED}"
                );
                eprintln!("SKIPPED: no browser (chromedriver: {why}); install chromium and chromium-driver");
                return None;
            }
        };
        let out = BufReader::new(child.stdout.take().expect("its output is piped"));
        let mut lines = out.lines();
        let port = lines
            .by_ref()
            .map_while(Result::ok)
            // An earlier line names the port that was asked for, 0.
            .find_map(|line| line.split_once("successfully on port ")?.1.trim_end_matches('.').parse().ok())
            .expect("chromedriver names its port");
        // Whatever else it says must not fill the pipe.
        std::thread::spawn(move || lines.for_each(drop));
        Some(Self { child, port })
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // The browser is a child of the driver and in its process group.
        let group = format!("-{}", self.child.id());
        let _ = Command::new("kill").args(["-TERM", "--", &group]).stderr(Stdio::null()).status();
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Browser {
    /// Opens a window; `None` where there is no browser and none is needed.
    pub fn open(screen: Screen) -> Option<Self> {
        let driver = Driver::start()?;
        let mut arguments = vec![
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--mute-audio",
        ];
        if screen.dark {
            arguments.push("--force-dark-mode");
        }
        let options = json!({
            "args": arguments,
            "mobileEmulation": {"deviceMetrics": {
                "width": screen.width, "height": screen.height, "pixelRatio": 1.0, "touch": screen.touch,
            }},
        });
        let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
        let mut browser =
            Self { session: format!("http://127.0.0.1:{}", driver.port), agent, screen, _driver: driver };
        let wanted = json!({"capabilities": {"alwaysMatch": {"goog:chromeOptions": options}}});
        let opened = browser.ask("/session", &wanted).unwrap_or_else(|e| panic!("no browser window: {e}"));
        let id = opened["sessionId"].as_str().unwrap_or_else(|| panic!("no session in {opened}"));
        browser.session = format!("{}/session/{id}", browser.session);
        Some(browser)
    }

    /// A command of WebDriver; its value, or its error in words.
    fn ask(&self, command: &str, body: &Value) -> Result<Value, String> {
        let address = format!("{}{command}", self.session);
        let request = self.agent.post(&address).header("content-type", "application/json");
        let mut response = request.send(body.to_string()).map_err(|e| format!("{command}: {e}"))?;
        let text = response.body_mut().with_config().limit(64 << 20).read_to_string();
        let text = text.map_err(|e| format!("{command}: {e}"))?;
        let answer: Value = serde_json::from_str(&text).map_err(|e| format!("{command}: {e}: {text}"))?;
        if response.status() == 200 {
            Ok(answer["value"].clone())
        } else {
            Err(format!("{command}: {}", answer["value"]["message"].as_str().unwrap_or(&text)))
        }
    }

    /// What it is looked at on.
    pub fn screen(&self) -> Screen {
        self.screen
    }

    /// Opens an address.
    pub fn goto(&self, url: &str) {
        self.ask("/url", &json!({ "url": url })).unwrap_or_else(|e| panic!("{url}: {e}"));
    }

    /// From now on the network carries this much and every answer waits this long.
    pub fn slow_network(&self, kbit_s: f64, latency_ms: f64) {
        let bytes_s = kbit_s * 1000.0 / 8.0;
        let conditions = json!({
            "cmd": "Network.emulateNetworkConditions",
            "params": {
                "offline": false, "latency": latency_ms, "downloadThroughput": bytes_s, "uploadThroughput": bytes_s,
            },
        });
        let enable = json!({ "cmd": "Network.enable", "params": {} });
        for command in [enable, conditions] {
            self.ask("/goog/cdp/execute", &command).unwrap_or_else(|e| panic!("a slow network: {e}"));
        }
    }

    /// Forgets what was loaded before.
    pub fn clear_cache(&self) {
        let command = json!({ "cmd": "Network.clearBrowserCache", "params": {} });
        self.ask("/goog/cdp/execute", &command).unwrap_or_else(|e| panic!("an empty cache: {e}"));
    }

    /// Runs a script in the page: `return …`.
    pub fn run(&self, script: &str) -> Value {
        self.ask("/execute/sync", &json!({"script": script, "args": []}))
            .unwrap_or_else(|e| panic!("{}: {e}", start_of(script)))
    }

    /// Runs a script that hands its result to its last argument.
    pub fn run_async(&self, script: &str) -> Value {
        self.ask("/execute/async", &json!({"script": script, "args": []}))
            .unwrap_or_else(|e| panic!("{}: {e}", start_of(script)))
    }

    /// Prints the page on paper of that size, centimetres, with the page's own margins; gives the number of sides.
    pub fn printed_sides(&self, (width_cm, height_cm): (f64, f64)) -> usize {
        let margins = json!({"top": 1.0, "bottom": 1.0, "left": 1.0, "right": 1.0});
        let wanted = json!({
            "page": {"width": width_cm, "height": height_cm}, "margin": margins,
            "background": true, "shrinkToFit": false,
        });
        let printed = self.ask("/print", &wanted).unwrap_or_else(|e| panic!("{e}"));
        let bytes = in_base64(printed.as_str().expect("the file in base64"));
        assert!(bytes.starts_with(b"%PDF"), "it is a PDF");
        let pdf = String::from_utf8_lossy(&bytes);
        // The tree of pages tells how many there are (ISO 32000-1, 7.7.3).
        let counts: Vec<usize> = pdf
            .split("/Type /Pages")
            .skip(1)
            .filter_map(|t| {
                t.split_once("/Count ")?.1.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok()
            })
            .collect();
        counts.into_iter().max().expect("a tree of pages")
    }

    /// What a person can read on the page.
    pub fn text(&self) -> String {
        self.run("return document.body.innerText").as_str().unwrap_or_default().to_owned()
    }

    /// Waits until a script returns something true and gives that.
    pub fn until(&self, what: &str, script: &str, at_most: Duration) -> Value {
        let start = Instant::now();
        loop {
            let value = self.run(script);
            if !matches!(value, Value::Null | Value::Bool(false)) {
                return value;
            }
            assert!(
                start.elapsed() < at_most,
                "{}: waited {at_most:?} for {what}; the page says:\n{}",
                self.screen.name,
                self.text()
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Waits until the page says `words`.
    pub fn sees(&self, words: &str, at_most: Duration) {
        let script = format!("return document.body.innerText.includes({})", json!(words));
        self.until(&format!("“{words}”"), &script, at_most);
    }

    /// Taps what a CSS selector finds, as soon as it is there.
    pub fn tap(&self, css: &str) {
        self.as_soon_as(css, |element| self.ask(&format!("{element}/click"), &json!({})));
    }

    /// Does something to what a CSS selector finds, as soon as it is there and lets itself.
    fn as_soon_as(&self, css: &str, act: impl Fn(&str) -> Result<Value, String>) {
        let start = Instant::now();
        loop {
            // The page may redraw between finding and doing; then it is found again.
            let Err(why) = self.find(css).and_then(|element| act(&element)) else { return };
            assert!(
                start.elapsed() < TAPPABLE,
                "{}: {css}: {why}; the page says:\n{}",
                self.screen.name,
                self.text()
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Presses on what a CSS selector finds as a slow hand does: down, a while, up. As a mouse:
    /// for a finger this browser makes up the whole click when it is lifted, others do not.
    pub fn press_long(&self, css: &str, length: Duration) {
        let at = self.run(&format!(
            "const e = document.querySelector({}); e.scrollIntoView({{ block: 'center' }});
             const r = e.getBoundingClientRect();
             return [Math.round(r.x + r.width / 2), Math.round(r.y + r.height / 2)]",
            json!(css)
        ));
        let actions = json!({"actions": [{
            "type": "pointer", "id": "hand", "parameters": {"pointerType": "mouse"},
            "actions": [
                {"type": "pointerMove", "x": at[0], "y": at[1]},
                {"type": "pointerDown", "button": 0},
                {"type": "pause", "duration": length.as_millis() as u64},
                {"type": "pointerUp", "button": 0},
            ],
        }]});
        self.ask("/actions", &actions).unwrap_or_else(|e| panic!("{css}: {e}"));
    }

    /// Puts the window away, as a screen that goes dark does: the page is hidden
    /// (W3C WebDriver, section 11.8.4).
    pub fn put_away(&self) {
        self.ask("/window/minimize", &json!({})).unwrap_or_else(|e| panic!("{e}"));
    }

    /// Takes the window out again.
    pub fn take_out(&self) {
        let rect = json!({"x": 0, "y": 0, "width": self.screen.width, "height": self.screen.height});
        self.ask("/window/rect", &rect).unwrap_or_else(|e| panic!("{e}"));
    }

    /// Path of an element below the session's address.
    fn find(&self, css: &str) -> Result<String, String> {
        path_of(&self.ask("/element", &json!({"using": "css selector", "value": css}))?)
    }

    /// Types into what a CSS selector finds, in place of what is there.
    pub fn type_into(&self, css: &str, text: &str) {
        self.as_soon_as(css, |element| {
            self.ask(&format!("{element}/clear"), &json!({}))?;
            self.ask(&format!("{element}/value"), &json!({ "text": text }))
        });
    }

    /// Presses keys and lets them go, wherever the keyboard is.
    pub fn press(&self, keys: &str) {
        let strokes: Vec<Value> = keys
            .chars()
            .flat_map(|key| {
                [json!({"type": "keyDown", "value": key}), json!({"type": "keyUp", "value": key})]
            })
            .collect();
        let actions = json!({"actions": [{"type": "key", "id": "keyboard", "actions": strokes}]});
        self.ask("/actions", &actions).unwrap_or_else(|e| panic!("keys: {e}"));
    }

    /// Kind, label, text and id of what has the focus.
    pub fn focused(&self) -> String {
        self.run(
            "const e = document.activeElement;
             return `${e.tagName} ${e.getAttribute('aria-label') ?? ''} ${e.innerText ?? ''} ${e.id}`",
        )
        .as_str()
        .unwrap_or_default()
        .to_owned()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The driver goes next and takes the window with it; this lets it close well.
        let _ = self.agent.delete(&self.session).call();
    }
}

/// Bytes of base64 (RFC 4648, section 4).
fn in_base64(text: &str) -> Vec<u8> {
    let value = |c: u8| match c {
        b'A'..=b'Z' => u32::from(c - b'A'),
        b'a'..=b'z' => u32::from(c - b'a') + 26,
        b'0'..=b'9' => u32::from(c - b'0') + 52,
        b'+' => 62,
        b'/' => 63,
        _ => panic!("no base64: {c}"),
    };
    let digits: Vec<u32> =
        text.bytes().filter(|c| *c != b'=' && !c.is_ascii_whitespace()).map(value).collect();
    let mut bytes = Vec::with_capacity(digits.len() / 4 * 3 + 3);
    for four in digits.chunks(4) {
        let bits = four.iter().fold(0, |bits, d| bits << 6 | d) << (6 * (4 - four.len()));
        bytes.extend(bits.to_be_bytes().into_iter().skip(1).take(four.len() - 1));
    }
    bytes
}

fn path_of(element: &Value) -> Result<String, String> {
    let id = element[ELEMENT].as_str().ok_or_else(|| format!("no element in {element}"))?;
    Ok(format!("/element/{id}"))
}

/// Enough of a script to know it again in a message.
fn start_of(script: &str) -> &str {
    script.char_indices().nth(200).map_or(script, |(at, _)| &script[..at])
}
