use super::*;
use crate::text::{Lexicon, Query, indexed, parts, split_words};
use proptest::prelude::*;

const LINE: &str = "So I said, put the kettle on — the ferry's late and the kettle is old.";

fn lexicon(texts: &[&str]) -> Lexicon {
    let mut lexicon = Lexicon::default();
    for text in texts {
        for word in split_words(text).into_iter().flat_map(parts) {
            let before = lexicon.moments_of(&word);
            lexicon.put(&word, before + 1);
        }
    }
    lexicon.set_moments(50);
    lexicon
}

fn found(typed: &str, texts: &[&str], center: usize) -> Option<Found> {
    let wanted = Wanted::of(&Query::parse(typed), &lexicon(texts));
    let lines: Vec<String> = texts
        .iter()
        .map(|text| indexed(split_words(text)))
        .collect();
    let mut line = Line::default();
    for words in &lines {
        line.push(words, "");
    }
    wanted.listen_in(&line, center)
}

fn find(typed: &str, text: &str) -> Option<(String, f32, How)> {
    let words = split_words(text);
    let found = found(typed, &[text], 0)?;
    let shown: Vec<String> = found
        .matched
        .iter()
        .map(|span| words[span.from..span.to].join(" "))
        .collect();
    Some((shown.join(" | "), found.score, found.how))
}

fn shown(typed: &str) -> Option<String> {
    find(typed, LINE).map(|found| found.0)
}

#[test]
fn worked_examples() {
    for (typed, want) in [
        ("kettle", Some("kettle")),
        // The two nearest words win over the first two.
        ("kettle old", Some("kettle | old.")),
        ("late ferrys", Some("ferry's late")),
        ("\"the kettle on\"", Some("the kettle on")),
        ("\"kettle ferrys\" on", None),
        ("\"the kettle\" old", Some("the kettle | old.")),
        ("ferr*", Some("ferry's")),
        // Forms, spellings and sounds.
        ("ferry", Some("ferry's")),
        ("kettles", Some("kettle")),
        ("the ketel", Some("the kettle")),
        ("pot the cattle on", Some("put the kettle on")),
        // What leads up to it is not asked for, and some may be left out.
        ("the bit about the kettle", Some("the kettle")),
        ("the ferry is very late", Some("the ferry's late")),
        ("boathouse", None),
        ("", None),
        ("—", None),
    ] {
        assert_eq!(shown(typed).as_deref(), want, "{typed}");
    }
}

#[test]
fn how_it_answers_is_told() {
    for (typed, text, how) in [
        ("the ferry bell", "then the ferry bell rang", How::Exact),
        ("ferry rang", "then the ferry bell rang", How::Close),
        ("I will wait", "and I'll wait there", How::Exact),
        ("twenty one lamps", "all 21 lamps", How::Exact),
        ("boat house", "by the boathouse stairs", How::Exact),
        ("he promises me", "he promised me", How::Close),
        ("Ottilie came", "and Otterly came", How::SoundsAlike),
        ("Ottilie's lamp", "the oh till ease lamp", How::SoundsAlike),
        ("lamplit stairs", "the lamp late stairs", How::SoundsAlike),
    ] {
        let found = find(typed, text).map(|found| found.2);
        assert_eq!(found, Some(how), "{typed} / {text}");
    }
}

#[test]
fn order_and_closeness_make_the_score() {
    let score =
        |typed: &str| find(typed, "the kettle on the old ferry is late").map_or(0.0, |f| f.1);
    assert_eq!(score("the kettle on"), 1.0);
    assert_eq!(score("\"the kettle\" on"), 1.0);
    assert_eq!(score("late"), 1.0);
    assert!(score("kettle late") < score("kettle old"));
    assert!(score("ferry old") < score("old ferry"));
    assert!(score("kett*") < 1.0);
    assert!(score("kett*") > score("ket*"));
    assert!(score("old fairy") < score("old ferry"));
    assert!(score("late kettle") > 0.0);
}

#[test]
fn a_line_over_two_moments_is_of_that_which_has_more() {
    let texts = [
        "so they put the kettle",
        "on the old iron stove",
        "and it rained",
    ];
    let spans = |center| found("kettle on the old iron stove", &texts, center);
    assert!(spans(0).is_none() && spans(2).is_none());
    let found = spans(1).unwrap();
    assert_eq!((found.how, found.score), (How::Exact, 1.0));
    assert_eq!(found.matched, [Span { from: 4, to: 10 }]);
}

#[test]
fn a_long_query_finds_the_moments_that_are_in_it() {
    let texts = [
        "The morning was grey and the ferry came late.",
        "My grandmother kept a blue kettle by the window.",
    ];
    let long = format!(
        "{} {} {}",
        texts[0], texts[1], "Nobody knew why she kept it there so long."
    );
    for center in 0..2 {
        let mut line = Line::default();
        let lines: Vec<String> = texts
            .iter()
            .map(|text| indexed(split_words(text)))
            .collect();
        line.push(&lines[center], "");
        let wanted = Wanted::of(&Query::parse(&long), &lexicon(&texts));
        let found = wanted.find_in(&line, 0).unwrap();
        assert!(found.score > 0.9, "{center}: {found:?}");
    }
}

#[test]
fn what_was_heard_otherwise_counts() {
    let lexicon = lexicon(&["the cattle on", "kettle"]);
    let wanted = Wanted::of(&Query::parse("the kettle on"), &lexicon);
    let found = wanted
        .find_in(&Line::read("the cattle on", "_ kettle _"), 0)
        .unwrap();
    assert_eq!(
        (found.how, found.matched[0]),
        (How::Close, Span { from: 0, to: 3 })
    );
    assert!(found.sure);
}

#[test]
fn joined_words_are_found_by_their_parts() {
    const LINE: &str = "a half-remembered tune — on the boat-house stairs";
    let shown = |typed: &str| find(typed, LINE).map(|found| found.0);
    for (typed, want) in [
        ("half remembered", Some("half-remembered")),
        ("half-remembered", Some("half-remembered")),
        ("remembered", Some("half-remembered")),
        ("\"remembered tune on\"", Some("half-remembered tune on")),
        ("boat*", Some("boat-house")),
        ("boathouse", Some("boat-house")),
        ("halfremembered", Some("half-remembered")),
    ] {
        assert_eq!(shown(typed).as_deref(), want, "{typed}");
    }
}

#[test]
fn a_word_that_only_sounds_alike_is_a_guess_unless_it_was_never_written() {
    let sure = |typed: &str, texts: &[&str]| found(typed, texts, 0).map(|found| found.sure);
    assert_eq!(sure("Philippa", &["and Filipa came"]), Some(true));
    assert_eq!(sure("sixty", &["six tea"]), Some(false));
    // Somebody wrote it elsewhere, so here it may be another.
    let wanted = Wanted::of(&Query::parse("Philippa"), &lexicon(&["filipa philippa"]));
    let found = wanted.find_in(&Line::read("and filipa came", ""), 0);
    assert_eq!(found.map(|found| found.sure), Some(false));
    assert_eq!(sure("kettles", &["the kettle"]), Some(true));
    assert_eq!(sure("the kettle on", &["put the cattle on"]), Some(false));
    assert_eq!(
        sure(
            "put the kettle on the stove",
            &["put the cattle on the stove"]
        ),
        Some(true)
    );
    assert_eq!(
        sure(
            "the ferry was painted",
            &["the ferry was late and nobody cared"]
        ),
        Some(false)
    );
}

proptest! {
    #[test]
    fn spans_are_sound_and_scores_bounded(text in "[ab'— ]{0,60}", typed in "[ab\"* ]{0,12}") {
        let count = split_words(&text).len();
        if let Some(found) = found(&typed, &[&text], 0) {
            prop_assert!(found.score > 0.0 && found.score <= 1.0);
            prop_assert!(!found.matched.is_empty());
            prop_assert!(found.matched.iter().all(|s| s.from < s.to && s.to <= count));
            prop_assert!(found.matched.windows(2).all(|w| w[0].to < w[1].from));
        }
    }

    #[test]
    fn a_text_answers_any_run_of_its_own_words(
        words in prop::collection::vec("[a-f]{3,5}", 1..30),
        from in 0usize..30,
        count in 2usize..6,
    ) {
        let from = from.min(words.len() - 1);
        let run = &words[from..(from + count).min(words.len())];
        let text = words.join(" ");
        for typed in [format!("\"{}\"", run.join(" ")), run.join(" ")] {
            let found = found(&typed, &[&text], 0).unwrap();
            prop_assert_eq!(found.how, How::Exact, "{}", typed);
            prop_assert!(found.score > 0.999);
            let span = found.matched[0];
            prop_assert_eq!(&words[span.from..span.to], run);
        }
    }
}

/// Hears what is asked for in one of the lines.
fn hear(query: &str, known: &str, lines: &[&str], line: usize) -> (f32, Option<Found>) {
    let mut lexicon = Lexicon::default();
    for word in known.split(' ') {
        lexicon.put(word, 1);
    }
    lexicon.set_moments(40);
    let wanted = Wanted::of(&Query::parse(query), &lexicon);
    let lines: Vec<Line> = lines.iter().map(|words| Line::read(words, "")).collect();
    let mut listener = Listener::new(&wanted, &lines);
    (listener.words(&lines[line]), listener.whole(&lines[line]))
}

#[test]
fn what_another_event_wrote_is_listened_for_where_this_one_did_not() {
    let said = "nobody had explained what a damper in was";
    let elsewhere = "tambourine";
    let (words, _) = hear("a tambourine was", elsewhere, &[said, "the ferry bell"], 0);
    assert!(words > 0.7, "{words}");
    // Where it is written nobody listens for it.
    let here = [said, "a tambourine was there"];
    assert_eq!(hear("a tambourine was", elsewhere, &here, 0).0, 0.0);
}

#[test]
fn a_whole_line_is_heard_whatever_its_words() {
    let said = "and evander to saucepan under the rehearsal";
    let (_, whole) = hear("a sauce pan to the rehearsal", "the", &[said], 0);
    let whole = whole.unwrap();
    assert_eq!(
        (whole.how, whole.sure),
        (How::SoundsAlike, true),
        "{whole:?}"
    );
    assert_eq!(whole.matched, [Span { from: 2, to: 7 }]);
    let (_, none) = hear(
        "a sauce pan to the rehearsal",
        "the",
        &["the tide waits for nobody"],
        0,
    );
    assert_eq!(none, None);
}

#[test]
fn among_many_moments_more_is_needed_to_be_sure() {
    let said = "professor hardick and measured it";
    let sure = |others: usize| {
        let mut lines = vec![said];
        lines.resize(others, "the tide waits for nobody");
        hear("hartigan measured it", "measured it", &lines, 0)
            .1
            .map(|found| found.sure)
    };
    assert_eq!((sure(30), sure(8_000)), (Some(true), Some(false)));
}

#[test]
fn only_letters_lines_and_nothing_are_listened_to() {
    for (query, said) in [
        ("", "kettle"),
        ("7 8 9", "kettle"),
        ("хлеб", "хлебы"),
        ("kettle", ""),
    ] {
        assert_eq!(hear(query, "the", &[said], 0), (0.0, None), "{query}");
    }
    let long = "kettle ".repeat(200);
    assert_eq!(hear(&long, "the", &["kettle on"], 0).1, None);
}
