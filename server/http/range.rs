//! Which bytes were asked for? RFC 9110, sections 13 and 14.
//!
//! Pure: header values and a length in, a decision out. One range is answered
//! with 206; several that cannot be served as one are answered with the whole
//! (section 14.2 lets a server ignore the field), so there is no multipart.

use axum::http::{HeaderMap, Method, header};

/// Bytes of a representation, `start..end`, half-open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ByteRange {
    /// The first byte.
    pub start: u64,
    /// One past the last byte.
    pub end: u64,
}

/// What to answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// 200: everything.
    Whole,
    /// 206: these bytes.
    Part(ByteRange),
    /// 304: the client has it.
    NotModified,
    /// 412: the client holds another version.
    PreconditionFailed,
    /// 416: nothing of this length was asked for.
    Unsatisfiable,
}

/// Reads a `Range` value for a representation of `length` bytes. `None` where
/// the field is to be ignored: another unit, or not by the grammar.
fn satisfiable(value: &str, length: u64) -> Option<Vec<ByteRange>> {
    let (unit, specs) = value.split_once('=')?;
    if !unit.trim().eq_ignore_ascii_case("bytes") {
        return None;
    }
    let mut found = Vec::new();
    let mut any = false;
    for spec in specs.split(',').map(str::trim).filter(|s| !s.is_empty()) {
        any = true;
        let (first, last) = spec.split_once('-')?;
        let range = if first.is_empty() {
            let suffix = number(last)?;
            ByteRange {
                start: length.saturating_sub(suffix),
                end: length,
            }
        } else {
            let start = number(first)?;
            let end = if last.is_empty() {
                length
            } else {
                let last = number(last)?;
                if last < start {
                    return None;
                }
                length.min(last.saturating_add(1))
            };
            ByteRange { start, end }
        };
        if range.start < range.end {
            found.push(range);
        }
    }
    any.then_some(found)
}

/// Digits only; a number too large for 64 bits is as good as the largest.
fn number(text: &str) -> Option<u64> {
    if text.is_empty() || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    Some(text.parse().unwrap_or(u64::MAX))
}

/// Decides by the request's method and headers, in the order of RFC 9110
/// section 13.2.2. `etag` is the entity tag as sent, with its quotes, and with
/// `W/` where it is weak.
#[must_use]
pub fn wanted(method: &Method, headers: &HeaderMap, length: u64, etag: &str) -> Wanted {
    if let Some(tags) = list(headers, header::IF_MATCH)
        && !tags.iter().any(|tag| tag == "*" || strong_equal(tag, etag))
    {
        return Wanted::PreconditionFailed;
    }
    if let Some(tags) = list(headers, header::IF_NONE_MATCH)
        && tags
            .iter()
            .any(|tag| tag == "*" || opaque(tag) == opaque(etag))
    {
        return Wanted::NotModified;
    }
    // Range handling is defined for GET alone (section 14.2).
    if method != Method::GET {
        return Wanted::Whole;
    }
    if let Some(condition) = headers.get(header::IF_RANGE) {
        // A date never equals: no Last-Modified is sent.
        let same = condition
            .to_str()
            .is_ok_and(|c| strong_equal(c.trim(), etag));
        if !same {
            return Wanted::Whole;
        }
    }
    let Some(value) = headers.get(header::RANGE) else {
        return Wanted::Whole;
    };
    let Some(ranges) = value.to_str().ok().and_then(|v| satisfiable(v, length)) else {
        return Wanted::Whole;
    };
    match ranges.as_slice() {
        [] => Wanted::Unsatisfiable,
        [one] => Wanted::Part(*one),
        _ => Wanted::Whole,
    }
}

fn list(headers: &HeaderMap, name: header::HeaderName) -> Option<Vec<String>> {
    let mut found = None;
    for value in headers.get_all(name) {
        let text = value.to_str().unwrap_or("");
        // The tags made here hold no comma; another server's that do never match.
        found
            .get_or_insert_with(Vec::new)
            .extend(text.split(',').map(|tag| tag.trim().to_owned()));
    }
    found
}

/// Strong comparison, RFC 9110 section 8.8.3.2: neither may be weak.
fn strong_equal(a: &str, b: &str) -> bool {
    !a.starts_with("W/") && a == b
}

fn opaque(tag: &str) -> &str {
    tag.strip_prefix("W/").unwrap_or(tag)
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    fn ask(length: u64, range: &str) -> Wanted {
        ask_with(length, &[("range", range)])
    }

    fn ask_with(length: u64, fields: &[(&'static str, &str)]) -> Wanted {
        let mut headers = HeaderMap::new();
        for (name, value) in fields {
            headers.append(*name, HeaderValue::from_str(value).expect("a header value"));
        }
        wanted(&Method::GET, &headers, length, "\"abc\"")
    }

    fn part(first: u64, last: u64) -> Wanted {
        Wanted::Part(ByteRange {
            start: first,
            end: last + 1,
        })
    }

    /// RFC 9110 section 14.1.2, for a representation of 10000 bytes.
    #[test]
    fn the_examples_of_the_standard() {
        assert_eq!(ask(10_000, "bytes=0-499"), part(0, 499));
        assert_eq!(ask(10_000, "bytes=500-999"), part(500, 999));
        assert_eq!(ask(10_000, "bytes=-500"), part(9_500, 9_999));
        assert_eq!(ask(10_000, "bytes=9500-"), part(9_500, 9_999));
        assert_eq!(
            satisfiable("bytes=0-0,-1", 10_000),
            Some(vec![
                ByteRange { start: 0, end: 1 },
                ByteRange {
                    start: 9_999,
                    end: 10_000
                }
            ])
        );
        assert_eq!(
            satisfiable("bytes= 0-999, 4500-5499, -1000", 10_000).map(|r| r.len()),
            Some(3)
        );
        assert_eq!(ask(10_000, "bytes=9999-20000"), part(9_999, 9_999));
        assert_eq!(ask(10_000, "bytes=-20000"), part(0, 9_999));
    }

    /// RFC 9110 section 14.4, for a representation of 1234 bytes.
    #[test]
    fn content_range_examples_of_the_standard() {
        assert_eq!(ask(1234, "bytes=0-499"), part(0, 499));
        assert_eq!(ask(1234, "bytes=500-1233"), part(500, 1_233));
        assert_eq!(ask(1234, "bytes=-500"), part(734, 1_233));
        assert_eq!(ask(1234, "bytes=1234-"), Wanted::Unsatisfiable);
    }

    #[test]
    fn several_ranges_get_the_whole_but_one_that_is_left_is_served() {
        assert_eq!(ask(100, "bytes=0-0,-1"), Wanted::Whole);
        assert_eq!(ask(100, "bytes=5-9, 200-300"), part(5, 9));
        assert_eq!(ask(100, "bytes=200-300, 400-"), Wanted::Unsatisfiable);
    }

    #[test]
    fn what_is_no_range_is_ignored() {
        for bad in [
            "bytes=9-5",
            "bytes=-",
            "bytes=a-b",
            "bytes=+1-2",
            "bytes=",
            "bytes=,",
            "items=0-1",
            "bytes 0-1",
            "bytes=1-2-3",
            "bytes=--1",
        ] {
            assert_eq!(ask(100, bad), Wanted::Whole, "{bad}");
        }
    }

    #[test]
    fn edges_of_length_and_number() {
        assert_eq!(ask(100, "bytes=-0"), Wanted::Unsatisfiable);
        assert_eq!(ask(0, "bytes=0-"), Wanted::Unsatisfiable);
        assert_eq!(ask(0, "bytes=-5"), Wanted::Unsatisfiable);
        assert_eq!(
            ask(100, "bytes=99999999999999999999999-"),
            Wanted::Unsatisfiable
        );
        assert_eq!(ask(100, "bytes=7-99999999999999999999999"), part(7, 99));
        assert_eq!(ask(100, "BYTES=1-2"), part(1, 2));
    }

    #[test]
    fn if_range_holds_only_for_the_very_same_version() {
        let range = ("range", "bytes=0-1");
        assert_eq!(ask_with(9, &[range, ("if-range", "\"abc\"")]), part(0, 1));
        assert_eq!(
            ask_with(9, &[range, ("if-range", "\"old\"")]),
            Wanted::Whole
        );
        assert_eq!(
            ask_with(9, &[range, ("if-range", "W/\"abc\"")]),
            Wanted::Whole
        );
        let date = ("if-range", "Sat, 20 Jun 2026 10:00:00 GMT");
        assert_eq!(ask_with(9, &[range, date]), Wanted::Whole);
    }

    #[test]
    fn conditions_on_the_version_come_before_the_range() {
        let range = ("range", "bytes=0-1");
        assert_eq!(
            ask_with(9, &[range, ("if-none-match", "\"x\", W/\"abc\"")]),
            Wanted::NotModified
        );
        assert_eq!(
            ask_with(9, &[range, ("if-match", "\"x\"")]),
            Wanted::PreconditionFailed
        );
        assert_eq!(ask_with(9, &[range, ("if-match", "*")]), part(0, 1));
    }

    #[test]
    fn head_ignores_ranges() {
        let mut headers = HeaderMap::new();
        headers.insert("range", HeaderValue::from_static("bytes=50-"));
        assert_eq!(wanted(&Method::HEAD, &headers, 9, "\"abc\""), Wanted::Whole);
    }
}
