//! Everything that is not plain WAV, opened by symphonia (Opus by libopus).
//!
//! Here: which track, how long, where its sound starts and ends. What happens
//! packet by packet is in [`packets`](super::packets).

use std::fs::File;
use std::io::{BufReader, Seek};
use std::path::Path;
use std::sync::LazyLock;

use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::well_known::{
    CODEC_ID_OPUS, CODEC_ID_PCM_F32BE, CODEC_ID_PCM_F64BE, CODEC_ID_PCM_S24BE, CODEC_ID_PCM_S32BE,
};
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoderOptions};
use symphonia::core::codecs::registry::CodecRegistry;
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, Track};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;

use super::boxes::{self, BoxTrack, Movie};
use super::error::{MediaError, ShownPath};
use super::guard::guarded;
use super::masked::Masked;
use super::packets::{BAD_RUN_MAX, Clock, Packets};
use super::reader::{Info, Opened};
use super::stamps::Stamp;

/// Frames one byte can stand for at the very most (constant FLAC blocks,
/// silent Opus); a header that claims more is not believed.
const FRAMES_PER_BYTE_MAX: u64 = 10_000;

/// How an Opus stream's header starts (RFC 7845, 5.1).
const OPUS_HEAD: &[u8] = b"OpusHead";

static CODECS: LazyLock<CodecRegistry> = LazyLock::new(|| {
    let mut codecs = CodecRegistry::new();
    symphonia::default::register_enabled_codecs(&mut codecs);
    codecs.register_audio_decoder::<symphonia_adapter_libopus::OpusDecoder>();
    codecs
});

/// A library's reader, and the facts needed to decode one track of it.
pub(super) struct Demuxed {
    pub format: Box<dyn FormatReader>,
    pub track: Track,
    pub params: AudioCodecParameters,
    /// Sound tracks in the file, this one among them.
    pub sound_tracks: usize,
}

/// A file that can be opened by the library again and again, each time from
/// the start.
pub(super) struct Origin {
    pub file: ShownPath,
    handle: File,
    len: u64,
    movie: Option<Movie>,
}

/// Opens a file that is no plain WAV.
pub(super) fn open(path: &Path, mut handle: File, len: u64) -> Result<Opened, MediaError> {
    let file = ShownPath::new(path);
    let movie = boxes::read_movie(&mut BufReader::new(&mut handle), len).map_err(|cause| {
        MediaError::Read {
            file: file.clone(),
            cause,
        }
    })?;
    if movie.as_ref().is_some_and(|movie| !movie.indexed) {
        let reason = "its index (moov box) is missing: the recorder stopped before writing it, \
                      or the copy is incomplete";
        return Err(MediaError::Damaged {
            file,
            reason: reason.into(),
        });
    }
    if let Some(movie) = &movie
        && !movie.tracks.iter().any(BoxTrack::is_sound)
    {
        return Err(MediaError::NoSound { file });
    }
    let origin = Origin {
        file: file.clone(),
        handle,
        len,
        movie,
    };
    let mut demuxed = origin.demux()?;
    let format = demuxed.format.format_info().short_name;
    let (rate_hz, channels) = (demuxed.params.sample_rate, demuxed.params.channels.as_ref());
    let (Some(rate_hz), Some(channels)) = (rate_hz, channels.map(|channels| channels.count()))
    else {
        return Err(MediaError::Unsupported {
            file,
            reason: "it names no rate or no channels".into(),
        });
    };
    let movie = origin.movie.as_ref();
    let mut clock = Clock::of(&demuxed.track, rate_hz);
    let mut stated = bounds(&demuxed, movie, &mut clock, format)
        .filter(|frames| *frames <= len.saturating_mul(FRAMES_PER_BYTE_MAX));
    if stated.is_none() || format == "matroska" {
        let counted = walk_packets(&mut demuxed, &mut clock, stated.is_some());
        stated = stated.or(Some(counted));
        demuxed = origin.demux()?;
    }
    let decoder = make_decoder(&demuxed.params).map_err(|error| unsupported(&file, &error))?;
    let (container, media_type) = container(format, movie);
    let info = Info {
        container: container.to_owned(),
        codec: decoder.codec_info().long_name.to_owned(),
        media_type,
        rate_hz,
        channels: u16::try_from(channels).unwrap_or(u16::MAX),
        bits: demuxed
            .params
            .bits_per_sample
            .and_then(|bits| u16::try_from(bits).ok()),
        frames: stated.unwrap_or(0),
    };
    let stamps = movie
        .iter()
        .filter_map(|movie| Stamp::from_container(movie.created_s?))
        .collect();
    let warnings = (demuxed.sound_tracks > 1).then(|| {
        format!(
            "it has {} sound tracks; only the first that can be decoded was read",
            demuxed.sound_tracks
        )
    });
    let source = Packets::new(origin, demuxed, decoder, clock, channels);
    Ok(Opened {
        info,
        stamps,
        warnings: warnings.into_iter().collect(),
        source: Box::new(source),
    })
}

impl Origin {
    /// The library's reader from the start of the file, and our track in it.
    pub fn demux(&self) -> Result<Demuxed, MediaError> {
        let masks = self.movie.as_ref().map_or_else(Vec::new, hidden_tracks);
        let source = self.handle.try_clone().and_then(|mut handle| {
            handle.rewind()?;
            Ok(Masked::new(handle, self.len, masks))
        });
        let source = source.map_err(|cause| MediaError::Read {
            file: self.file.clone(),
            cause,
        })?;
        demux(&self.file, source, self.movie.as_ref())
    }
}

/// Builds a decoder that leaves cutting to us: by time, so that a seek and a
/// read from the start cut alike.
pub(super) fn make_decoder(
    params: &AudioCodecParameters,
) -> Result<Box<dyn symphonia::core::codecs::audio::AudioDecoder>, Error> {
    let mut params = params.clone();
    // The Opus adapter cuts its pre-skip from whatever packet comes first.
    if let Some(head) = &mut params.extra_data
        && head.starts_with(OPUS_HEAD)
        && head.len() >= 12
    {
        head[10..12].fill(0);
    }
    guarded(|| CODECS.make_audio_decoder(&params, &AudioDecoderOptions::default().gapless(false)))
}

fn demux(file: &ShownPath, source: Masked, movie: Option<&Movie>) -> Result<Demuxed, MediaError> {
    let stream = MediaSourceStream::new(Box::new(source), Default::default());
    let (format_options, meta_options) = (FormatOptions::default(), MetadataOptions::default());
    let probe = symphonia::default::get_probe();
    let format = guarded(|| probe.probe(&Hint::new(), stream, format_options, meta_options))
        .map_err(|error| not_opened(file, movie, &error))?;
    let sound = |track: &&Track| matches!(track.codec_params, Some(CodecParameters::Audio(_)));
    let decodable = |track: &&Track| {
        audio(track).is_some_and(|params| CODECS.get_audio_decoder(params.codec).is_some())
    };
    let tracks = format.tracks();
    let Some(track) = tracks.iter().filter(sound).find(decodable).cloned() else {
        return Err(match (movie, tracks.iter().find(sound)) {
            (Some(movie), _) => unknown_entry(file, movie),
            (None, Some(_)) => MediaError::Unsupported {
                file: file.clone(),
                reason: "there is no decoder for its sound".into(),
            },
            (None, None) => MediaError::NoSound { file: file.clone() },
        });
    };
    let mut params = audio(&track).cloned().unwrap_or_default();
    if params.codec == CODEC_ID_OPUS {
        // Whatever rate was recorded at, Opus plays at 48 kHz (RFC 7845, 5.1).
        params.sample_rate = Some(48_000);
    }
    correct_byte_order(&mut params, movie, track.id);
    // The library may pass over a track whose codec it does not know.
    let boxed = movie.map_or(0, |movie| {
        movie.tracks.iter().filter(|track| track.is_sound()).count()
    });
    let sound_tracks = tracks.iter().filter(sound).count().max(boxed);
    Ok(Demuxed {
        format,
        track,
        params,
        sound_tracks,
    })
}

/// The library takes QuickTime's `in24`, `in32`, `fl32` and `fl64` for little-
/// endian; they are big-endian unless an `enda` box says otherwise.
fn correct_byte_order(params: &mut AudioCodecParameters, movie: Option<&Movie>, track: u32) {
    let boxed = movie.and_then(|movie| movie.tracks.iter().find(|boxed| boxed.id == track));
    let Some(boxed) = boxed.filter(|boxed| !boxed.little_endian) else {
        return;
    };
    params.codec = match &boxed.entry {
        b"in24" => CODEC_ID_PCM_S24BE,
        b"in32" => CODEC_ID_PCM_S32BE,
        b"fl32" => CODEC_ID_PCM_F32BE,
        b"fl64" => CODEC_ID_PCM_F64BE,
        _ => return,
    };
}

fn audio(track: &Track) -> Option<&AudioCodecParameters> {
    track.codec_params.as_ref().and_then(CodecParameters::audio)
}

fn not_opened(file: &ShownPath, movie: Option<&Movie>, error: &Error) -> MediaError {
    let file = file.clone();
    match (movie, error) {
        (_, Error::IoError(cause)) if cause.kind() != std::io::ErrorKind::UnexpectedEof => {
            MediaError::Read {
                file,
                cause: std::io::Error::new(cause.kind(), cause.to_string()),
            }
        }
        (Some(_), _) => MediaError::Damaged {
            file,
            reason: error.to_string(),
        },
        (None, Error::Unsupported(_)) => MediaError::Unknown {
            file,
            reason: "nothing known starts like this".into(),
        },
        (None, _) => MediaError::Unknown {
            file,
            reason: error.to_string(),
        },
    }
}

fn unknown_entry(file: &ShownPath, movie: &Movie) -> MediaError {
    let entries: Vec<String> = movie
        .tracks
        .iter()
        .filter(|track| track.is_sound())
        .map(|track| track.entry.escape_ascii().to_string())
        .collect();
    let reason = format!("there is no decoder for its sound ({})", entries.join(", "));
    MediaError::Unsupported {
        file: file.clone(),
        reason,
    }
}

fn unsupported(file: &ShownPath, error: &Error) -> MediaError {
    MediaError::Unsupported {
        file: file.clone(),
        reason: error.to_string(),
    }
}

/// All tracks that are not sound. Fragmented movies count their tracks
/// elsewhere too, so those are left as they are.
fn hidden_tracks(movie: &Movie) -> Vec<u64> {
    if movie.fragmented {
        return Vec::new();
    }
    let others = movie.tracks.iter().filter(|track| !track.is_sound());
    others.map(|track| track.type_at).collect()
}

/// Sets where the sound starts on the packets' clock; returns its length in
/// frames where the file states it for certain.
fn bounds(
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
        let edit = movie
            .tracks
            .iter()
            .find(|boxed| boxed.id == track.id)
            .and_then(first_edit);
        let start = edit.map_or(0, |(_, start)| clock.frames(start).max(0));
        clock.origin = start;
        let rest = total.map(|total| (total - start).max(0).cast_unsigned());
        let cut = edit.and_then(|(ticks, _)| edit_frames(ticks, movie.timescale, clock.rate_hz));
        return match (rest, cut) {
            (Some(rest), Some(cut)) => Some(rest.min(cut)),
            (rest, cut) => rest.or(cut),
        }
        .filter(|frames| *frames > 0);
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

/// An edit's duration in frames, rounded up to the movie's tick.
fn edit_frames(ticks: u64, timescale: u32, rate_hz: u32) -> Option<u64> {
    if ticks == 0 || timescale == 0 {
        return None;
    }
    let exact = u128::from(ticks) * u128::from(rate_hz);
    u64::try_from(exact.div_ceil(u128::from(timescale))).ok()
}

/// Walks the packets, undecoded: notes where the first plays (Matroska starts
/// its sound anywhere and rounds to ms) and counts frames up to the last, or
/// stops after the first.
fn walk_packets(demuxed: &mut Demuxed, clock: &mut Clock, only_first: bool) -> u64 {
    let (mut end, mut first, mut bad) = (0, None, 0);
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
        clock.origin = clock
            .first
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

/// Name and internet media type of a container.
fn container(format: &str, movie: Option<&Movie>) -> (&'static str, &'static str) {
    let video =
        movie.is_some_and(|movie| movie.tracks.iter().any(|track| &track.handler == b"vide"));
    let quicktime = movie.is_some_and(|movie| matches!(&movie.brand, b"qt  " | [0, 0, 0, 0]));
    match format {
        "isomp4" if quicktime => ("MOV", "video/quicktime"),
        "isomp4" if video => ("MP4", "video/mp4"),
        "isomp4" => ("M4A", "audio/mp4"),
        "flac" => ("FLAC", "audio/flac"),
        "mp1" | "mp2" | "mp3" => ("MPEG audio", "audio/mpeg"),
        "aac" => ("AAC", "audio/aac"),
        "ogg" => ("Ogg", "audio/ogg"),
        "matroska" => ("Matroska", "video/x-matroska"),
        "aiff" => ("AIFF", "audio/aiff"),
        "wave" => ("WAV", "audio/wav"),
        _ => ("other", "application/octet-stream"),
    }
}
