//! When the first sample of a pull was recorded, written as a bext chunk (EBU
//! Tech 3285, version 2).

use super::super::bext::Bext;
use super::super::ixml::Ixml;
use super::Made;
use super::form::Form;
use super::text::{ascii, cut};

/// A chunk without coding history (EBU Tech 3285).
const BEXT_BYTES: usize = 602;
/// A loudness field that is not used; from memory (EBU Tech 3285, version 2).
const UNUSED: u16 = 0x7FFF;
/// Longest history carried on, in bytes.
const HISTORY_MAX: usize = 16 * 1024;

/// What an original says about when it was recorded.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Origin {
    /// `yyyy-mm-dd`.
    date: Option<String>,
    /// `hh:mm:ss`.
    time: Option<String>,
    /// Samples since midnight at its first sample, at its own rate.
    reference: Option<u64>,
    history: String,
    /// What to tell about the above.
    pub notes: Vec<String>,
}

impl Origin {
    /// From a WAV file's chunks. Where both have a time stamp, bext's counts.
    pub fn of(bext: Option<Bext>, ixml: Option<Ixml>, has_ixml: bool, rate_hz: u32) -> Self {
        let bext = bext.unwrap_or_default();
        let ixml = ixml.unwrap_or_default();
        let mut notes = Vec::new();
        // A chunk of zeros says nothing; midnight with a date does.
        let said = bext.date.is_some() || bext.time.is_some();
        let of_bext = bext.samples.filter(|samples| said || *samples > 0);
        let reference = of_bext.or_else(|| {
            let samples = ixml.samples?;
            let counted_hz = ixml.rate_hz.unwrap_or(rate_hz).max(1);
            let product = u128::from(samples) * u128::from(rate_hz);
            if product % u128::from(counted_hz) != 0 {
                notes.push(format!(
                    "the iXML time stamp counts at {counted_hz} Hz; rounded down to a sample at \
                     {rate_hz} Hz"
                ));
            }
            u64::try_from(product / u128::from(counted_hz)).ok()
        });
        if has_ixml {
            notes.push(
                "the original's iXML was left out: its makers' own fields may hold positions \
                 and counts that are not true of a part"
                    .to_owned(),
            );
        }
        Self {
            date: bext.date.or(ixml.date),
            time: bext.time.or(ixml.time),
            reference,
            history: bext.history,
            notes,
        }
    }

    /// Samples since midnight at sample `first` of the original. A recording
    /// that passes midnight counts on, as recorders do.
    pub fn reference_at(&self, first: u64) -> Option<u64> {
        self.reference?.checked_add(first)
    }
}

/// What a bext chunk is made of beside the original's stamp.
pub(super) struct Stamping<'a> {
    pub origin: &'a Origin,
    pub form: &'a Form,
    pub made: &'a Made,
    /// What was said.
    pub said: &'a str,
    /// The original's name.
    pub name: &'a str,
    /// Channel taken, from 1.
    pub channel: Option<u16>,
    pub first: u64,
    pub frames: u64,
}

impl Stamping<'_> {
    /// The body of the chunk.
    pub fn body(&self) -> Vec<u8> {
        let mut body = Vec::with_capacity(BEXT_BYTES + self.origin.history.len() + 200);
        padded(&mut body, cut(&ascii(self.said), 256), 256);
        padded(&mut body, "sayback", 32);
        padded(&mut body, "", 32); // OriginatorReference
        padded(&mut body, self.origin.date.as_deref().unwrap_or(""), 10);
        padded(&mut body, self.origin.time.as_deref().unwrap_or(""), 8);
        let reference = self.origin.reference_at(self.first).unwrap_or(0);
        body.extend_from_slice(&reference.to_le_bytes()); // low, then high
        body.extend_from_slice(&2_u16.to_le_bytes());
        body.extend_from_slice(&[0; 64]); // UMID
        for _ in 0..5 {
            body.extend_from_slice(&UNUSED.to_le_bytes());
        }
        body.resize(BEXT_BYTES, 0);
        body.extend_from_slice(self.history().as_bytes());
        body
    }

    /// The original's coding history and one line of ours (EBU R 98: fields
    /// parted by commas, lines ended by CR LF).
    fn history(&self) -> String {
        let carried = self.origin.history.lines().map(|line| ascii(line) + "\r\n");
        let mut history: String = carried.filter(|line| line.len() > 2).collect();
        history.truncate(cut(&history, HISTORY_MAX).len());
        let form = self.form;
        let mode = match form.channels {
            1 => ",M=mono",
            2 => ",M=stereo",
            _ => "",
        };
        let mut text = format!(
            "sayback; {}; samples {} to {} of {}",
            self.made,
            self.first,
            self.first + self.frames,
            self.name
        );
        if let Some(channel) = self.channel {
            text += &format!("; channel {channel}");
        }
        if form.float {
            text += "; float";
        }
        if self.origin.reference_at(self.first).is_none() {
            text += "; the original has no time stamp: TimeReference is 0";
        }
        let text = ascii(&text).replace(',', ";");
        history += &format!(
            "A=PCM,F={},W={}{mode},T={text}\r\n",
            form.rate_hz, form.valid_bits
        );
        history
    }
}

/// A text field of fixed length, filled up with zeros.
fn padded(body: &mut Vec<u8>, text: &str, len: usize) {
    let end = body.len() + len;
    body.extend(text.bytes().take(len));
    body.resize(end, 0);
}
