//! Everything that is not plain WAV, opened by symphonia (Opus by libopus).
//!
//! Here: which track. Where its sound starts and ends is in
//! [`bounds`](super::bounds), what happens packet by packet in
//! [`packets`](super::packets).

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

use super::bounds::{bounds, walk_packets};
use super::boxes::{self, BoxTrack, Movie};
use super::error::{MediaError, ShownPath};
use super::guard::guarded;
use super::masked::Masked;
use super::packets::{Clock, Packets, Wanted};
use super::reader::{Info, Opened};
use super::stamps::Stamp;
use super::stored::Stored;

/// Frames one byte can stand for at the very most (constant FLAC blocks,
/// silent Opus); a header that claims more is not believed.
const FRAMES_PER_BYTE_MAX: u64 = 10_000;

/// How an Opus stream's header starts (RFC 7845, 5.1).
pub(super) const OPUS_HEAD: &[u8] = b"OpusHead";

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
pub(super) fn open<S: Wanted>(
    path: &Path,
    mut handle: File,
    len: u64,
) -> Result<Opened<S>, MediaError> {
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
    let stored = Stored::of(decoder.codec_params());
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
        stored,
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
