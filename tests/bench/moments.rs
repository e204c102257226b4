//! `cargo bench --bench moments`: each stretch of speech once. What the speech
//! model has to hear, the word error rate beside every source by itself and the
//! best single source, and where the words lie in every file.
//!
//! Two events: the demo, and a random one with eight recorders. tiny.en. With
//! `FUSED=1` the sources by themselves, which take four fifths of the time, are left
//! out; `SHOW=1` prints the lines with errors; `ONLY=demo` or `ONLY=eight` does one;
//! `SEED=7` takes another random event than 101.

#[path = "moments/event.rs"]
mod event;
#[path = "moments/fused.rs"]
mod fused;
#[path = "moments/said.rs"]
mod said;
#[path = "../it/speech/score.rs"]
mod score;
#[path = "../it/speech/share.rs"]
mod share;
#[path = "moments/table.rs"]
mod table;
#[path = "moments/times.rs"]
mod times;

use sayback::speech::{Whisper, default_threads};
use xtask::oracle;
use xtask::scene::{self, Shuffled, Truth};

fn main() {
    let mut model = Whisper::load(&oracle::model("tiny.en"), default_threads()).expect("a model");
    let folder = tempfile::tempdir().expect("a folder");
    let only = std::env::var("ONLY").ok();
    let wanted = |name: &str| only.as_deref().is_none_or(|only| only == name);
    let made = |name: &str| {
        let made = folder.path().join(name);
        std::fs::create_dir(&made).expect("a folder");
        made
    };
    if wanted("demo") {
        let demo = made("demo");
        let truth = scene::demo::build(&demo).expect("the demo");
        table::print("the demo", &demo, &truth, &mut model);
    }
    if wanted("eight") {
        let eight = made("eight");
        let truth = eight_recorders(&eight);
        table::print("eight recorders", &eight, &truth, &mut model);
    }
}

/// Five minutes, eight recorders, 0 to 30 dB, a ringing room.
fn eight_recorders(folder: &std::path::Path) -> Truth {
    let seed = std::env::var("SEED").map_or(101, |seed| seed.parse().expect("a seed"));
    let spec = Shuffled {
        recorders: (8, 8),
        ..Shuffled::new(seed, 300.0)
    };
    scene::build(&spec.spec().expect("a spec"), folder).expect("a scene")
}
