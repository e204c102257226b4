//! Where does the sound of a compressed file start on its packets' clock, and
//! how long is it?

use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::well_known::CODEC_ID_OPUS;
use symphonia::core::errors::Error;

use super::boxes::{BoxTrack, Movie};
use super::compressed::{Demuxed, OPUS_HEAD};
use super::guard::guarded;
use super::packets::{BAD_RUN_MAX, Clock};

/// Sound that starts later in its file than this many seconds is a lie; what
/// lies before it is silence.
const LEAD_MAX_S: i64 = 4 * 3_600;

/// Sets where the sound starts on the packets' clock; returns its length in
/// frames where the file states it for certain.
pub(super) fn bounds(
    demuxed: &Demuxed,
    movie: Option<&Movie>,
    clock: &mut Clock,
    format: &str,
) -> Option<u64> {
    let track = &demuxed.track;
    if let Some(movie) = movie {
        let total = track
            .duration
            .map(|ticks| clock.frames(ticks.get().cast_signed()));
        let boxed = movie.tracks.iter().find(|boxed| boxed.id == track.id);
        let edit = boxed.and_then(first_edit);
        let start = edit.map_or(0, |(_, start)| clock.frames(start).max(0));
        let lead = boxed.map_or(0, |boxed| lead(boxed, movie.timescale, clock.rate_hz));
        clock.origin = start - lead;
        let rest = total.map(|total| (total - start).max(0).cast_unsigned());
        let cut = edit.and_then(|(ticks, _)| edit_frames(ticks, movie.timescale, clock.rate_hz));
        return match (rest, cut) {
            (Some(rest), Some(cut)) => Some(rest.min(cut)),
            (rest, cut) => rest.or(cut),
        }
        .filter(|frames| *frames > 0)
        .map(|frames| frames.saturating_add_signed(lead));
    }
    let frames = track.num_frames.filter(|frames| *frames > 0);
    if demuxed.params.codec == CODEC_ID_OPUS && format == "ogg" {
        let delay = pre_skip(&demuxed.params);
        clock.origin = track.start_ts.get().max(0).saturating_add(i64::from(delay));
        return frames.map(|end| end.saturating_sub(clock.origin.cast_unsigned()));
    }
    match format {
        // Without a LAME tag the library guesses from the first few frames.
        "mp1" | "mp2" | "mp3" => frames.filter(|_| track.delay.is_some()),
        "aac" => None,
        "matroska" => {
            let info = demuxed.format.media_info();
            let (ticks, base) = info.duration.zip(info.time_base)?;
            let scaled = u128::from(ticks.get()) * u128::from(base.numer.get());
            let frames = scaled * u128::from(clock.rate_hz) / u128::from(base.denom.get());
            u64::try_from(frames).ok().filter(|frames| *frames > 0)
        }
        _ => frames,
    }
}

/// The first edit that plays something, if it is the only one.
fn first_edit(track: &BoxTrack) -> Option<(u64, i64)> {
    let mut playing = track.edits.iter().copied().filter(|(_, start)| *start >= 0);
    match (playing.next(), playing.next()) {
        (edit, None) => edit,
        (Some((_, start)), Some(_)) => Some((0, start)),
        (None, Some(_)) => None,
    }
}

/// Frames of nothing before the first edit that plays something: empty edits.
fn lead(track: &BoxTrack, timescale: u32, rate_hz: u32) -> i64 {
    let empty = track.edits.iter().take_while(|(_, start)| *start == -1);
    let ticks: u128 = empty.map(|(ticks, _)| u128::from(*ticks)).sum();
    let unit = u128::from(timescale.max(1));
    let frames = (ticks * u128::from(rate_hz) + unit / 2) / unit;
    believed(i64::try_from(frames).unwrap_or(i64::MAX), rate_hz)
}

/// The lead, or none where it is longer than anybody waits.
fn believed(lead: i64, rate_hz: u32) -> i64 {
    if (0..=LEAD_MAX_S * i64::from(rate_hz)).contains(&lead) {
        lead
    } else {
        0
    }
}

/// An edit's duration in frames, rounded up to the movie's tick.
fn edit_frames(ticks: u64, timescale: u32, rate_hz: u32) -> Option<u64> {
    if ticks == 0 || timescale == 0 {
        return None;
    }
    let exact = u128::from(ticks) * u128::from(rate_hz);
    u64::try_from(exact.div_ceil(u128::from(timescale))).ok()
}

/// Walks the packets, undecoded: notes where the first plays (Matroska starts
/// its sound anywhere, later than the first picture too, and rounds to ms) and counts frames up to the last, or
/// stops after the first.
pub(super) fn walk_packets(demuxed: &mut Demuxed, clock: &mut Clock, only_first: bool) -> u64 {
    let (mut end, mut first, mut of_any, mut bad) = (0, None, None, 0);
    // As reading does: an unreadable place is passed by, not the end.
    while bad < BAD_RUN_MAX {
        let packet = match guarded(|| demuxed.format.next_packet()) {
            Ok(Some(packet)) => packet,
            Ok(None) | Err(Error::IoError(_) | Error::ResetRequired) => break,
            Err(_) => {
                bad += 1;
                continue;
            }
        };
        bad = 0;
        // All tracks of a Matroska file count in the same ticks.
        of_any = of_any.or(Some(clock.frames(packet.pts.get())));
        if packet.track_id != demuxed.track.id {
            continue;
        }
        let start = packet.pts.get();
        end = end.max(clock.frames(start.saturating_add_unsigned(packet.block_dur().get())));
        first = first.or(Some(clock.frames(start)));
        if only_first {
            break;
        }
    }
    if demuxed.format.format_info().short_name == "matroska" {
        clock.first = first.unwrap_or(0);
        let lead = clock.first.saturating_sub(of_any.unwrap_or(clock.first));
        clock.origin = clock
            .first
            .saturating_sub(believed(lead, clock.rate_hz))
            .saturating_add(i64::from(pre_skip(&demuxed.params)));
    }
    end.saturating_sub(clock.origin).max(0).cast_unsigned()
}

/// Frames an Opus decoder gives before the sound starts (RFC 7845, 5.1).
fn pre_skip(params: &AudioCodecParameters) -> u16 {
    match params.extra_data.as_deref() {
        Some(head) if head.starts_with(OPUS_HEAD) && head.len() >= 12 => {
            u16::from_le_bytes([head[10], head[11]])
        }
        _ => 0,
    }
}
