//! What was odd about a clock, in plain words.

use sayback_core::clock::Warning;

/// What a sentence says about a recording.
#[derive(Clone, Debug)]
pub struct Named {
    /// The file and its source, as a sentence has it: `'REC01.WAV' (Lectern)`.
    pub name: String,
    /// The rate its header says, Hz.
    pub rate_hz: u32,
}

/// Warnings as sentences; `members` are the recordings they name by number, `None`
/// for one that is gone since.
pub fn sentences(warnings: &[Warning], members: &[Option<Named>]) -> Vec<String> {
    warnings
        .iter()
        .map(|warning| sentence(warning, members))
        .collect()
}

fn sentence(warning: &Warning, members: &[Option<Named>]) -> String {
    let known = |member: usize| members.get(member).and_then(Option::as_ref);
    let name = |member: usize| match known(member) {
        Some(named) => named.name.clone(),
        None => "a recording that is gone".into(),
    };
    match *warning {
        Warning::StampDisagrees { member, by_ms } => format!(
            "the time stamp of {} is {} than its sound; the sound was believed",
            name(member),
            apart(by_ms)
        ),
        Warning::Tie { a, b } => format!(
            "{} and {} fit each other in several places equally well, as when a song is played \
             twice; no place was picked. If you know it, fix one of them by hand",
            name(a),
            name(b)
        ),
        Warning::Jump {
            member,
            at_ms,
            lost_ms,
        } => format!(
            "{} stopped at {} of its file and went on {}; both sides are placed",
            name(member),
            position(at_ms),
            apart(lost_ms)
        ),
        Warning::WrongRate {
            member,
            ppm,
            likely_hz,
        } => {
            let way = if ppm < 0.0 { "slow" } else { "fast" };
            let mut text = format!(
                "{} runs {:.2} % {way}, far more than any clock: the sample rate in its header is \
                 probably wrong",
                name(member),
                ppm.abs() / 10_000.0
            );
            if let (Some((true_hz, told_hz)), Some(named)) = (likely_hz, known(member)) {
                // The two rates are told for a header that says the second.
                let (header, told) = (u64::from(named.rate_hz), u64::from(told_hz.max(1)));
                let likely = (u64::from(true_hz) * header + told / 2) / told;
                text.push_str(&format!(" ({likely} Hz would fit, it says {header} Hz)"));
            }
            text + "; it is placed by the rate that fits"
        }
        Warning::Outlier { a, b, by_ms } => format!(
            "what {} and {} say of each other contradicts all else by {}; it was left out",
            name(a),
            name(b),
            span(by_ms)
        ),
        Warning::FixDisagrees { member, by_ms } => format!(
            "by its sound {} lies {} than where it was put by hand; the hand was believed. \
             Release it if that is wrong",
            name(member),
            apart(by_ms)
        ),
        Warning::Copy {
            member,
            of,
            gain_db,
        } => {
            let level = if gain_db.abs() < 0.05 {
                "at the same level".into()
            } else {
                let way = if gain_db < 0.0 { "lower" } else { "higher" };
                format!("{:.1} dB {way}", gain_db.abs())
            };
            format!(
                "{} is the same sound as {}, {level}",
                name(member),
                name(of)
            )
        }
        Warning::Inverted { member, against } => format!(
            "{} has its polarity turned over against {}: turn it before the two are mixed",
            name(member),
            name(against)
        ),
        Warning::Unreadable { member } => format!(
            "{} could not be read, or is silent, where its sound was wanted",
            name(member)
        ),
    }
}

/// `3.2 s later`, `0.4 ms earlier`.
fn apart(ms: f64) -> String {
    let way = if ms < 0.0 { "earlier" } else { "later" };
    format!("{} {way}", span(ms))
}

/// A length of time, whichever way: `12.3 ms`, `3.2 s`, `12 min 05 s`, `3 h 20 min`.
fn span(ms: f64) -> String {
    let ms = ms.abs();
    let seconds = (ms / 1000.0).round() as u64;
    if ms < 999.5 {
        format!("{ms:.1} ms")
    } else if ms < 59_950.0 {
        format!("{:.1} s", ms / 1000.0)
    } else if seconds < 3_600 {
        format!("{} min {:02} s", seconds / 60, seconds % 60)
    } else {
        format!("{} h {:02} min", seconds / 3_600, seconds / 60 % 60)
    }
}

/// A position in a file: `0:12:03.4`.
fn position(ms: f64) -> String {
    let tenths = (ms.max(0.0) / 100.0).round() as u64;
    let seconds = tenths / 10;
    format!(
        "{}:{:02}:{:02}.{}",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60,
        tenths % 10
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: &str, rate_hz: u32) -> Option<Named> {
        Some(Named {
            name: name.into(),
            rate_hz,
        })
    }

    #[test]
    fn every_warning_is_a_sentence_that_names_its_files() {
        let members = [
            named("'A.WAV' (Lapel)", 48_000),
            named("'B.MOV' (Camera)", 96_000),
            None,
        ];
        let (a, b) = (0, 1);
        for (warning, told) in [
            (
                Warning::StampDisagrees {
                    member: a,
                    by_ms: -3_200.0,
                },
                "the time stamp of 'A.WAV' (Lapel) is 3.2 s earlier than its sound; the sound was \
                 believed",
            ),
            (
                Warning::Tie { a, b },
                "'A.WAV' (Lapel) and 'B.MOV' (Camera) fit each other in several places equally \
                 well, as when a song is played twice; no place was picked. If you know it, fix \
                 one of them by hand",
            ),
            (
                Warning::Jump {
                    member: a,
                    at_ms: 723_449.0,
                    lost_ms: 725_000.0,
                },
                "'A.WAV' (Lapel) stopped at 0:12:03.4 of its file and went on 12 min 05 s later; \
                 both sides are placed",
            ),
            (
                // 44.1 kHz sound in a header of 96 kHz's family: 88.2 kHz fits.
                Warning::WrongRate {
                    member: b,
                    ppm: 88_435.4,
                    likely_hz: Some((44_100, 48_000)),
                },
                "'B.MOV' (Camera) runs 8.84 % fast, far more than any clock: the sample rate in \
                 its header is probably wrong (88200 Hz would fit, it says 96000 Hz); it is placed \
                 by the rate that fits",
            ),
            (
                Warning::WrongRate {
                    member: a,
                    ppm: -20_000.0,
                    likely_hz: None,
                },
                "'A.WAV' (Lapel) runs 2.00 % slow, far more than any clock: the sample rate in \
                 its header is probably wrong; it is placed by the rate that fits",
            ),
            (
                Warning::Outlier {
                    a,
                    b: 2,
                    by_ms: 12_000_000.0,
                },
                "what 'A.WAV' (Lapel) and a recording that is gone say of each other contradicts \
                 all else by 3 h 20 min; it was left out",
            ),
            (
                Warning::FixDisagrees {
                    member: 7,
                    by_ms: 12.34,
                },
                "by its sound a recording that is gone lies 12.3 ms later than where it was put \
                 by hand; the hand was believed. Release it if that is wrong",
            ),
            (
                Warning::Copy {
                    member: a,
                    of: b,
                    gain_db: -10.04,
                },
                "'A.WAV' (Lapel) is the same sound as 'B.MOV' (Camera), 10.0 dB lower",
            ),
            (
                Warning::Copy {
                    member: a,
                    of: b,
                    gain_db: 0.01,
                },
                "'A.WAV' (Lapel) is the same sound as 'B.MOV' (Camera), at the same level",
            ),
            (
                Warning::Inverted {
                    member: a,
                    against: b,
                },
                "'A.WAV' (Lapel) has its polarity turned over against 'B.MOV' (Camera): turn it \
                 before the two are mixed",
            ),
            (
                Warning::Unreadable { member: b },
                "'B.MOV' (Camera) could not be read, or is silent, where its sound was wanted",
            ),
        ] {
            assert_eq!(sentences(&[warning], &members), [told]);
        }
    }
}
