use quick_xml::Reader;
use quick_xml::escape::unescape;
use quick_xml::events::Event;

use super::*;

fn bar(source: &str, file: &str, how: How, runs: &[(f64, f64)]) -> Bar {
    Bar {
        file: file.into(),
        source: source.into(),
        placed: "worn".into(),
        how,
        island: Some(0),
        runs: runs.to_vec(),
        speech: Vec::new(),
        uncertainty_ms: Some(0.8),
    }
}

fn picture(bars: Vec<Bar>) -> String {
    draw(&Picture {
        title: "Tarrow Landing".into(),
        bars,
    })
}

/// Every element with its attributes, and all text, both unescaped; fails if the
/// document is not well-formed.
fn read(svg: &str) -> (Vec<String>, String) {
    let mut reader = Reader::from_str(svg);
    let (mut elements, mut text, mut depth) = (Vec::new(), String::new(), 0_i32);
    loop {
        match reader.read_event().expect("well-formed XML") {
            Event::Eof => break,
            Event::End(_) => {
                depth -= 1;
                text.push('\n');
            }
            Event::Text(piece) => text.push_str(&piece),
            Event::GeneralRef(reference) => {
                text.push_str(&unescape(&format!("&{};", &*reference)).expect("a known reference"));
            }
            event @ (Event::Start(_) | Event::Empty(_)) => {
                depth += i32::from(matches!(event, Event::Start(_)));
                let (Event::Start(start) | Event::Empty(start)) = event else {
                    continue;
                };
                let mut told = start.name().as_ref().to_owned();
                for attribute in start.attributes() {
                    let attribute = attribute.expect("an attribute, once");
                    let part = format!(" {}={}", attribute.key.as_ref(), attribute.value);
                    told.push_str(&unescape(&part).expect("escaped"));
                }
                elements.push(told);
            }
            other => panic!("{other:?} does not belong here"),
        }
    }
    assert_eq!(depth, 0, "everything is closed");
    (elements, text)
}

/// What the bars of a file look like, by the order of drawing.
fn bars_drawn(elements: &[String]) -> Vec<&String> {
    elements
        .iter()
        .skip_while(|e| !e.starts_with("g"))
        .filter(|e| e.starts_with("rect"))
        .collect()
}

fn number(element: &str, name: &str) -> f64 {
    let (_, rest) = element.split_once(&format!(" {name}=")).expect("it has it");
    let end = rest.find(' ').unwrap_or(rest.len());
    rest[..end].parse().expect("a number")
}

#[test]
fn names_are_text_whatever_they_hold() {
    let odd = "</text><script>alert(1)</script>&amp;\"'\u{0}\u{1b}\u{202e}\u{ffff}\n]]>";
    let mut one = bar(odd, odd, How::Sound, &[(0.0, 60_000.0)]);
    one.placed = odd.into();
    let svg = draw(&Picture {
        title: odd.into(),
        bars: vec![one],
    });
    let (elements, text) = read(&svg);
    assert!(!elements.iter().any(|e| e.starts_with("script")), "{svg}");
    assert!(
        text.contains("The clock of </text><script>alert(1)</script>&amp;\"'\u{fffd}"),
        "{text}"
    );
    let forbidden = |c: char| c.is_control() && c != '\n' || matches!(c, '\u{202e}' | '\u{ffff}');
    assert!(!svg.contains(forbidden), "{svg:?}");
    assert!(!svg.to_lowercase().contains("javascript"));
}

#[test]
fn a_bar_lies_where_the_recording_ran() {
    // 100 s in all: half of it is half of the width.
    let svg = picture(vec![
        bar("Lapel", "a.wav", How::Sound, &[(0.0, 100_000.0)]),
        bar("Camera", "b.mov", How::Stamp, &[(50_000.0, 75_000.0)]),
    ]);
    let (elements, text) = read(&svg);
    let drawn = bars_drawn(&elements);
    assert_eq!(drawn.len(), 2, "{drawn:?}");
    let (whole, part) = (number(drawn[0], "width"), number(drawn[1], "width"));
    assert!((part - whole / 4.0).abs() < 0.2, "{whole} {part}");
    let later = number(drawn[1], "x") - number(drawn[0], "x");
    assert!((later - whole / 2.0).abs() < 0.2, "{whole} {later}");
    assert!(drawn[0].contains("sound") && drawn[1].contains("url(#stamp)"));
    for told in [
        "2 recordings of 2 sources. 2 recordings on the event clock, from 0:00:00 to 0:01:40: \
         1 by sound, 1 by its time stamp.",
        "Camera, b.mov: 0:00:50 to 0:01:15, placed by its time stamp, ± 0.8 ms",
    ] {
        assert!(text.contains(told), "no {told:?} in {text}");
    }
}

#[test]
fn a_stop_inside_a_file_is_a_gap() {
    let runs = [(0.0, 20_000.0), (60_000.0, 100_000.0)];
    let (elements, _) = read(&picture(vec![bar("Lapel", "a.wav", How::Sound, &runs)]));
    let drawn = bars_drawn(&elements);
    assert_eq!(drawn.len(), 2);
    let end = number(drawn[0], "x") + number(drawn[0], "width");
    assert!(number(drawn[1], "x") - end > 200.0, "{drawn:?}");
    let line = elements.iter().find(|e| e.contains("class=stop"));
    assert!(line.is_some(), "the gap is bridged by a dotted line");
}

#[test]
fn doubt_is_drawn_where_it_can_be_seen_and_told_everywhere() {
    let mut doubtful = bar("Camera", "b.mov", How::Stamp, &[(10_000.0, 90_000.0)]);
    doubtful.uncertainty_ms = Some(2_000.0);
    let bars = vec![
        bar("Lapel", "a.wav", How::Sound, &[(0.0, 100_000.0)]),
        doubtful,
    ];
    let (elements, text) = read(&picture(bars));
    let whiskers = elements.iter().filter(|e| e.contains("class=doubt"));
    // The legend's, and one at each end of the doubtful one.
    assert_eq!(whiskers.count(), 3);
    assert!(
        text.contains("± 2.0 s") && text.contains("± 0.8 ms"),
        "{text}"
    );
}

#[test]
fn what_is_not_placed_stands_below_by_itself() {
    let mut alone = bar("Phone", "c.m4a", How::Unplaced, &[(0.0, 30_000.0)]);
    alone.island = None;
    alone.uncertainty_ms = None;
    let mut pair = [
        bar("Left", "d.wav", How::Sound, &[(0.0, 30_000.0)]),
        bar("Right", "e.wav", How::Sound, &[(5_000.0, 30_000.0)]),
    ];
    for bar in &mut pair {
        bar.island = Some(1);
    }
    let bars = [
        vec![bar("Lapel", "a.wav", How::Sound, &[(0.0, 60_000.0)])],
        pair.into(),
        vec![alone],
    ];
    let (elements, text) = read(&picture(bars.concat()));
    let at = |name: &str| {
        text.find(name)
            .unwrap_or_else(|| panic!("no {name} in {text}"))
    };
    let order = [
        "a.wav",
        "Not on the event clock",
        "share sound",
        "\nd.wav",
        "\ne.wav",
        "No place",
        "\nc.m4a",
    ];
    for two in order.windows(2) {
        assert!(at(two[0]) < at(two[1]), "{two:?} in {text}");
    }
    let drawn = bars_drawn(&elements);
    assert!(drawn[3].contains("class=loose"), "{drawn:?}");
    let (left, right) = (number(drawn[1], "x"), number(drawn[2], "x"));
    assert!(
        right - left > 10.0,
        "they are in step with each other: {drawn:?}"
    );
    assert!(
        text.contains("3 recordings not on the event clock."),
        "{text}"
    );
}

#[test]
fn nothing_and_nonsense_are_drawn_too() {
    read(&picture(Vec::new()));
    for runs in [
        vec![],
        vec![(0.0, 0.0)],
        vec![(f64::NAN, 1.0)],
        vec![(0.0, f64::INFINITY)],
        vec![(-1e15, 1e15)],
        vec![(5.0, -5.0)],
    ] {
        let mut odd = bar("Lapel", "a.wav", How::ByHand, &runs);
        odd.speech = vec![(f64::NAN, 0.0), (3.0, 1.0), (-1e300, 1e300)];
        odd.uncertainty_ms = Some(f64::INFINITY);
        let svg = picture(vec![odd, bar("Camera", "b.mov", How::Sound, &[(0.0, 1.0)])]);
        read(&svg);
        assert!(!svg.contains("NaN") && !svg.contains("inf\""), "{svg}");
    }
}

/// 200 recordings with 5,000 stretches of speech each stay a picture that a page
/// can hold: 1 MB, where every mark by itself would take over 10.
#[test]
fn the_picture_of_a_large_event_is_bounded() {
    let hours = 12.0 * 3_600_000.0;
    let bars = (0..200).map(|n| {
        let start = f64::from(n) * 1_000.0;
        let runs = [(start, start + hours)];
        let name = format!("REC_{n:04}.WAV");
        let mut bar = bar(&format!("Source {}", n / 10), &name, How::Sound, &runs);
        let step = hours / 5_000.0;
        bar.speech = (0..5_000)
            .map(|m| f64::from(m) * step + start)
            .map(|at| (at, at + step / 3.0))
            .collect();
        bar
    });
    let svg = picture(bars.collect());
    read(&svg);
    assert!(svg.len() < 1_000_000, "{} bytes", svg.len());
}

#[test]
fn labels_along_the_clock_are_whole_and_few() {
    for (from, to) in [
        (0.0, 53_000.0),
        (-90_000.0, 10_800_000.0),
        (0.0, 9e8),
        (0.0, 1e13),
    ] {
        let ticks = axis::ticks(from, to);
        assert!((2..=9).contains(&ticks.len()), "{ticks:?}");
        assert!(
            ticks
                .iter()
                .all(|t| t % 1_000.0 == 0.0 && (from..=to).contains(t))
        );
    }
    assert_eq!(axis::time(-61_400.0), "-0:01:01");
    assert_eq!(axis::time(3_600_000.0 * 30.0), "30:00:00");
    for (ms, told) in [
        (0.04, "± 0.0 ms"),
        (9.94, "± 9.9 ms"),
        (9.96, "± 10 ms"),
        (999.6, "± 1.0 s"),
        (120_000.0, "± 2 min"),
    ] {
        assert_eq!(axis::doubt(ms), told);
    }
}
