//! probe: which sound is this, and which recordings does it hold?

use super::original::look;
use super::{Step, StepError};
use crate::jobs::upload::taking;
use crate::media::{self, ChannelChoice, Probe, ShownPath, Stamp};
use crate::store::{
    FileRow, IntakeId, IntakeRow, NewFile, NewStamp, Opened, OpenedRecording, RecordingRow,
};

/// Of a large file, hashing takes nearly all of the time.
const HASHING: f32 = 0.9;

impl Step<'_> {
    /// Hashes, opens and splits the added file.
    pub(super) fn probe(&self) -> Result<(), StepError> {
        let intake = self.read(
            self.store()
                .intake(&IntakeId::from(self.claim.subject.as_str())),
        )?;
        let before = look(&intake.path)?;
        let hash = media::content_hash(&intake.path, self.cancel, &mut |done| {
            self.progress(done * HASHING);
        })?;
        let probe = media::probe(&intake.path)?;
        let there = self.read(self.store().recordings_of_file(&intake.event_id, &hash))?;
        let recordings = self.recordings(&intake, &there)?;
        if look(&intake.path)? != before {
            let shown = ShownPath::new(&intake.path);
            return Err(StepError::MayPass(format!(
                "{shown}: is still being written; it is tried again, else add it when it is whole"
            )));
        }
        let mut file = new_file(&intake, hash, before, probe);
        let taking = taking();
        let kept = self.read(self.store().file(&file.hash))?.filter(lies_there);
        if let Some(known) = &kept {
            (file.path, file.size, file.mtime_ns) =
                (known.path.0.clone(), known.size, known.mtime_ns);
        }
        let note = remark(&intake, kept.as_ref(), &there, recordings.is_empty());
        let opened = Opened {
            intake: intake.id.clone(),
            event: intake.event_id.clone(),
            file,
            recordings,
            note,
        };
        self.check()?;
        let lease = self.claim.lease();
        self.write(|| {
            self.store()
                .finish_probe(&lease, &opened, crate::jobs::engine::now_ms())
        })?;
        drop(taking);
        if opened.file.path != intake.path.0 {
            self.inner.drop_upload(&intake.path);
        }
        Ok(())
    }

    /// The recordings to make of the file. Sound that is there already makes
    /// none unless other channels are asked for by name.
    fn recordings(
        &self,
        intake: &IntakeRow,
        there: &[RecordingRow],
    ) -> Result<Vec<OpenedRecording>, StepError> {
        let choice: ChannelChoice = intake
            .choice
            .parse()
            .map_err(|error: media::NotAChannel| StepError::Final(error.to_string()))?;
        if choice == ChannelChoice::Auto && !there.is_empty() {
            return Ok(Vec::new());
        }
        let decision = media::decide_channels(&intake.path, choice)?;
        Ok(decision
            .picks
            .iter()
            .map(|pick| OpenedRecording {
                pick: pick.to_string(),
                channels_why: decision.explanation.clone(),
            })
            .filter(|new| !there.iter().any(|old| old.pick == new.pick))
            .collect())
    }
}

/// Whether a known file still lies where it was last seen.
fn lies_there(known: &FileRow) -> bool {
    look(&known.path).is_ok_and(|facts| facts == (known.size, known.mtime_ns))
}

/// What a person should know: that this sound was there.
fn remark(
    intake: &IntakeRow,
    kept: Option<&FileRow>,
    there: &[RecordingRow],
    adds_nothing: bool,
) -> Option<String> {
    let first = there.first()?;
    if !adds_nothing {
        return None;
    }
    Some(match kept {
        Some(known) if known.path != intake.path => format!(
            "the same sound as {}, already there in source '{}'",
            ShownPath::new(&known.path),
            first.source_label
        ),
        Some(_) => format!("already there in source '{}'", first.source_label),
        None => format!(
            "already there in source '{}'; it was {}, and is found here from now on",
            first.source_label,
            ShownPath::new(&first.path)
        ),
    })
}

fn new_file(intake: &IntakeRow, hash: String, facts: (i64, i64), probe: Probe) -> NewFile {
    NewFile {
        hash,
        path: intake.path.0.clone(),
        size: facts.0,
        mtime_ns: facts.1,
        container: probe.container,
        codec: probe.codec,
        media_type: probe.media_type.to_owned(),
        rate_hz: probe.rate_hz,
        channels: probe.channels,
        bits: probe.bits,
        frames: i64::try_from(probe.frames).unwrap_or(i64::MAX),
        duration_ms: probe.duration_ms,
        warnings: probe.warnings,
        stamps: probe.stamps.into_iter().map(new_stamp).collect(),
    }
}

fn new_stamp(stamp: Stamp) -> NewStamp {
    NewStamp {
        kind: stamp.kind.as_str(),
        at: stamp.at,
        // A clock beyond 2^63 samples is a broken chunk, not a time.
        samples: stamp
            .samples
            .and_then(|samples| i64::try_from(samples).ok()),
        rate_hz: stamp.rate_hz,
        frame_rate: stamp.frame_rate,
    }
}
