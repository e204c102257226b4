//! `cargo bench --bench sources`: is the recorder that is put first the one a listener
//! would choose? By STOI (package `pystoi`) of each hearing against the dry line.
//!
//! Random events of eight recorders with faults put into them, and the demo. `SEEDS=7,8`
//! takes other events; `PLAIN=1` puts no faults in; `DUMP=FILE` writes
//! the measures of each hearing.

#[path = "sources/faults.rs"]
mod faults;
#[path = "sources/recordings.rs"]
mod recordings;
#[path = "sources/table.rs"]
mod table;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use faults::Fault;
use recordings::{Recording, listened, moments, recordings};
use sayback::core::moments::{Hearing, Moment};
use sayback::core::quality::{Heard, Measures, Verdict};
use sayback::core::units::{ANALYSIS_RATE_HZ, EventMs, FileMs};
use sayback::media::read_analysis;
use xtask::oracle;
use xtask::scene::noise::NoiseKind;
use xtask::scene::random::Random;
use xtask::scene::truth::ChannelTruth;
use xtask::scene::{self, Shuffled, Truth, lines};

/// Events that are taken if nobody says which.
const SEEDS: &str = "21,22,23,24";
/// Below this a hearing is not compared: nothing of the line is in it.
const LEAST_MS: f64 = 500.0;

/// One recorder's copy of a line.
struct Copy {
    event: String,
    line: usize,
    label: String,
    placed: &'static str,
    fault: Fault,
    /// What its background is made of, by the truth.
    noise: Vec<NoiseKind>,
    segments: Segments,
    measures: Measures,
    /// As the product ranks and judges it; `None` where it has no such hearing.
    judged: Option<Judged>,
    stoi: f64,
}

/// What the product makes of it.
struct Judged {
    /// Whether its moment is played from here.
    first: bool,
    score: f32,
    clarity: Option<f32>,
    verdict: Verdict,
    why: Vec<String>,
}

/// What the detector says of the line, weighted by time.
struct Segments {
    snr_db: f32,
    clipped: f32,
    reverb: f32,
    covered: f32,
    level_dbfs: f32,
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let seeds = std::env::var("SEEDS").unwrap_or_else(|_| SEEDS.to_owned());
    let plain = std::env::var_os("PLAIN").is_some();
    let mut copies = Vec::new();
    for seed in seeds.split(',').filter(|seed| !seed.is_empty()) {
        let seed: u64 = seed.parse().expect("a seed");
        let made = folder.path().join(seed.to_string());
        std::fs::create_dir(&made).expect("a folder");
        let spec = Shuffled {
            recorders: (8, 8),
            ..Shuffled::new(seed, 150.0)
        };
        let truth = scene::build(&spec.spec().expect("a spec"), &made).expect("a scene");
        let mut random = Random::new(seed, "faults");
        let mut put = BTreeMap::new();
        for recorder in &truth.recorders {
            let fault = match plain {
                true => Fault::None,
                false => Fault::chosen(&mut random),
            };
            put.insert(recorder.label.clone(), fault);
            for file in &recorder.files {
                faults::spoil(&made.join(&file.path), fault, &mut random);
            }
        }
        copies.extend(heard(&format!("event {seed}"), &made, &truth, &put));
    }
    let demo = folder.path().join("demo");
    std::fs::create_dir(&demo).expect("a folder");
    let truth = scene::demo::build(&demo).expect("the demo");
    copies.extend(heard("the demo", &demo, &truth, &BTreeMap::new()));
    if let Some(file) = std::env::var_os("DUMP") {
        std::fs::write(file, dumped(&copies)).expect("a file to write");
    }
    table::print(&copies);
}

/// Every copy of every line, with its measures and its intelligibility.
fn heard(event: &str, folder: &Path, truth: &Truth, put: &BTreeMap<String, Fault>) -> Vec<Copy> {
    let dry = lines::load().expect("dry lines");
    let pairs = tempfile::tempdir().expect("a folder");
    let mut copies = Vec::new();
    let recordings = recordings(folder, truth);
    let listened: Vec<Heard> = recordings.iter().map(listened).collect();
    let moments = moments(&recordings, &listened);
    for (number, recording) in recordings.iter().enumerate() {
        let recorder = &truth.recorders[recording.recorder];
        for hearing in &recorder.hearings {
            let line = &truth.lines[hearing.line];
            let at = |ms: f64| ms - recording.first_ms;
            let (start, end) = (at(hearing.start_ms), at(hearing.end_ms));
            let inside = start >= 0.0 && end <= recording.duration_ms;
            if hearing.channel != recording.channel || !inside || end - start < LEAST_MS {
                continue;
            }
            // At another speed the dry line is another sound.
            if (line.speed - 1.0).abs() > 1e-9 {
                continue;
            }
            let (from, to) = (FileMs(start as i64), FileMs(end as i64));
            let Some(measures) = listened[number].measures(from, to) else {
                continue;
            };
            let dry = dry
                .iter()
                .find(|dry| dry.entry.id == line.id)
                .expect("a line");
            let rate = f64::from(recorder.rate_hz);
            let origin_ms = at(1000.0 * hearing.origin_frame / rate);
            pair(
                pairs.path(),
                copies.len(),
                recording,
                origin_ms,
                &dry.samples,
            );
            copies.push(Copy {
                event: event.to_owned(),
                line: hearing.line,
                label: recorder.label.clone(),
                placed: recorder.placement.as_str(),
                fault: put.get(&recorder.label).copied().unwrap_or(Fault::None),
                noise: noise(&recorder.channels[recording.channel]),
                segments: segments(recording, from, to),
                judged: judged(&moments, number, line.start_ms.midpoint(line.end_ms)),
                measures,
                stoi: 0.0,
            });
        }
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/stoi.py");
    let answer = Command::new(oracle::python())
        .arg(script)
        .arg(pairs.path())
        .output()
        .expect("python runs");
    assert!(
        answer.status.success(),
        "pystoi did not run: {}",
        String::from_utf8_lossy(&answer.stderr)
    );
    for told in String::from_utf8_lossy(&answer.stdout).lines() {
        let (n, stoi) = told.split_once(' ').expect("a name and a number");
        let n: usize = n.parse().expect("a number");
        copies[n].stoi = stoi.parse().expect("a number");
    }
    copies
}

fn noise(channel: &ChannelTruth) -> Vec<NoiseKind> {
    match channel {
        ChannelTruth::Mic { noise, .. } => noise.iter().map(|(kind, _)| *kind).collect(),
        _ => Vec::new(),
    }
}

/// What the moment around an instant says of a recording.
fn judged(moments: &[Moment], number: usize, event_ms: f64) -> Option<Judged> {
    let at = EventMs(event_ms as i64);
    let holds = |moment: &&Moment| moment.start <= at && at < moment.end;
    let moment = moments.iter().find(holds)?;
    let own = |hearing: &&Hearing| hearing.hearer == number && hearing.heard;
    let hearing = moment.hearings.iter().find(own)?;
    Some(Judged {
        first: moment
            .hearings
            .first()
            .is_some_and(|first| first.hearer == number),
        score: hearing.score,
        clarity: hearing.clarity,
        verdict: hearing.verdict,
        why: hearing.why.clone(),
    })
}

/// Writes the dry line and what the recording has of it.
fn pair(folder: &Path, n: usize, recording: &Recording, origin_ms: f64, dry: &[f32]) {
    let from = origin_ms.round() as i64;
    let length = (dry.len() as i64 * 1000) / i64::from(ANALYSIS_RATE_HZ);
    let begin = from.max(0);
    let heard = read_analysis(
        &recording.path,
        recording.pick,
        FileMs(begin),
        FileMs(from + length),
    );
    let mut heard = heard.expect("samples");
    // What lies before the recording is silence.
    let missing = ((begin - from) * i64::from(ANALYSIS_RATE_HZ) / 1000) as usize;
    heard.splice(0..0, std::iter::repeat_n(0.0, missing));
    let count = dry.len().min(heard.len());
    for (ending, samples) in [("dry", &dry[..count]), ("heard", &heard[..count])] {
        let bytes: Vec<u8> = samples.iter().flat_map(|s| s.to_le_bytes()).collect();
        std::fs::write(folder.join(format!("{n}.{ending}")), bytes).expect("room on the disk");
    }
}

fn segments(recording: &Recording, from: FileMs, to: FileMs) -> Segments {
    let (mut all, mut snr, mut clipped, mut level) = (0.0_f32, 0.0, 0.0, 0.0);
    let (mut ringing, mut reverb) = (0.0_f32, 0.0);
    for segment in &recording.segments {
        let weight = (segment.end.0.min(to.0) - segment.start.0.max(from.0)).max(0) as f32;
        all += weight;
        snr += weight * segment.snr_db;
        clipped += weight * segment.clipped;
        level += weight * segment.level_dbfs;
        if segment.reverb > 0.0 {
            ringing += weight;
            reverb += weight * segment.reverb;
        }
    }
    let whole = all.max(1.0);
    Segments {
        snr_db: if all > 0.0 { snr / whole } else { -10.0 },
        clipped: clipped / whole,
        level_dbfs: if all > 0.0 { level / whole } else { -90.0 },
        reverb: reverb / ringing.max(1.0),
        covered: (all / (to.0 - from.0).max(1) as f32).min(1.0),
    }
}

fn dumped(copies: &[Copy]) -> String {
    let mut out = String::from(
        "event\tline\tlabel\tplaced\tfault\tstoi\tseg_snr\tseg_clip\treverb\tcovered\tlevel\tvoice\tsnr\trise\t\
         clipped\tflat\thum\trumble\tbursts\tsilent\tdropouts\tbandwidth\tclarity\tmod\n",
    );
    for copy in copies {
        let (s, m) = (&copy.segments, &copy.measures);
        let hum = m.hum.map_or(99.0, |(_, below)| below);
        let _ = writeln!(
            out,
            "{}\t{}\t{}\t{}\t{:?}\t{}\t{}\t{}\t{}\t{}\t{}\t{}\t{}\t{}\t{}\t{}\t{hum}\t{}\t{}\t{}\t{}\t{}\t{}\t{:?}",
            copy.event,
            copy.line,
            copy.label,
            copy.placed,
            copy.fault,
            copy.stoi,
            s.snr_db,
            s.clipped,
            s.reverb,
            s.covered,
            s.level_dbfs,
            m.voice_dbfs,
            m.snr_db.unwrap_or(f32::NAN),
            m.noise_rise_db,
            m.clipped,
            m.flat,
            m.rumble_db,
            m.bursts,
            m.silent,
            m.dropouts,
            m.bandwidth_hz,
            copy.judged
                .as_ref()
                .and_then(|judged| judged.clarity)
                .unwrap_or(f32::NAN),
            m.modulation.map_or([f32::NAN; 2], |m| [m.all, m.words])
        );
    }
    out
}
