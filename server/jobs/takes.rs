//! Which recordings of a source are pieces of one long take?

use std::collections::BTreeMap;

use super::What;
use super::engine::Inner;
use crate::media::joins::{self, Piece};
use crate::media::{Stamp, StampKind};
use crate::store::{PieceRow, RecordingId, SourceId, StampRow, StoreError};

impl Inner {
    /// Works out the takes of every source whose files are all opened by now.
    /// Two processes may do so at once: both come to the same.
    pub(super) async fn refresh_takes(&self) -> Result<(), StoreError> {
        for source in self.store.sources_with_stale_takes().await? {
            self.refresh_takes_of(&source).await?;
            self.changed(None, What::Content);
        }
        Ok(())
    }

    async fn refresh_takes_of(&self, source: &SourceId) -> Result<(), StoreError> {
        let rows = self.store.pieces(source).await?;
        self.store.set_takes(source, &takes(&rows)).await
    }
}

/// The takes among the recordings of a source; each channel of a split file has
/// takes of its own.
fn takes(rows: &[PieceRow]) -> Vec<Vec<RecordingId>> {
    let mut by_pick: BTreeMap<&str, Vec<&PieceRow>> = BTreeMap::new();
    for row in rows {
        by_pick.entry(&row.pick).or_default().push(row);
    }
    by_pick
        .values()
        .flat_map(|rows| {
            let pieces: Vec<Piece> = rows.iter().map(|row| piece(row)).collect();
            joins::takes(&pieces)
                .into_iter()
                .map(|take| take.into_iter().map(|n| rows[n].id.clone()).collect())
        })
        .collect()
}

fn piece(row: &PieceRow) -> Piece {
    Piece {
        name: row.name.clone(),
        bytes: u64::try_from(row.size).unwrap_or(0),
        frames: u64::try_from(row.frames).unwrap_or(0),
        rate_hz: row.rate_hz,
        channels: row.channels,
        bits: row.bits,
        codec: row.codec.clone(),
        stamps: row.stamps.iter().filter_map(stamp).collect(),
    }
}

fn stamp(row: &StampRow) -> Option<Stamp> {
    Some(Stamp {
        kind: serde_json::from_value::<StampKind>(row.kind.as_str().into()).ok()?,
        at: row.at.clone(),
        samples: row.samples.and_then(|samples| u64::try_from(samples).ok()),
        rate_hz: row.rate_hz,
        frame_rate: row.frame_rate.clone(),
    })
}
