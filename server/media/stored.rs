//! How are the samples of this file kept, and can they be had back bit by bit?

use sayback_core::signal::pcm::Coding;
use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::well_known as id;

/// What the kinds of ADPCM are called.
pub(super) const ADPCM: &str = "ADPCM";

/// How a codec keeps samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stored {
    /// Integers of so many bits, 1 to 32.
    Integer(u16),
    /// IEEE float of 32 or 64 bits.
    Float(u16),
    /// Something else than was recorded; the codec's name.
    Lossy(&'static str),
}

impl From<Coding> for Stored {
    fn from(coding: Coding) -> Self {
        match coding {
            Coding::U8 => Self::Integer(8),
            Coding::I16 => Self::Integer(16),
            Coding::I24 => Self::Integer(24),
            Coding::I32 => Self::Integer(32),
            Coding::F32 => Self::Float(32),
            Coding::F64 => Self::Float(64),
        }
    }
}

impl Stored {
    /// What a decoder says of its samples. The parameters are the decoder's
    /// own, which for FLAC come from its stream info.
    pub fn of(params: &AudioCodecParameters) -> Self {
        let bits = |bits: Option<u32>| {
            bits.and_then(|bits| u16::try_from(bits).ok())
                .filter(|bits| (1..=32).contains(bits))
        };
        match params.codec {
            // A stream that does not say is taken at its widest.
            id::CODEC_ID_FLAC => Self::Integer(bits(params.bits_per_sample).unwrap_or(32)),
            id::CODEC_ID_ALAC => Self::Integer(bits(alac_bits(params)).unwrap_or(32)),
            // ITU-T G.711: 13 and 14 bits, given out as 16; exact, though what was
            // recorded may have been finer.
            id::CODEC_ID_PCM_ALAW | id::CODEC_ID_PCM_MULAW => Self::Integer(16),
            codec => pcm(codec).unwrap_or_else(|| Self::Lossy(name(codec))),
        }
    }
}

/// The bit depth in Apple Lossless's own header, which may follow two boxes of
/// 12 bytes; the container's field often says 16 whatever is inside.
fn alac_bits(params: &AudioCodecParameters) -> Option<u32> {
    let mut head = params.extra_data.as_deref()?;
    for name in [b"frma", b"alac"] {
        if head.get(4..8) == Some(&name[..]) {
            head = head.get(12..)?;
        }
    }
    head.get(5).map(|bits| u32::from(*bits))
}

fn pcm(codec: symphonia::core::codecs::audio::AudioCodecId) -> Option<Stored> {
    Some(match codec {
        id::CODEC_ID_PCM_S8
        | id::CODEC_ID_PCM_U8
        | id::CODEC_ID_PCM_S8_PLANAR
        | id::CODEC_ID_PCM_U8_PLANAR => Stored::Integer(8),
        id::CODEC_ID_PCM_S16LE
        | id::CODEC_ID_PCM_S16BE
        | id::CODEC_ID_PCM_U16LE
        | id::CODEC_ID_PCM_U16BE => Stored::Integer(16),
        id::CODEC_ID_PCM_S24LE
        | id::CODEC_ID_PCM_S24BE
        | id::CODEC_ID_PCM_U24LE
        | id::CODEC_ID_PCM_U24BE => Stored::Integer(24),
        id::CODEC_ID_PCM_S32LE
        | id::CODEC_ID_PCM_S32BE
        | id::CODEC_ID_PCM_U32LE
        | id::CODEC_ID_PCM_U32BE => Stored::Integer(32),
        id::CODEC_ID_PCM_F32LE | id::CODEC_ID_PCM_F32BE => Stored::Float(32),
        id::CODEC_ID_PCM_F64LE | id::CODEC_ID_PCM_F64BE => Stored::Float(64),
        _ => return None,
    })
}

fn name(codec: symphonia::core::codecs::audio::AudioCodecId) -> &'static str {
    match codec {
        id::CODEC_ID_AAC => "AAC",
        id::CODEC_ID_MP1 => "MPEG layer 1",
        id::CODEC_ID_MP2 => "MPEG layer 2",
        id::CODEC_ID_MP3 => "MP3",
        id::CODEC_ID_VORBIS => "Vorbis",
        id::CODEC_ID_OPUS => "Opus",
        id::CODEC_ID_ADPCM_MS | id::CODEC_ID_ADPCM_IMA_WAV | id::CODEC_ID_ADPCM_IMA_QT => ADPCM,
        _ => "a lossy codec",
    }
}
