//! `cargo bench --bench moments`: each stretch of speech once. What the speech
//! model has to hear, the word error rate beside every source by itself and the
//! best single source, and where the words lie in every file.
//!
//! Two events: the demo, and a random one with eight recorders. tiny.en.

#[path = "moments/event.rs"]
mod event;
#[path = "moments/fused.rs"]
mod fused;
#[path = "moments/said.rs"]
mod said;
#[path = "../it/speech/score.rs"]
mod score;
#[path = "moments/table.rs"]
mod table;

use sayback::speech::{Whisper, default_threads};
use xtask::oracle;
use xtask::scene::{self, Shuffled, Truth};

fn main() {
    let mut model = Whisper::load(&oracle::model("tiny.en"), default_threads()).expect("a model");
    let folder = tempfile::tempdir().expect("a folder");
    let demo = folder.path().join("demo");
    std::fs::create_dir(&demo).expect("a folder");
    let truth = scene::demo::build(&demo).expect("the demo");
    table::print("the demo", &demo, &truth, &mut model);

    let eight = folder.path().join("eight");
    std::fs::create_dir(&eight).expect("a folder");
    table::print(
        "eight recorders",
        &eight,
        &eight_recorders(&eight),
        &mut model,
    );
}

/// Five minutes, eight recorders, 0 to 30 dB, a ringing room.
fn eight_recorders(folder: &std::path::Path) -> Truth {
    let spec = Shuffled {
        recorders: (8, 8),
        ..Shuffled::new(101, 300.0)
    };
    scene::build(&spec.spec().expect("a spec"), folder).expect("a scene")
}
