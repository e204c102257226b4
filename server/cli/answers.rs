//! What the commands read out of the API's answers; what they do not need is
//! passed over, so that answers may grow.

use serde::{Deserialize, Serialize};

/// `GET /events`
#[derive(Debug, Deserialize)]
pub struct Events {
    /// All events.
    pub events: Vec<Event>,
}

/// One event.
#[derive(Debug, Deserialize)]
pub struct Event {
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Its day.
    pub date: Option<String>,
    /// Frames a second of the edit.
    pub frame_rate: Option<String>,
    /// How much there is in it.
    pub counts: Counts,
}

/// How much there is in an event.
#[derive(Debug, Deserialize)]
pub struct Counts {
    /// Recorders.
    pub sources: i64,
    /// Recordings.
    pub recordings: i64,
    /// Stretches of speech.
    pub segments: i64,
    /// Words.
    pub words: i64,
}

/// `GET /events/{event}`
#[derive(Debug, Deserialize)]
pub struct EventDetail {
    /// The event itself.
    #[serde(flatten)]
    pub event: Event,
    /// Its recorders.
    pub sources: Vec<Source>,
    /// Its recordings.
    pub recordings: Vec<Recording>,
    /// What was added and is not a recording yet, or cannot be one.
    pub intakes: Vec<Intake>,
}

/// A recorder.
#[derive(Debug, Deserialize)]
pub struct Source {
    /// What the crew calls it.
    pub label: String,
    /// How it was placed.
    pub placement: String,
    /// Who wears it.
    #[serde(default)]
    pub wearer: Option<Named>,
}

/// Someone or something with a name.
#[derive(Debug, Deserialize)]
pub struct Named {
    /// The name.
    pub name: String,
}

/// A recorder, as recordings and hearings name it.
#[derive(Debug, Deserialize)]
pub struct SourceName {
    /// What the crew calls it.
    pub label: String,
    /// How it was placed.
    pub placement: String,
}

/// A recording.
#[derive(Debug, Deserialize)]
pub struct Recording {
    /// Its id.
    pub id: String,
    /// The file's name.
    pub file: String,
    /// Where the file lies.
    pub path: String,
    /// The recorder.
    pub source: SourceName,
    /// `mix` or a channel's number.
    pub channels: String,
    /// `waiting`, `working`, `ready` or `failed`.
    pub state: String,
    /// Its length, ms.
    pub duration_ms: i64,
    /// What was odd about the file.
    pub warnings: Vec<String>,
    /// Why it failed.
    pub error: Option<String>,
    /// Speech in it, ms.
    #[serde(default)]
    pub speech_ms: Option<i64>,
}

/// Something that was added and is not a recording.
#[derive(Debug, Deserialize)]
pub struct Intake {
    /// Its id.
    pub id: String,
    /// The file's name.
    pub file: String,
    /// `waiting`, `opened` or `refused`.
    pub state: String,
    /// Why it was refused.
    pub reason: Option<String>,
}

/// What became of the paths of one `add`.
#[derive(Debug, Default, Deserialize, Serialize)]
pub struct Added {
    /// Files that are taken in.
    pub accepted: Vec<Accepted>,
    /// Files that were here already.
    pub already: Vec<Already>,
    /// Files that cannot be taken in.
    pub refused: Vec<Refused>,
    /// Files that were taken in and could not be worked through.
    #[serde(default)]
    pub failed: Vec<Failed>,
}

/// A file that is taken in.
#[derive(Debug, Deserialize, Serialize)]
pub struct Accepted {
    /// The file.
    pub file: String,
    /// Under which id it is worked on.
    pub intake: String,
}

/// A file that was here already.
#[derive(Debug, Deserialize, Serialize)]
pub struct Already {
    /// The file.
    pub file: String,
    /// The recording that holds it, once it is opened.
    pub recording: Option<String>,
}

/// A file that cannot be taken in.
#[derive(Debug, Deserialize, Serialize)]
pub struct Refused {
    /// The file.
    pub file: String,
    /// Why, and what to do.
    pub reason: String,
}

/// A recording that could not be worked through.
#[derive(Debug, Deserialize, Serialize)]
pub struct Failed {
    /// The file.
    pub file: String,
    /// The recording.
    pub recording: String,
    /// Why, and what to do.
    pub reason: String,
}

/// `GET /health`
#[derive(Debug, Deserialize)]
pub struct Health {
    /// The speech model in use.
    pub model: ModelHealth,
}

/// The speech model in use.
#[derive(Debug, Deserialize)]
pub struct ModelHealth {
    /// Its name or file.
    pub name: String,
    /// Whether it can be used.
    pub present: bool,
}

/// `GET /status`
#[derive(Clone, Debug, Deserialize)]
pub struct Status {
    /// Whether the queue rests.
    pub paused: bool,
    /// Steps by state.
    pub jobs: JobCounts,
    /// Length of all recordings, ms.
    pub audio_ms_total: i64,
    /// How much of it is done, ms.
    pub audio_ms_done: i64,
    /// Speed in multiples of real time.
    pub rate: Option<f64>,
    /// Time left at that speed, ms.
    pub time_left_ms: Option<i64>,
    /// Steps at work.
    pub running: Vec<Running>,
    /// What went wrong.
    pub problems: Vec<WorkProblem>,
}

/// Steps by state.
#[derive(Clone, Copy, Debug, Deserialize)]
pub struct JobCounts {
    /// Steps that wait.
    pub waiting: i64,
    /// Steps at work.
    pub running: i64,
    /// Steps done.
    pub done: i64,
    /// Steps given up.
    pub failed: i64,
}

/// A step at work.
#[derive(Clone, Debug, Deserialize)]
pub struct Running {
    /// What is done.
    pub step: String,
    /// The file it works on.
    pub file: String,
    /// The recorder's label.
    pub source: String,
    /// How far it is, 0 to 1.
    pub progress: f64,
}

/// Something that went wrong.
#[derive(Clone, Debug, Deserialize)]
pub struct WorkProblem {
    /// The file.
    pub file: String,
    /// The step that failed.
    pub step: String,
    /// Why, and what to do.
    pub reason: String,
}

/// How the search index of an event is.
#[derive(Debug, Deserialize)]
pub struct IndexState {
    /// Moments with words.
    pub moments: i64,
    /// Those that are otherwise in the index.
    pub wrong: Vec<String>,
}

/// A recorder that ran but did not hear a moment.
#[derive(Debug, Deserialize)]
pub struct NotHeard {
    /// The recorder.
    pub source: SourceName,
}

/// An event, as hits name it.
#[derive(Debug, Deserialize)]
pub struct EventName {
    /// Its title.
    pub title: String,
}

/// Words of a text from 0, `to` exclusive.
#[derive(Clone, Copy, Debug, Deserialize)]
pub struct Matched {
    /// The first.
    pub from: usize,
    /// The one after the last.
    pub to: usize,
}

/// One recorder's copy of a moment.
#[derive(Debug, Deserialize)]
pub struct Hearing {
    /// The recorder.
    pub source: SourceName,
    /// The recording.
    pub recording: RecordingName,
    /// Where the words start in the file, ms.
    pub start_ms: i64,
    /// Where they end, ms.
    pub end_ms: i64,
    /// The same place as time of day by the recorder.
    pub timecode: Option<String>,
    /// How usable it is.
    pub verdict: String,
    /// What that rests on.
    pub why: Vec<String>,
}

/// A recording, as hearings name it.
#[derive(Debug, Deserialize)]
pub struct RecordingName {
    /// Its id.
    pub id: String,
    /// The file's name.
    pub file: String,
}

/// `GET /events/{event}/clock`
#[derive(Debug, Deserialize)]
pub struct Clock {
    /// The event.
    pub event: EventName,
    /// `none`, `waiting`, `working`, `solved`, `failed` or `cancelled`.
    pub state: String,
    /// The job that solves it.
    pub job: Option<String>,
    /// Why it failed.
    pub error: Option<String>,
    /// From the first to the last sound, ms.
    pub length_ms: i64,
    /// Its recordings.
    pub recordings: Vec<ClockRecording>,
    /// What was odd about the event as a whole.
    pub warnings: Vec<String>,
}

/// Where one recording lies.
#[derive(Debug, Deserialize)]
pub struct ClockRecording {
    /// The recording.
    pub recording: RecordingName,
    /// The recorder.
    pub source: SourceName,
    /// Where it starts on the event clock, ms.
    pub start_ms: Option<i64>,
    /// How much faster its clock runs, ppm.
    pub rate_ppm: Option<f64>,
    /// How its place was found.
    pub how: String,
    /// 95 % of where it might be, ms.
    pub uncertainty_ms: Option<f64>,
    /// Share of the points that agree, 0 to 1.
    pub agreement: Option<f64>,
    /// Whose clock it lies on; 0 is the event clock.
    pub island: Option<i64>,
    /// What was odd about it.
    pub warnings: Vec<String>,
}

/// How loud a recording is.
#[derive(Debug, Deserialize)]
pub struct Levels {
    /// The recording.
    pub recording: RecordingName,
    /// From here in the file, ms.
    pub start_ms: i64,
    /// To here, ms.
    pub end_ms: i64,
    /// LUFS.
    pub integrated_lufs: Option<f64>,
    /// LU.
    pub range_lu: Option<f64>,
    /// LUFS.
    pub max_short_term_lufs: Option<f64>,
    /// dBTP.
    pub true_peak_dbtp: Option<f64>,
    /// dBFS.
    pub sample_peak_dbfs: Option<f64>,
    /// Samples at full scale.
    pub clipped_samples: u64,
    /// Samples at flat tops below it.
    pub flat_samples: u64,
    /// Of zeros, ms.
    pub silent_ms: u64,
}
