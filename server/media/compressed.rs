//! Everything that is not plain WAV, opened by symphonia (Opus by libopus).
//!
//! Here: which track, how long, where its sound starts and ends. What happens
//! packet by packet is in [`packets`](super::packets).

use std::fs::File;
use std::io::{BufReader, Seek};
use std::path::Path;
use std::sync::LazyLock;

use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::well_known::CODEC_ID_OPUS;
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
use super::packets::{Clock, Packets};
use super::reader::{Info, Opened};
use super::stamps::Stamp;

/// Frames one byte can stand for at the very most (constant FLAC blocks,
/// silent Opus); a header that claims more is not believed.
const FRAMES_PER_BYTE_MAX: u64 = 10_000;

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
}

/// Opens a file that is no plain WAV.
pub(super) fn open(path: &Path, mut handle: File, len: u64) -> Result<Opened, MediaError> {
    let file = ShownPath::new(path);
    let read_failed = |cause| MediaError::Read {
        file: file.clone(),
        cause,
    };
    let movie = boxes::read_movie(&mut BufReader::new(&mut handle), len).map_err(read_failed)?;
    if let Some(movie) = &movie
        && !movie.tracks.iter().any(BoxTrack::is_sound)
    {
        return Err(MediaError::NoSound { file });
    }
    handle.rewind().map_err(read_failed)?;
    let masks = movie.as_ref().map_or_else(Vec::new, hidden_tracks);
    let again = handle.try_clone().map_err(read_failed)?;
    let mut demuxed = demux(
        &file,
        Masked::new(handle, len, masks.clone()),
        movie.as_ref(),
    )?;
    let format = demuxed.format.format_info().short_name;
    let (rate_hz, channels) = (demuxed.params.sample_rate, demuxed.params.channels.as_ref());
    let (Some(rate_hz), Some(channels)) = (rate_hz, channels.map(|channels| channels.count()))
    else {
        return Err(MediaError::Unsupported {
            file,
            reason: "it names no rate or no channels".into(),
        });
    };
    let mut clock = Clock::of(&demuxed.track, rate_hz);
    let mut stated = bounds(&demuxed, movie.as_ref(), &mut clock, format);
    if stated.is_none_or(|frames| frames > len.saturating_mul(FRAMES_PER_BYTE_MAX)) {
        stated = Some(count_frames(&mut demuxed, &clock));
        let mut again = again;
        again.rewind().map_err(read_failed)?;
        demuxed = demux(&file, Masked::new(again, len, masks), movie.as_ref())?;
    }
    let decoder = make_decoder(&demuxed.params).map_err(|error| unsupported(&file, &error))?;
    let (container, media_type) = container(format, movie.as_ref());
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
    let source = Packets::new(file, demuxed, decoder, clock, channels);
    Ok(Opened {
        info,
        stamps,
        warnings: Vec::new(),
        source: Box::new(source),
    })
}

/// Builds a decoder that leaves cutting to us: by time, so that a seek and a
/// read from the start cut alike.
pub(super) fn make_decoder(
    params: &AudioCodecParameters,
) -> Result<Box<dyn symphonia::core::codecs::audio::AudioDecoder>, Error> {
    let mut params = params.clone();
    // The Opus adapter cuts its pre-skip from whatever packet comes first.
    if let Some(head) = &mut params.extra_data
        && head.starts_with(b"OpusHead")
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
    let params = audio(&track).cloned().unwrap_or_default();
    Ok(Demuxed {
        format,
        track,
        params,
    })
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

/// All tracks but the first with sound. Fragmented movies count their tracks
/// elsewhere too, so those are left as they are.
fn hidden_tracks(movie: &Movie) -> Vec<u64> {
    if movie.fragmented {
        return Vec::new();
    }
    let sound = movie.tracks.iter().position(BoxTrack::is_sound);
    let others = movie
        .tracks
        .iter()
        .enumerate()
        .filter(|(n, _)| Some(*n) != sound);
    others.map(|(_, track)| track.type_at).collect()
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
    if demuxed.params.codec == CODEC_ID_OPUS {
        let delay = track.delay.unwrap_or(0);
        clock.origin = track.start_ts.get().max(0).saturating_add(i64::from(delay));
        return frames.map(|end| end.saturating_sub(clock.origin.cast_unsigned()));
    }
    match format {
        // Without a LAME tag the library guesses from the first few frames.
        "mp1" | "mp2" | "mp3" => frames.filter(|_| track.delay.is_some()),
        "aac" => None,
        "matroska" | "mkv" => frames.or_else(|| {
            track.duration.map(|ticks| {
                clock
                    .frames(ticks.get().cast_signed())
                    .max(0)
                    .cast_unsigned()
            })
        }),
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

/// Counts frames by walking the packets, undecoded.
fn count_frames(demuxed: &mut Demuxed, clock: &Clock) -> u64 {
    let mut end = 0;
    while let Ok(Some(packet)) = guarded(|| demuxed.format.next_packet()) {
        if packet.track_id == demuxed.track.id {
            let ticks = packet
                .pts
                .get()
                .saturating_add_unsigned(packet.block_dur().get());
            end = end.max(clock.frames(ticks) - clock.origin);
        }
    }
    end.max(0).cast_unsigned()
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
        "matroska" | "mkv" => ("Matroska", "video/x-matroska"),
        "aiff" => ("AIFF", "audio/aiff"),
        "wave" => ("WAV", "audio/wav"),
        _ => ("other", "application/octet-stream"),
    }
}
