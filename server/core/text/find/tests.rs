use super::*;
use crate::text::split_words;
use proptest::prelude::*;

const LINE: &str = "So I said, put the kettle on — the ferry's late and the kettle is old.";

fn find(typed: &str, text: &str) -> Option<(String, f32)> {
    let words = split_words(text);
    let found = Query::parse(typed).find_in(&words)?;
    let shown: Vec<String> = found
        .matched
        .iter()
        .map(|span| words[span.from..span.to].join(" "))
        .collect();
    Some((shown.join(" | "), found.score))
}

fn shown(typed: &str) -> Option<String> {
    find(typed, LINE).map(|(shown, _)| shown)
}

#[test]
fn worked_examples() {
    for (typed, want) in [
        ("kettle", Some("kettle")),
        ("KETTLE the", Some("the kettle")),
        // The two nearest words win over the first two.
        ("kettle old", Some("kettle | old.")),
        ("late ferrys", Some("ferry's late")),
        ("\"the kettle on\"", Some("the kettle on")),
        ("\"kettle the\"", None),
        ("\"the kettle\" old", Some("the kettle | old.")),
        ("ferr*", Some("ferry's")),
        ("ferry", None),
        ("teapot kettle", None),
        ("", None),
        ("—", None),
    ] {
        assert_eq!(shown(typed).as_deref(), want, "{typed}");
    }
}

#[test]
fn repeated_words_take_different_words() {
    assert_eq!(
        find("no no no", "well no and no no no")
            .map(|f| f.0)
            .as_deref(),
        Some("no no no")
    );
    // As many as there are.
    assert_eq!(
        find("no no no", "yes no yes no").map(|f| f.0).as_deref(),
        Some("no | no")
    );
}

#[test]
fn order_and_closeness_make_the_score() {
    let score =
        |typed: &str| find(typed, "the kettle on the old ferry is late").map_or(0.0, |f| f.1);
    assert_eq!(score("the kettle on"), 1.0);
    assert_eq!(score("\"the kettle\" on"), 1.0);
    assert_eq!(score("late"), 1.0);
    assert!(score("kettle the") < score("old is"));
    assert!(score("kettle late") < score("kettle the"));
    assert!(score("kett*") < 1.0);
    assert!(score("kett*") > score("ket*"));
    assert!(score("late kettle") > 0.0);
}

#[test]
fn joined_words_are_found_by_their_parts() {
    const LINE: &str = "a half-remembered tune — on the boat-house stairs";
    let shown = |typed: &str| find(typed, LINE).map(|(shown, _)| shown);
    for (typed, want) in [
        ("half remembered", Some("half-remembered")),
        ("half-remembered", Some("half-remembered")),
        ("remembered", Some("half-remembered")),
        ("\"remembered tune on\"", Some("half-remembered tune on")),
        ("boat*", Some("boat-house")),
        ("\"boat stairs\"", None),
        ("halfremembered", None),
    ] {
        assert_eq!(shown(typed).as_deref(), want, "{typed}");
    }
    assert!(Query::parse("_").is_empty());
    let found = Query::parse("a").find_in(&["_", "", "a"]);
    assert_eq!(
        found.map(|f| f.matched),
        Some(vec![Span { from: 2, to: 3 }])
    );
}

/// The tightest extent by trying every choice of one position a term.
fn naive_extent(terms: &[Vec<usize>]) -> Option<usize> {
    let mut best = None;
    let mut choice = vec![0; terms.len()];
    'all: loop {
        let at: Vec<usize> = terms.iter().zip(&choice).map(|(t, &n)| t[n]).collect();
        let extent = at.iter().max()? - at.iter().min()? + 1;
        best = Some(best.map_or(extent, |b: usize| b.min(extent)));
        for n in 0..terms.len() {
            choice[n] += 1;
            if choice[n] < terms[n].len() {
                continue 'all;
            }
            choice[n] = 0;
        }
        return best;
    }
}

proptest! {
    #[test]
    fn the_tightest_placing_is_found(
        words in prop::collection::vec("[a-d]", 1..14),
        asked in prop::collection::hash_set("[a-e]", 1..4),
    ) {
        let asked: Vec<String> = asked.into_iter().collect();
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let places: Vec<Vec<usize>> = asked
            .iter()
            .map(|term| (0..words.len()).filter(|&n| words[n] == term).collect())
            .collect();
        let found = Query::parse(&asked.join(" ")).find_in(&words);
        if places.iter().any(Vec::is_empty) {
            prop_assert!(found.is_none());
        } else {
            let found = found.unwrap();
            let span = found.extent();
            prop_assert_eq!(Some(span.to - span.from), naive_extent(&places));
            for term in &asked {
                let covered = found.matched.iter().any(|s| words[s.from..s.to].contains(&term.as_str()));
                prop_assert!(covered);
            }
        }
    }

    #[test]
    fn spans_are_sound_and_scores_bounded(text in "[ab'— ]{0,60}", typed in "[ab\"* ]{0,12}") {
        let words = split_words(&text);
        if let Some(found) = Query::parse(&typed).find_in(&words) {
            prop_assert!(found.score > 0.0 && found.score <= 1.0);
            prop_assert!(!found.matched.is_empty());
            prop_assert!(found.matched.iter().all(|s| s.from < s.to && s.to <= words.len()));
            prop_assert!(found.matched.windows(2).all(|w| w[0].to < w[1].from));
        }
    }

    #[test]
    fn a_text_answers_any_run_of_its_own_words(
        words in prop::collection::vec("[a-f]{1,3}", 1..30),
        from in 0usize..30,
        count in 2usize..6,
    ) {
        let from = from.min(words.len() - 1);
        let run = &words[from..(from + count).min(words.len())];
        let shown: Vec<&str> = words.iter().map(String::as_str).collect();
        let phrase = Query::parse(&format!("\"{}\"", run.join(" "))).find_in(&shown).unwrap();
        prop_assert_eq!(phrase.score, 1.0);
        let span = phrase.extent();
        prop_assert_eq!(&words[span.from..span.to], run);
        let loose = Query::parse(&run.join(" ")).find_in(&shown).unwrap();
        prop_assert_eq!(loose.score, 1.0);
    }
}
