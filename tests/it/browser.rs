//! Headless Chromium, driven by its own driver.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::actions::{
    InputSource, KeyAction, KeyActions, MouseActions, PointerAction, WheelAction, WheelActions,
};
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tempfile::TempDir;
use xtask::oracle;

/// How long anything on the page may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);

/// A browser with an empty profile.
pub struct Browser {
    client: Client,
    driver: Driver,
    _profile: TempDir,
}

/// The driver's process; the browser goes with it.
struct Driver {
    process: Child,
    url: String,
}

impl Browser {
    /// Starts one; fails with what to run when it is not installed.
    pub async fn start() -> Self {
        let driver = Driver::start();
        let profile = tempfile::tempdir().expect("a folder");
        let capabilities = json!({
            "goog:chromeOptions": {
                "binary": oracle::chromium(),
                "args": arguments(profile.path()),
            },
            "goog:loggingPrefs": {"browser": "ALL"},
        });
        let capabilities = capabilities.as_object().expect("an object").clone();
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&driver.url)
            .await
            .expect("a browser");
        Self {
            client,
            driver,
            _profile: profile,
        }
    }

    /// Opens an address.
    pub async fn open(&self, url: &str) {
        self.client.goto(url).await.expect("the page opens");
    }

    /// From the next page on, pages' own policies are not kept: for what a test brings
    /// along.
    pub async fn without_policy(&self) {
        let session = self.client.session_id().await.expect("a session");
        let session = session.expect("a session");
        let url = format!("{}/session/{session}/goog/cdp/execute", self.driver.url);
        let body = json!({"cmd": "Page.setBypassCSP", "params": {"enabled": true}});
        let asked = tokio::task::spawn_blocking(move || tell(&url, &body.to_string()));
        asked.await.expect("it runs").expect("the driver does it");
    }

    /// Runs a script in the page.
    pub async fn run(&self, script: &str) -> Value {
        self.client
            .execute(script, Vec::new())
            .await
            .expect("the script runs")
    }

    /// Waits until a script says something that is true.
    pub async fn wait(&self, what: &str, script: &str) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let said = self.run(script).await;
            if !matches!(said, Value::Null | Value::Bool(false)) {
                return said;
            }
            if Instant::now() > until {
                let body = self.run("return document.body.innerText").await;
                panic!("never saw {what}; the page says: {body}");
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Presses a key as a person would, wherever the focus is.
    pub async fn press(&self, key: char) {
        let focused = self
            .client
            .active_element()
            .await
            .expect("an element has the focus");
        focused
            .send_keys(&key.to_string())
            .await
            .expect("the key is pressed");
    }

    /// Presses at one point of the window, CSS px, and lets go at another, by way of the
    /// points between.
    pub async fn drag_along(&self, path: &[(f64, f64)]) {
        let to = |&(x, y): &(f64, f64)| PointerAction::MoveTo {
            duration: Some(Duration::from_millis(20)),
            x,
            y,
        };
        let mut hand = MouseActions::new("hand".into()).then(to(&path[0]));
        hand = hand.then(PointerAction::Down { button: 0 });
        hand = path[1..].iter().map(to).fold(hand, MouseActions::then);
        let done = hand.then(PointerAction::Up { button: 0 });
        let acted = self.client.perform_actions(done).await;
        acted.expect("the hand moves");
    }

    /// Turns the wheel over a point, by so many CSS px.
    pub async fn wheel(&self, (x, y): (f64, f64), down: i64) {
        let turn = WheelAction::Scroll {
            duration: None,
            x: x as i64,
            y: y as i64,
            delta_x: 0,
            delta_y: down,
        };
        let wheel = WheelActions::new("wheel".into()).then(turn);
        let acted = self.client.perform_actions(wheel).await;
        acted.expect("the wheel turns");
    }

    /// Presses keys, the first of them held down until the end.
    pub async fn chord(&self, held: Key, keys: &[Key]) {
        let mut hand = KeyActions::new("keys".into()).then(KeyAction::Down { value: held.into() });
        for key in keys {
            let value = (*key).into();
            hand = hand.then(KeyAction::Down { value });
            hand = hand.then(KeyAction::Up { value });
        }
        let done = hand.then(KeyAction::Up { value: held.into() });
        let acted = self.client.perform_actions(done).await;
        acted.expect("keys are pressed");
    }

    /// Types into an element.
    pub async fn type_into(&self, css: &str, text: &str) {
        let element = self
            .client
            .find(Locator::Css(css))
            .await
            .expect("the element");
        element.send_keys(text).await.expect("it is typed");
    }

    /// Cuts the browser's connection, or lets it send so many bytes a second.
    pub async fn network(&self, offline: bool, upload_bytes_s: i64) {
        let conditions = json!({"network_conditions": {
            "offline": offline,
            "latency": 0,
            "upload_throughput": upload_bytes_s,
            "download_throughput": -1,
        }});
        self.ask_driver("chromium/network_conditions", conditions)
            .await;
    }

    /// Clicks an element, brought to the middle as a person would who finds it behind the
    /// player.
    pub async fn click(&self, css: &str) {
        let css_text = serde_json::to_string(css).expect("a string");
        self.run(&format!(
            "document.querySelector({css_text})?.scrollIntoView({{ block: 'center' }}); return 1"
        ))
        .await;
        let element = self
            .client
            .find(Locator::Css(css))
            .await
            .expect("the element");
        element.click().await.expect("it is clicked");
    }

    /// Makes the window another size, in CSS px.
    pub async fn resize(&self, width: u32, height: u32) {
        let metrics = json!({"width": width, "height": height, "deviceScaleFactor": 1,
            "mobile": false});
        self.devtools("Emulation.setDeviceMetricsOverride", &metrics)
            .await;
    }

    /// Has the browser keep what it downloads in a folder.
    pub async fn downloads_into(&self, folder: &Path) {
        let params = json!({"behavior": "allow", "downloadPath": folder});
        self.devtools("Browser.setDownloadBehavior", &params).await;
    }

    /// Calls a command of the browser's own protocol.
    async fn devtools(&self, command: &str, params: &Value) {
        let body = json!({"cmd": command, "params": params});
        self.ask_driver("goog/cdp/execute", body).await;
    }

    /// Ends the browser; the complaints it had about the page.
    pub async fn end(self) -> Vec<String> {
        let complaints = self.complaints().await;
        self.client.close().await.expect("the browser ends");
        drop(self.driver);
        complaints
    }

    async fn complaints(&self) -> Vec<String> {
        let answer = self.ask_driver("se/log", json!({"type": "browser"})).await;
        let entries = answer["value"].as_array().cloned().unwrap_or_default();
        entries
            .iter()
            .map(|entry| entry["message"].to_string())
            .collect()
    }

    /// Asks the driver what the client has no call for.
    async fn ask_driver(&self, path: &str, body: Value) -> Value {
        let session = self
            .client
            .session_id()
            .await
            .expect("a session")
            .expect("a session");
        let url = format!("{}/session/{session}/{path}", self.driver.url);
        let asked = move || tell(&url, &body.to_string());
        let answer = tokio::task::spawn_blocking(asked)
            .await
            .expect("it runs")
            .expect("an answer");
        serde_json::from_str(&answer).expect("JSON")
    }
}

/// What the driver says to something that the client has no call for.
fn tell(url: &str, body: &str) -> Result<String, ureq::Error> {
    // The driver is on this machine, whatever the environment says.
    let agent = ureq::Agent::config_builder()
        .proxy(None)
        .build()
        .new_agent();
    let request = agent.post(url).header("content-type", "application/json");
    let mut answer = request.send(body)?;
    answer.body_mut().read_to_string()
}

fn arguments(profile: &Path) -> Vec<String> {
    [
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--window-size=1280,900",
    ]
    .into_iter()
    .map(str::to_owned)
    .chain([format!("--user-data-dir={}", profile.display())])
    .collect()
}

impl Driver {
    fn start() -> Self {
        let mut process = Command::new(oracle::chromedriver())
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the browser's driver starts");
        let told = BufReader::new(process.stdout.take().expect("its output"));
        let port = told
            .lines()
            .map_while(Result::ok)
            .find_map(|line| port_of(&line))
            .expect("the driver says its port");
        Self {
            process,
            url: format!("http://127.0.0.1:{port}"),
        }
    }
}

/// From 'ChromeDriver was started successfully on port 41234.'
fn port_of(line: &str) -> Option<u16> {
    let (_, rest) = line.split_once("successfully on port ")?;
    rest.trim_end().trim_end_matches('.').parse().ok()
}

impl Drop for Driver {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
