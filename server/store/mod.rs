//! What is known, and is it safely written?
//!
//! Every SQL statement of sayback is in this room, and nothing else in the
//! program knows SQL. In come rows and ids, out go rows; times are milliseconds
//! (`start_ms`: from the first sample of a file; `created_at_ms` and the queue's
//! times: since 1970, given by the caller).
//!
//! - One data folder is one SQLite file, `sayback.db`, in write-ahead mode.
//!   Readers never wait. There is one writer at a time: all writing of this
//!   process goes through a single connection, and another process waits its
//!   turn by the busy timeout.
//! - A method is one statement or one transaction. No transaction is ever open
//!   while a step of the pipeline runs.
//! - Commits are synchronous (`synchronous = FULL`): what was answered with
//!   'accepted' survives a power cut.
//!
//! This room never opens a recording, never decides what a job does, never
//! formats a time for people.
//!
//! Cost: a read is well under a millisecond, a commit is one `fsync`.

mod asked;
mod claiming;
mod clock;
mod cuts;
mod error;
mod events;
mod files;
mod fixing;
mod found;
mod glossary;
mod grouping;
mod ids;
mod index;
mod intake;
mod lexicon;
mod listening;
mod looking;
mod meaning;
mod moments;
mod moved;
mod open;
mod outline;
mod parts;
mod peaks;
mod people;
mod queue;
mod recordings;
mod rows;
mod saved;
mod scripts;
mod search;
mod segments;
mod settings;
mod solving;
mod sources;
mod speaking;
mod statement;
mod status;
#[cfg(test)]
mod tests;
mod wanting;

pub use clock::{ClockFix, ClockRow, FixRow, PairRow, PlacementRow};
pub use cuts::{
    Before, CutEdit, CutEdited, CutRow, CutVersion, Lie, MOST_QUOTES, Nudge, Quote, QuoteChange,
    TouchedRow,
};
pub use error::StoreError;
pub use events::{EventChange, NewEvent};
pub use files::{NewFile, NewStamp, Opened, OpenedRecording};
pub use fixing::{
    ChangeKind, ChangeRow, Cut, Fix, Fixing, HeardText, LastChange, Stale, State, StateWord,
    WordTimes,
};
pub use found::{Called, EventPart, Wearer};
pub use grouping::{Grouped, NewHearing, NewMoment};
pub use ids::{
    CutId, EventId, IntakeId, JobId, MomentId, PersonId, QuoteId, RecordingId, ScriptId, SegmentId,
    SourceId,
};
pub use index::IndexCheck;
pub use intake::{NewIntake, Queued, path_from_bytes, path_to_bytes, shown_name};
pub use lexicon::TermRow;
pub use listening::{AttemptRow, Fuse, MomentWords, NewWord, Tried, WindowCommit};
pub use meaning::{MeaningRow, MeantRow, NewMeaning};
pub use moments::{HeardMoment, HearingRow, MomentRow, WordRow};
pub use open::Store;
pub use outline::{OutlineRow, OutlinedHearing, OutlinedMoment};
pub use parts::{PartRow, Unsettled};
pub use peaks::DrawnRow;
pub use people::{ElsewhereRow, PersonRow, VoiceRow, WearingRow};
use queue::NewJob;
pub use queue::{Beat, Claim, Failure, Lane, Lease};
pub use recordings::PieceRow;
use rows::PathOf;
pub use rows::{
    ClockState, EventRow, FileRow, IntakeRow, IntakeState, JobKind, JobRow, JobState, Json,
    Placement, RecordingRow, RecordingState, SegmentRow, SourceRow, StampRow, Word,
};
pub use saved::SavedSearch;
pub use scripts::{NewScript, ScriptRow};
pub use search::{
    Candidate, EventTitle, FactsRow, Filter, MOST_PAGED, Matching, Neighbourhood, SaidRow,
};
pub use segments::{Detected, NewSegment, Unmeasured};
pub use solving::{NewPair, NewPlacement, Solved};
pub use speaking::{ListenedRow, SpeakerRef, Speaks, SpeechRow, Spoken, TellingRow};
pub use status::{Problem, QueueCounts, RunningRow, StatusRow, StepRate, ToDo};
pub use wanting::Wanted;
