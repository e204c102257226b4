//! What has just changed?

use crate::store::EventId;

/// Word that something changed; whoever cares reads the store again. Words may
/// be lost by a slow listener, so they carry no data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The event it happened in; `None` if it concerns all.
    pub event: Option<EventId>,
    /// What kind of change.
    pub what: What,
}

/// Kinds of change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum What {
    /// Running steps got further; only the figures of the status differ.
    Progress,
    /// Jobs began, ended, failed, were paused, cancelled or tried again.
    Queue,
    /// Events, sources, recordings, segments or words differ.
    Content,
}
