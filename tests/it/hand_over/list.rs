//! Lists of a wedding at a ferry landing.

use sayback::core::timecode::FrameRate;
use sayback::export::cut::{Cut, CutWord, Kind, Media, Quote, Take};

/// Names as people have them, and as somebody may type them.
pub(super) const NAMES: [&str; 8] = [
    "Ottilie & \"Tilly\", <née> Bell",
    "Corin",
    "O'Dell; second line",
    "渡し守の花子",
    "أمين",
    "=SUM(A1:A9)",
    "-- the vicar",
    "a\tb\u{0}c\nd\u{202E}e",
];

fn media(label: &str, file_name: &str, sample_rate_hz: u32, stamp_s: Option<u64>) -> Media {
    Media {
        id: format!("0192-{}", file_name.len()),
        label: label.into(),
        placement: "near".into(),
        file_name: file_name.into(),
        target_url: format!("sound/{}", file_name.replace(' ', "%20")),
        sample_rate_hz,
        channels: 1,
        samples: u64::from(sample_rate_hz) * 3_600,
        time_reference: stamp_s.map(|s| s * u64::from(sample_rate_hz) + 7),
        online: true,
    }
}

/// Six recordings, of three sample rates, two without a stamp, two of one recorder, one
/// offline, one that runs past midnight.
fn recordings() -> Vec<Media> {
    let mut media = vec![
        media("Lectern", "LECT 002.wav", 48_000, Some(50_400)),
        media("Corin, lapel", "corin, \"lapel\".wav", 48_000, Some(50_412)),
        media("Lectern", "LECT 003.wav", 48_000, Some(54_000)),
        media("Ferry bell", "船着き場 鐘.flac", 96_000, None),
        media("Phone", "phone 1.m4a", 44_100, None),
        media(
            "Boathouse, late",
            "boathouse dance floor.wav",
            48_000,
            Some(84_600),
        ),
    ];
    media[1].channels = 2;
    media[3].online = false;
    media
}

fn take(media: usize, from: u64, to: u64, ppm: f64) -> Take {
    Take {
        media,
        from,
        to,
        ppm,
        verdict: if ppm > 0.0 { "noisy" } else { "clean" }.into(),
        ..Take::default()
    }
}

/// A quote whose words share its time.
fn quote(text: &str, person: Option<&str>, takes: Vec<Take>) -> Quote {
    let (from, to) = (takes[0].from, takes[0].to);
    let said: Vec<&str> = text.split_whitespace().collect();
    let at = |n: usize| from + (to - from) * n as u64 / said.len() as u64;
    let words = said.iter().enumerate().map(|(n, text)| CutWord {
        text: (*text).into(),
        from: at(n),
        to: at(n + 1),
        person: None,
    });
    Quote {
        text: text.into(),
        person: person.map(str::to_owned),
        note: Some("keep\nthe bell".into()),
        words: words.collect(),
        takes,
        ..Quote::default()
    }
}

/// A day with what is odd about days: names, rates, overlaps in a source, stamps, backups
/// of several ranks, and a quote of a third of a second.
pub(super) fn day(rate: FrameRate) -> Cut {
    let (a, b) = (1_000_003, 1_180_007);
    let mut quotes = vec![
        quote(
            "He rang the ferry bell every evening, and nobody came.",
            Some(NAMES[0]),
            vec![
                take(0, a, b, -3.25),
                take(1, a + 77, b + 79, 12.5),
                take(3, 2 * a, 2 * b, 0.0),
            ],
        ),
        // Overlaps the first in its source.
        quote(
            "and nobody came. Until Tuesday; <then> {they} did \\o/ --> so!",
            Some(NAMES[1]),
            vec![
                take(0, b - 40_000, b + 90_001, -3.25),
                take(1, b - 40_000, b + 89_990, 12.5),
            ],
        ),
        quote(
            "We do.",
            Some(NAMES[2]),
            vec![take(4, 44_100, 60_000, 0.0), take(2, 9, 17_316, 0.0)],
        ),
        quote(
            "愿 意 。 はい",
            Some(NAMES[3]),
            vec![take(3, 96_001, 288_005, 0.0)],
        ),
        quote(
            "نعم أوافق",
            Some(NAMES[4]),
            vec![take(5, 9_000_000, 9_100_000, 0.0), take(0, 5, 100_005, 0.0)],
        ),
        quote(
            "= not a formula",
            Some(NAMES[5]),
            vec![take(2, 0, 96_000, 0.0)],
        ),
        quote(
            "- nor this",
            Some(NAMES[6]),
            vec![take(1, 48_000, 144_000, 0.0), take(4, 0, 88_200, 0.0)],
        ),
        quote(
            "and this?",
            Some(NAMES[7]),
            vec![take(0, 172_799_000, 172_800_000, 0.0)],
        ),
        quote(
            "Who said that?",
            None,
            vec![take(5, 90_000_000, 90_123_457, 0.0)],
        ),
    ];
    quotes[1].words[4].person = Some("the vicar".into());
    Cut {
        kind: Kind::List,
        title: "Toasts, \"long\" – 最初".into(),
        event: "The boathouse".into(),
        date: Some("2026-06-20".into()),
        rate,
        media: recordings(),
        quotes,
    }
}

/// So many quotes of a tenth of a second to twelve, at places and lengths that follow no
/// pattern; each second one with a backup.
pub(super) fn random_day(rate: FrameRate, count: usize) -> Cut {
    let mut state = 20_260_620_u64;
    // Knuth's linear congruential generator, its high bits.
    let mut any = |below: u64| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let media = recordings();
    let mut quotes = Vec::new();
    for n in 0..count {
        let at = |any: &mut dyn FnMut(u64) -> u64, index: usize, tenths: u64| {
            let hz = u64::from(media[index].sample_rate_hz);
            let from = any(3_000 * hz);
            take(index, from, from + hz * tenths / 10 + any(40), 0.0)
        };
        // Not the one that may pass midnight in the middle of a quote.
        let (index, tenths) = (any(5) as usize, 1 + any(120));
        let mut takes = vec![at(&mut any, index, tenths)];
        if n % 2 == 1 {
            takes.push(at(&mut any, (index + 1) % 5, tenths));
        }
        let person = NAMES[any(NAMES.len() as u64) as usize];
        quotes.push(quote(
            &format!("line {n}, said at the landing"),
            Some(person),
            takes,
        ));
    }
    let title = "The whole day".into();
    Cut {
        title,
        quotes,
        ..day(rate)
    }
}
