//! What does the iXML chunk say about when, and at which frame rate?
//!
//! Field names of the open iXML specification. In: the chunk's bytes, of any
//! length and content. Out: an [`Ixml`] with what could be read, and the
//! problems met. Never fails, never divides by what the file says.

use quick_xml::XmlVersion;
use quick_xml::events::Event;
use quick_xml::reader::Reader;

use super::stamps::{clock_text, date_text};

/// Deepest nesting followed; the specification needs four.
const DEPTH_LIMIT: usize = 32;

/// The fields of an iXML chunk that say when.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ixml {
    /// Samples since midnight at the first sample: HI · 2^32 + LO.
    pub samples: Option<u64>,
    /// The rate those samples are counted at, in Hz, never 0.
    pub rate_hz: Option<u32>,
    /// Frame rate as `30000/1001` or `25`, with ` DF` behind it for drop frame.
    pub frame_rate: Option<String>,
    /// Date of the bext copy inside iXML, `yyyy-mm-dd`.
    pub date: Option<String>,
    /// Time of the bext copy inside iXML, `hh:mm:ss`.
    pub time: Option<String>,
}

#[derive(Default)]
struct Raw {
    hi: Option<u64>,
    lo: Option<u64>,
    stamp_rate: Option<u32>,
    file_rate: Option<u32>,
    timecode_rate: Option<String>,
    drop_frame: bool,
    date: Option<String>,
    time: Option<String>,
}

/// Reads an iXML chunk; returns what it says and what was wrong with it.
#[must_use]
pub fn read(bytes: &[u8]) -> (Ixml, Vec<String>) {
    let mut warnings = Vec::new();
    // The chunk is often padded with zero bytes; some recorders write Latin-1.
    let end = bytes
        .iter()
        .rposition(|byte| *byte != 0)
        .map_or(0, |last| last + 1);
    let text = String::from_utf8_lossy(&bytes[..end]);
    let raw = walk(&text, &mut warnings);
    let samples = match (raw.hi, raw.lo) {
        (None, None) => None,
        (hi, Some(lo)) if hi.unwrap_or(0) <= u64::from(u32::MAX) && lo <= u64::from(u32::MAX) => {
            Some(hi.unwrap_or(0) << 32 | lo)
        }
        _ => {
            warnings.push("the iXML time stamp is no pair of 32-bit numbers".into());
            None
        }
    };
    let frame_rate = raw.timecode_rate.and_then(|text| {
        let rate = frame_rate(&text);
        if rate.is_none() {
            warnings.push(format!(
                "the iXML frame rate {:?} is not a rate",
                shorten(&text)
            ));
        }
        rate.map(|rate| {
            if raw.drop_frame {
                format!("{rate} DF")
            } else {
                rate
            }
        })
    });
    let ixml = Ixml {
        samples,
        rate_hz: raw.stamp_rate.or(raw.file_rate),
        frame_rate,
        date: raw.date.and_then(|text| date_text(&text)),
        time: raw.time.and_then(|text| clock_text(&text)),
    };
    (ixml, warnings)
}

/// Follows elements under BWFXML; text of an element goes to its field.
fn walk(text: &str, warnings: &mut Vec<String>) -> Raw {
    let mut raw = Raw::default();
    let mut reader = Reader::from_str(text);
    let mut path: Vec<String> = Vec::new();
    let mut content = String::new();
    loop {
        match reader.read_event() {
            Ok(Event::Start(start)) => {
                if path.len() >= DEPTH_LIMIT {
                    warnings.push("the iXML chunk is nested too deeply; read in part".into());
                    break;
                }
                path.push(start.name().as_ref().to_owned());
                content.clear();
            }
            Ok(Event::Text(part)) => content.push_str(&part.xml_content(XmlVersion::Implicit1_0)),
            Ok(Event::End(_)) => {
                if let [.., parent, name] = path.as_slice() {
                    take(&mut raw, parent, name, content.trim());
                }
                path.pop();
                content.clear();
            }
            Ok(Event::Eof) => break,
            Ok(_) => {}
            Err(_) => {
                warnings.push("the iXML chunk is not well-formed; read up to the fault".into());
                break;
            }
        }
    }
    raw
}

fn take(raw: &mut Raw, parent: &str, name: &str, text: &str) {
    match (parent, name) {
        ("SPEED", "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI") => raw.hi = Some(number(text)),
        ("SPEED", "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO") => raw.lo = Some(number(text)),
        ("SPEED", "TIMESTAMP_SAMPLE_RATE") => raw.stamp_rate = rate(text),
        ("SPEED", "FILE_SAMPLE_RATE") => raw.file_rate = rate(text),
        ("SPEED", "TIMECODE_RATE") => raw.timecode_rate = Some(text.to_owned()),
        ("SPEED", "TIMECODE_FLAG") => raw.drop_frame = text == "DF",
        ("BEXT", "BWF_ORIGINATION_DATE") => raw.date = Some(text.to_owned()),
        ("BEXT", "BWF_ORIGINATION_TIME") => raw.time = Some(text.to_owned()),
        _ => {}
    }
}

/// A number, or one too large for any field when it is none.
fn number(text: &str) -> u64 {
    text.parse().unwrap_or(u64::MAX)
}

fn rate(text: &str) -> Option<u32> {
    text.parse().ok().filter(|rate| *rate > 0)
}

/// `25`, `25/1` and `30000/1001` are rates; `2997ND` and `30/0` are not.
fn frame_rate(text: &str) -> Option<String> {
    let (over, under) = text.split_once('/').unwrap_or((text, "1"));
    let (over, under): (u32, u32) = (over.trim().parse().ok()?, under.trim().parse().ok()?);
    // Between 1 and 1000 frames a second, so that nobody divides by 0 later.
    if under == 0 || over < under || over / under > 1000 {
        return None;
    }
    Some(if over % under == 0 {
        format!("{}", over / under)
    } else {
        format!("{over}/{under}")
    })
}

fn shorten(text: &str) -> String {
    text.chars().take(20).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn speed(fields: &str) -> Ixml {
        let text = format!("<?xml version=\"1.0\"?><BWFXML><SPEED>{fields}</SPEED></BWFXML>");
        read(text.as_bytes()).0
    }

    #[test]
    fn hi_and_lo_are_one_64_bit_number_not_joined_digits() {
        let hi_lo = |hi: &str, lo: &str| {
            speed(&format!(
                "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>{hi}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>\
                 <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>{lo}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>"
            ))
            .samples
        };
        assert_eq!(hi_lo("1", "0"), Some(4_294_967_296));
        assert_eq!(hi_lo("0", "172800000"), Some(3_600 * 48_000)); // 01:00:00
        assert_eq!(hi_lo("0", "4294967296"), None);
        assert_eq!(hi_lo("0", "-1"), None);
    }

    #[test]
    fn frame_rates_are_kept_or_refused_never_divided() {
        let rate = |text: &str, flag: &str| {
            speed(&format!(
                "<TIMECODE_RATE>{text}</TIMECODE_RATE><TIMECODE_FLAG>{flag}</TIMECODE_FLAG>"
            ))
            .frame_rate
        };
        assert_eq!(rate("30000/1001", "NDF").as_deref(), Some("30000/1001"));
        assert_eq!(rate("30000/1001", "DF").as_deref(), Some("30000/1001 DF"));
        assert_eq!(rate("25/1", "NDF").as_deref(), Some("25"));
        for wrong in ["2997ND", "30/0", "0/1", "", "1/30", "-25/1"] {
            assert_eq!(rate(wrong, "NDF"), None, "{wrong}");
        }
    }

    #[test]
    fn a_broken_chunk_gives_what_came_before_the_fault() {
        let whole = "<BWFXML><SPEED><TIMECODE_RATE>25/1</TIMECODE_RATE></SPEED><USER>";
        assert_eq!(read(whole.as_bytes()).0.frame_rate.as_deref(), Some("25"));
        let deep = "<A>".repeat(100_000);
        assert!(!read(deep.as_bytes()).1.is_empty());
        for len in 0..whole.len() {
            let _ = read(&whole.as_bytes()[..len]);
        }
    }
}
