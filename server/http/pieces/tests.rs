//! The protocol's headers.

use super::fields::{Checksum, Metadata, number};
use super::*;

fn headers(value: &str) -> HeaderMap {
    let value = HeaderValue::try_from(value).expect("a value");
    HeaderMap::from_iter([(UPLOAD_LENGTH.clone(), value)])
}

#[test]
fn a_length_is_a_whole_number() {
    assert_eq!(number(&headers("0"), &UPLOAD_LENGTH).ok(), Some(0));
    assert_eq!(
        number(&headers("18446744073709551615"), &UPLOAD_LENGTH).ok(),
        Some(u64::MAX)
    );
    for bad in ["", "-1", "+1", "1.5", "0x10", "1 2", "18446744073709551616"] {
        let problem = number(&headers(bad), &UPLOAD_LENGTH).expect_err(bad);
        assert_eq!(problem.status, 400, "{bad}");
    }
    let missing = number(&HeaderMap::new(), &UPLOAD_LENGTH).expect_err("none");
    assert_eq!(missing.status, 400);
}

/// The example of the specification, section 'Creation'.
#[test]
fn metadata_is_pairs_in_base64() {
    let header = "filename d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg==,is_confidential";
    let metadata = Metadata::parse(header).expect("it is read");
    assert_eq!(
        metadata.needed("filename").ok(),
        Some("world_domination_plan.pdf")
    );
    assert_eq!(metadata.get("is_confidential"), None);
    assert_eq!(metadata.needed("source").expect_err("none").status, 422);
    for bad in ["filename a_b", "filename YQ==,filename YQ=="] {
        assert_eq!(Metadata::parse(bad).expect_err(bad).status, 422, "{bad}");
    }
    // What is no text is nothing that is asked for.
    let binary = Metadata::parse("filename /w==").expect("it is read");
    assert_eq!(binary.get("filename"), None);
}

/// The hash of FIPS 180-4's example message 'abc', in base64.
#[test]
fn a_checksum_is_met_by_its_bytes_alone() {
    for header in [
        "sha1 qZk+NkcGgWq6PiVxeFDCbJzQ2J0=",
        "sha256 ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=",
    ] {
        let mut whole = Checksum::parse(header).expect("it is read");
        whole.take(b"a");
        whole.take(b"bc");
        assert!(whole.met(), "{header}");
        let mut other = Checksum::parse(header).expect("it is read");
        other.take(b"abd");
        assert!(!other.met(), "{header}");
    }
    for bad in ["md5 AAAA", "sha1", "sha1 ***", ""] {
        let refused = Checksum::parse(bad).map(Checksum::met);
        assert!(!matches!(refused, Ok(true)), "{bad}");
    }
}

/// RFC 9110 section 5.6.7 has this instant as its example.
#[test]
fn an_instant_is_written_as_http_writes_it() {
    let sending = Sending {
        id: "a".into(),
        length: 2,
        offset: 1,
        expires: std::time::UNIX_EPOCH + std::time::Duration::from_secs(784_111_777),
        said: String::new(),
    };
    let headers = far(&sending).expect("headers");
    assert_eq!(headers[&UPLOAD_EXPIRES], "Sun, 06 Nov 1994 08:49:37 GMT");
    assert_eq!(headers[&UPLOAD_OFFSET], "1");
}
