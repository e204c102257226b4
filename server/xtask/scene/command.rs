//! How does somebody at a keyboard ask for a scene?

use std::path::PathBuf;

use anyhow::{Result, ensure};

use super::shuffled::Shuffled;
use super::truth::Truth;
use super::{demo, lines};

/// Builds recordings of a made-up event, with the exact truth about them in
/// truth.json.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Folder to write to.
    #[arg(long, required_unless_present = "speak")]
    out: Option<PathBuf>,
    /// The demo event: five sources, with its written texts.
    #[arg(long, conflicts_with_all = ["seed", "minutes"])]
    demo: bool,
    /// Seed of a random scene; the same seed gives the same scene.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Length of a random scene in minutes.
    #[arg(long, default_value_t = 5.0)]
    minutes: f64,
    /// Speak the dry lines in tests/lines anew (needs flite and ffmpeg).
    #[arg(long)]
    speak: bool,
}

/// Builds what was asked for and prints what was made.
///
/// # Errors
/// When the folder cannot be written or the dry lines are missing.
pub fn run(args: &Args) -> Result<()> {
    if args.speak {
        lines::speak()?;
        println!("spoke the lines of {}", lines::folder().display());
    }
    let Some(out) = &args.out else { return Ok(()) };
    ensure!(args.minutes > 0.0, "--minutes must be more than 0");
    std::fs::create_dir_all(out)?;
    let truth = if args.demo {
        demo::build(out)?
    } else {
        super::build(&Shuffled::new(args.seed, args.minutes * 60.0).spec()?, out)?
    };
    print(&truth);
    println!("written to {}", out.display());
    Ok(())
}

fn print(truth: &Truth) {
    println!(
        "{}: {:.1} s, {} lines",
        truth.title,
        truth.length_ms / 1000.0,
        truth.lines.len()
    );
    for take in &truth.recorders {
        println!(
            "  {:<14} {} Hz, {} channel(s), {} file(s), starts {:.3} s in, {:+.1} ppm, hears {} lines",
            take.label,
            take.rate_hz,
            take.channels.len(),
            take.files.len(),
            take.start_ms / 1000.0,
            take.drift_ppm,
            take.hearings.len(),
        );
    }
}
