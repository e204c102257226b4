//! What a model is said to need is near what it takes.

use std::fs;
use std::process::Command;

use sayback::core::Cancel;
use sayback::speech::{Ask, Recogniser, Whisper, memory_needed};
use xtask::oracle;

use super::window;

/// Names the model: of the process that measures itself, and of whoever wants
/// to know it of another (`PEAK_OF=base cargo test --test it peak -- --nocapture`).
const MODEL: &str = "PEAK_OF";
/// Set for the process that measures itself.
const INSIDE: &str = "PEAK_INSIDE";

/// A number of /proc/self/status, MB.
fn status_mb(name: &str) -> f64 {
    let status = fs::read_to_string("/proc/self/status").expect("Linux");
    let line = status.lines().find_map(|line| line.strip_prefix(name));
    let kb = line.and_then(|rest| rest.split_whitespace().next()?.parse::<f64>().ok());
    kb.expect("a number") * 1024.0 / 1e6
}

#[test]
fn a_model_takes_what_it_is_said_to_need() {
    let model = std::env::var(MODEL).unwrap_or_else(|_| "tiny.en".into());
    let file = oracle::model(&model);
    if std::env::var_os(INSIDE).is_some() {
        let samples = window();
        let before = status_mb("VmRSS:");
        let mut whisper = Whisper::load(&file, 1).expect("a model");
        println!("loaded:{}", status_mb("VmHWM:") - before);
        let ask = Ask {
            language: Some("en".into()),
            ..Ask::default()
        };
        let words = whisper.recognise(&samples, &ask, &Cancel::new(), &mut |_| {});
        assert!(words.expect("words").len() > 40);
        println!("peak:{}", status_mb("VmHWM:") - before);
        return;
    }
    // A process of its own: this one has run other tests.
    let done = Command::new(std::env::current_exe().expect("this program"))
        .args([
            "--exact",
            "speech::peak::a_model_takes_what_it_is_said_to_need",
            "--nocapture",
        ])
        .envs([(MODEL, model.as_str()), (INSIDE, "1")])
        .output()
        .expect("it runs itself");
    let text = String::from_utf8_lossy(&done.stdout).into_owned();
    let mb = |name: &str| -> f64 {
        let line = text.lines().find_map(|line| line.split_once(name));
        line.unwrap_or_else(|| panic!("{text}"))
            .1
            .parse()
            .expect("a number")
    };
    let needs = memory_needed(&file).expect("a model") as f64 / 1e6;
    let (loaded, peak) = (mb("loaded:"), mb("peak:"));
    println!("{model}: needs {needs:.0} MB, took {loaded:.0} MB loading and {peak:.0} MB in all");
    assert!(peak <= needs, "{model}: {peak} MB of {needs}");
    assert!(needs <= peak * 1.25, "{model}: {peak} MB of {needs}");
}
