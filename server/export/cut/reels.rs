//! What is a recording called in eight letters?

use std::collections::BTreeSet;

use super::Media;

/// Letters of a reel's name (CMX 3600).
const LONGEST: usize = 8;

/// Names that mean something else: black, bars, no reel.
const TAKEN: [&str; 4] = ["BL", "BLACK", "BARS", "AX"];

/// A name for each recording: capitals, digits and underscores of its file's name, made
/// different by a number where two would be the same.
pub(super) fn names(media: &[Media]) -> Vec<String> {
    let mut taken: BTreeSet<String> = TAKEN.map(str::to_owned).into();
    let mut names = Vec::with_capacity(media.len());
    for media in media {
        let plain = plain(&media.file_name);
        let mut name = plain.clone();
        let mut number = 2_usize;
        while !taken.insert(name.clone()) {
            let end = number.to_string();
            let kept: String = plain
                .chars()
                .take(LONGEST.saturating_sub(end.len()))
                .collect();
            name = kept + &end;
            number += 1;
        }
        names.push(name);
    }
    names
}

fn plain(file_name: &str) -> String {
    let stem = file_name
        .rsplit_once('.')
        .map_or(file_name, |(stem, _)| stem);
    let mut out = String::new();
    for c in stem.chars() {
        match c.is_ascii_alphanumeric() {
            true => out.push(c.to_ascii_uppercase()),
            false if out.is_empty() || out.ends_with('_') => {}
            false => out.push('_'),
        }
    }
    let out: String = out.chars().take(LONGEST).collect();
    let out = out.trim_end_matches('_');
    if out.is_empty() {
        "REEL".into()
    } else {
        out.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::cut::tests::recording;

    #[test]
    fn reels_have_eight_letters_and_no_two_the_same() {
        let files = [
            ("LAV_A.wav", "LAV_A"),
            ("LECT 002.wav", "LECT_002"),
            ("boathouse, door.WAV", "BOATHOUS"),
            ("boathouse, loft.WAV", "BOATHOU2"),
            ("Brücke.flac", "BR_CKE"),
            ("船着き場.wav", "REEL"),
            ("鐘.wav", "REEL2"),
            ("ax.wav", "AX2"),
            ("", "REEL3"),
            ("...", "REEL4"),
        ];
        let media: Vec<Media> = files.iter().map(|(name, _)| recording(name)).collect();
        let want: Vec<&str> = files.iter().map(|(_, want)| *want).collect();
        assert_eq!(names(&media), want);
    }

    #[test]
    fn a_thousand_files_of_one_name_have_a_reel_each() {
        let media = vec![recording("ferry landing.wav"); 1_200];
        let names = names(&media);
        let different: BTreeSet<&String> = names.iter().collect();
        assert_eq!(different.len(), 1_200);
        assert!(names.iter().all(|name| name.len() <= LONGEST));
    }
}
