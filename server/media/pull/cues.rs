//! Words and quotes as cue points of a WAV file.
//!
//! `cue ` and `LIST adtl` with `labl` and `ltxt` are Microsoft's and IBM's
//! 'Multimedia Programming Interface and Data Specifications 1.0' (1991), from
//! memory. It is silent on how text is encoded beyond a field for a code page;
//! here it is UTF-8, and `ltxt` says so (code page 65001).

use super::header::chunk;

/// UTF-8 as a code page.
const UTF_8: u16 = 65_001;

/// A word, a quote or an instant to be marked in a pull.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cue {
    /// First sample, counted in the original.
    pub from: u64,
    /// First sample after it; the same as `from` for an instant.
    pub to: u64,
    /// What stands at the mark.
    pub label: String,
    /// More about the stretch, such as who speaks; may be empty.
    pub text: String,
}

/// A cue on the pull's own samples.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Placed<'a> {
    at: u32,
    len: u32,
    label: &'a str,
    text: &'a str,
}

/// Those cues that have a part inside `[first, end)`, cut to it, in order.
/// Positions are 32-bit in the file; what lies beyond is left out.
pub(super) fn placed(cues: &[Cue], first: u64, end: u64) -> Vec<Placed<'_>> {
    let mut placed: Vec<Placed<'_>> = cues
        .iter()
        .filter(|cue| cue.from < end && (cue.from >= first || cue.to > first))
        .filter_map(|cue| {
            let at = cue.from.max(first);
            Some(Placed {
                at: u32::try_from(at - first).ok()?,
                len: u32::try_from(cue.to.clamp(at, end) - at).ok()?,
                label: &cue.label,
                text: &cue.text,
            })
        })
        .collect();
    placed.sort_by_key(|cue| cue.at);
    placed
}

/// The two chunks; nothing for no cue.
pub(super) fn chunks(cues: &[Placed<'_>]) -> Vec<u8> {
    let mut points = (cues.len() as u32).to_le_bytes().to_vec();
    let mut list = b"adtl".to_vec();
    for (id, cue) in (1_u32..).zip(cues) {
        point(&mut points, id, cue.at);
        let mut label = id.to_le_bytes().to_vec();
        text(&mut label, cue.label);
        chunk(&mut list, b"labl", &label);
        if cue.len > 0 || !cue.text.is_empty() {
            chunk(&mut list, b"ltxt", &stretch(id, cue));
        }
    }
    let mut out = Vec::new();
    if !cues.is_empty() {
        chunk(&mut out, b"cue ", &points);
        chunk(&mut out, b"LIST", &list);
    }
    out
}

/// A cue point of 24 bytes. Without a play list its position and its offset in
/// the data chunk are the same.
fn point(points: &mut Vec<u8>, id: u32, at: u32) {
    points.extend_from_slice(&id.to_le_bytes());
    points.extend_from_slice(&at.to_le_bytes());
    points.extend_from_slice(b"data");
    points.extend_from_slice(&[0; 8]); // chunk start, block start
    points.extend_from_slice(&at.to_le_bytes());
}

fn stretch(id: u32, cue: &Placed<'_>) -> Vec<u8> {
    let mut body = id.to_le_bytes().to_vec();
    body.extend_from_slice(&cue.len.to_le_bytes());
    body.extend_from_slice(b"rgn ");
    body.extend_from_slice(&[0; 6]); // country, language, dialect
    body.extend_from_slice(&UTF_8.to_le_bytes());
    text(&mut body, cue.text);
    body
}

/// Text that ends with a zero, and so can hold none.
fn text(body: &mut Vec<u8>, text: &str) {
    body.extend(text.bytes().map(|byte| if byte == 0 { b' ' } else { byte }));
    body.push(0);
}
