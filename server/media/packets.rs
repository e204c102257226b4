//! Packets of a compressed file as frames on one unbroken time line.
//!
//! Every packet says when it plays. Decoded frames are put there: what plays
//! before the start (encoder delay) is cut, a packet that cannot be decoded or
//! is missing leaves silence of its length, so that everything after it keeps
//! its time.

use symphonia::core::audio::conv::ConvertibleSample;
use symphonia::core::codecs::audio::AudioDecoder;
use symphonia::core::errors::Error;
use symphonia::core::formats::{SeekMode, SeekTo, Track};
use symphonia::core::packet::Packet;
use symphonia::core::units::Timestamp;

use super::compressed::{Demuxed, Origin, make_decoder};
use super::error::MediaError;
use super::guard::guarded;
use super::reader::FrameSource;
use super::stored::{ADPCM, Stored};
use super::trouble::Trouble;

/// Packets before the wanted one that are decoded and thrown away after a
/// seek, in ms: MP3 reaches back through its bit reservoir, Opus wants 80 ms
/// (RFC 7845), AAC and Vorbis one packet.
const RUN_UP_MS: i64 = 200;
/// A step in packet times up to this many ms is rounding (Matroska counts in
/// ms), beyond it sound is missing.
const STEP_MS: i64 = 50;
/// A hole longer than this many ms is a lie.
const HOLE_MAX_MS: i64 = 10 * 60_000;
/// Unreadable packets in a row after which the file counts as ended.
pub(super) const BAD_RUN_MAX: u32 = 1_000;

/// From a track's ticks to frames that play.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    pub rate_hz: u32,
    /// Frame on the packets' clock that is frame 0 for everyone else.
    pub origin: i64,
    /// Frame on the packets' clock where the first packet plays.
    pub first: i64,
    numer: u32,
    denom: u32,
}

impl Clock {
    /// The clock of a track, starting at tick 0.
    pub fn of(track: &Track, rate_hz: u32) -> Self {
        let (numer, denom) = track.time_base.map_or((1, rate_hz.max(1)), |base| {
            (base.numer.get(), base.denom.get())
        });
        Self {
            rate_hz,
            origin: 0,
            first: 0,
            numer,
            denom,
        }
    }

    /// Ticks as frames, to the nearest.
    pub fn frames(&self, ticks: i64) -> i64 {
        let scaled = i128::from(ticks) * i128::from(self.numer) * i128::from(self.rate_hz);
        let denom = i128::from(self.denom);
        i64::try_from((scaled + denom / 2).div_euclid(denom)).unwrap_or(i64::MAX / 4)
    }

    fn ticks(&self, frames: i64) -> i64 {
        let scaled = i128::from(frames) * i128::from(self.denom);
        let unit = i128::from(self.numer) * i128::from(self.rate_hz.max(1));
        i64::try_from(scaled.div_euclid(unit)).unwrap_or(0)
    }

    /// Ticks of 1 ms cannot say where a packet plays, but packets of one length
    /// can: the multiple of it nearest to what is stated, if it is that near.
    fn snapped(&self, stated: i64, packet_frames: i64) -> i64 {
        if u64::from(self.denom) >= u64::from(self.rate_hz) * u64::from(self.numer)
            || packet_frames <= 0
        {
            return stated;
        }
        let tick = i64::from(self.rate_hz) * i64::from(self.numer) / i64::from(self.denom);
        let packets = (stated - self.first + packet_frames / 2).div_euclid(packet_frames);
        let nearest = self
            .first
            .saturating_add(packets.saturating_mul(packet_frames));
        if (nearest - stated).abs() <= tick {
            nearest
        } else {
            stated
        }
    }

    fn ms(&self, ms: i64) -> i64 {
        ms.saturating_mul(i64::from(self.rate_hz)) / 1000
    }
}

/// A sample as somebody wants it: f32 or f64.
pub(super) trait Wanted: ConvertibleSample + Send + 'static {}
impl Wanted for f32 {}
impl Wanted for f64 {}

pub(super) struct Packets<S> {
    origin: Origin,
    demuxed: Demuxed,
    decoder: Box<dyn AudioDecoder>,
    clock: Clock,
    channels: usize,
    /// Decoded and not yet taken; its first frame plays at `decoded_at`.
    decoded: Vec<S>,
    decoded_at: i64,
    /// Where the next packet should play; unknown after a seek.
    expected: Option<i64>,
    /// The next frame to hand out.
    wanted: i64,
    /// Packets that end before this frame need not be decoded.
    skip_to: i64,
    ended: bool,
    trouble: Trouble,
}

impl<S: Wanted> Packets<S> {
    pub fn new(
        origin: Origin,
        demuxed: Demuxed,
        decoder: Box<dyn AudioDecoder>,
        clock: Clock,
        channels: usize,
    ) -> Self {
        Self {
            origin,
            demuxed,
            decoder,
            clock,
            channels,
            decoded: Vec::new(),
            decoded_at: 0,
            expected: None,
            wanted: 0,
            skip_to: i64::MIN,
            ended: false,
            trouble: Trouble::default(),
        }
    }

    /// The next packet of our track; nothing at the end.
    fn next_packet(&mut self) -> Result<Option<Packet>, MediaError> {
        let mut bad = 0;
        while bad < BAD_RUN_MAX {
            let format = &mut self.demuxed.format;
            match guarded(|| format.next_packet()) {
                Ok(Some(packet)) if packet.track_id == self.demuxed.track.id => {
                    return Ok(Some(packet));
                }
                // Another track's, however many of them.
                Ok(Some(_)) => bad = 0,
                Ok(None) => return Ok(None),
                Err(Error::IoError(cause)) if cause.kind() == std::io::ErrorKind::UnexpectedEof => {
                    self.trouble.cut = true;
                    return Ok(None);
                }
                Err(Error::IoError(cause)) => {
                    return Err(MediaError::Read {
                        file: self.origin.file.clone(),
                        cause,
                    });
                }
                Err(Error::ResetRequired) => {
                    self.trouble.chained = true;
                    return Ok(None);
                }
                Err(_) => {
                    bad += 1;
                    self.trouble.unreadable += 1;
                }
            }
        }
        self.trouble.given_up = true;
        Ok(None)
    }

    /// Decodes the next packet into `decoded`.
    fn decode_next(&mut self) -> Result<(), MediaError> {
        self.decoded.clear();
        let Some(packet) = self.next_packet()? else {
            self.ended = true;
            return Ok(());
        };
        if self.expected.is_none() && self.ends(&packet) < self.skip_to {
            return Ok(());
        }
        let frames = match self.decode(&packet) {
            Ok(frames) => frames,
            Err(_) => self.leave_silence(&packet),
        };
        let stated = self.clock.frames(packet.pts.get());
        let at = match self.expected {
            None => self
                .clock
                .snapped(stated, frames)
                .saturating_sub(self.clock.origin),
            Some(expected) => self.place(stated.saturating_sub(self.clock.origin), expected),
        };
        self.decoded_at = at;
        self.expected = Some(at.saturating_add(frames));
        Ok(())
    }

    /// Where a packet ends, by its own statement.
    fn ends(&self, packet: &Packet) -> i64 {
        let ticks = packet
            .pts
            .get()
            .saturating_add_unsigned(packet.block_dur().get());
        self.clock.frames(ticks).saturating_sub(self.clock.origin)
    }

    /// Where a packet that states a time really plays, after another.
    fn place(&mut self, stated: i64, expected: i64) -> i64 {
        let step = stated.saturating_sub(expected);
        if step <= self.clock.ms(STEP_MS) {
            return expected;
        }
        if step > self.clock.ms(HOLE_MAX_MS) {
            self.trouble.disbelieved += 1;
            return expected;
        }
        self.trouble.hole(step, self.clock.rate_hz);
        stated
    }

    fn decode(&mut self, packet: &Packet) -> Result<i64, Error> {
        let (decoder, out, channels) = (&mut self.decoder, &mut self.decoded, self.channels);
        let frames = guarded(|| {
            let buffer = decoder.decode(packet)?;
            if buffer.spec().channels().count() != channels {
                return Err(Error::DecodeError("the number of channels changes"));
            }
            out.resize(buffer.samples_interleaved(), S::MID);
            buffer.copy_to_slice_interleaved::<S, _>(&mut *out);
            Ok(buffer.frames())
        });
        if frames.is_err() {
            // After a panic nothing about the old one may be relied on.
            self.decoded.clear();
            if let Ok(decoder) = make_decoder(&self.demuxed.params) {
                self.decoder = decoder;
            }
        }
        frames.map(|frames| i64::try_from(frames).unwrap_or(0))
    }

    /// A packet that cannot be decoded: nothing is kept, its time passes. The
    /// hole it leaves is filled when the next one is handed out.
    fn leave_silence(&mut self, packet: &Packet) -> i64 {
        // A run-up after a seek lacks what came before; that is no damage.
        if self.expected.is_some() {
            self.trouble.undecodable += 1;
        }
        self.clock
            .frames(i64::try_from(packet.block_dur().get()).unwrap_or(0))
            .clamp(0, self.clock.ms(HOLE_MAX_MS))
    }

    /// Frames of silence before `decoded`, if it plays later than wanted.
    fn silence(&self) -> i64 {
        let next = if self.decoded.is_empty() {
            self.expected.unwrap_or(self.wanted)
        } else {
            self.decoded_at
        };
        (next - self.wanted).max(0)
    }
}

impl<S: Wanted> FrameSource<S> for Packets<S> {
    fn read(&mut self, out: &mut Vec<S>, max_frames: usize) -> Result<usize, MediaError> {
        let mut done = 0;
        while done < max_frames {
            let left = max_frames - done;
            let silent = usize::try_from(self.silence()).unwrap_or(0).min(left);
            if silent > 0 {
                out.resize(out.len() + silent * self.channels, S::MID);
                self.wanted += silent as i64;
                done += silent;
                continue;
            }
            let frames = self.decoded.len() / self.channels;
            let skip = usize::try_from(self.wanted - self.decoded_at)
                .unwrap_or(0)
                .min(frames);
            if skip == frames {
                if self.ended {
                    break;
                }
                self.decode_next()?;
                continue;
            }
            let take = (frames - skip).min(left);
            out.extend_from_slice(
                &self.decoded[skip * self.channels..(skip + take) * self.channels],
            );
            self.wanted += take as i64;
            done += take;
        }
        Ok(done)
    }

    fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        let target = i64::try_from(frame).unwrap_or(i64::MAX / 4);
        let from = target.saturating_sub(self.clock.ms(RUN_UP_MS));
        let earliest = self.demuxed.track.start_ts.get().min(0);
        let ticks = self
            .clock
            .ticks(from.saturating_add(self.clock.origin))
            .max(earliest);
        let to = SeekTo::Timestamp {
            ts: Timestamp::new(ticks),
            track_id: self.demuxed.track.id,
        };
        if self.ended {
            // Not every reader of the library goes on once it met the end.
            self.demuxed = self.origin.demux()?;
        }
        let format = &mut self.demuxed.format;
        // The library (symphonia 0.6.1) finds nothing more after a seek in ADPCM.
        let seeks = Stored::of(&self.demuxed.params) != Stored::Lossy(ADPCM);
        let found = seeks
            && guarded(|| format.seek(SeekMode::Accurate, to))
                .is_ok_and(|found| found.actual_ts.get() <= ticks);
        // Without an index Matroska is only searched forwards, and not to
        // before its first entry: then all packets are passed by from the start.
        if !found {
            self.demuxed = self.origin.demux()?;
        }
        self.decoder.reset();
        self.decoded.clear();
        self.decoded_at = 0;
        self.expected = None;
        self.wanted = target;
        self.skip_to = from;
        self.ended = false;
        if frame == 0 {
            // A new pass over the file: what it meets is counted once.
            self.trouble = Trouble::default();
        }
        Ok(())
    }

    fn look_past_end(&mut self) {
        // A codec's padding may fill a few packets.
        for _ in 0..4 {
            let format = &mut self.demuxed.format;
            match guarded(|| format.next_packet()) {
                Ok(Some(_)) if !self.ended => {}
                Err(Error::ResetRequired) => {
                    self.trouble.chained = true;
                    break;
                }
                _ => break,
            }
        }
        self.ended = true;
    }

    fn warnings(&self) -> Vec<String> {
        self.trouble.words()
    }
}
