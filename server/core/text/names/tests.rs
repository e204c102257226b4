use super::super::is_ordinary;
use super::*;
use proptest::prelude::*;

fn names(list: &[&str]) -> Names {
    Names::new(&list.iter().map(|&name| name.to_owned()).collect::<Vec<_>>())
}

/// Words that are no ordinary ones.
const RARE: [&str; 16] = [
    "leo",
    "caddia",
    "marsa",
    "pan",
    "tarou",
    "bram",
    "lefort",
    "oakwood",
    "oakwoods",
    "marin",
    "zoe",
    "mary",
    "ιωαννα",
    "שרה",
    "לוי",
    "will",
];

/// `text` with the certainty of each word behind it: `ask 0.9 Otterly 0.4`.
fn put(names: &Names, text: &str) -> String {
    let pieces: Vec<&str> = text.split(' ').collect();
    let heard: Vec<HeardText> = pieces
        .chunks(2)
        .map(|pair| HeardText {
            text: pair[0],
            confidence: pair[1].parse().unwrap(),
            ordinary: is_ordinary(pair[0], &|word| !RARE.contains(&word)),
        })
        .collect();
    let mut words: Vec<String> = Vec::new();
    let mut at = 0;
    for name in names.said(&heard) {
        words.extend(heard[at..name.from].iter().map(|word| word.text.to_owned()));
        words.extend(name.words);
        at = name.to;
    }
    words.extend(heard[at..].iter().map(|word| word.text.to_owned()));
    words.join(" ")
}

#[test]
fn names_are_put_where_they_were_heard() {
    let names = names(&[
        "Leocadia",
        "Marzipan",
        "Tarrow Landing",
        "Brambleforth",
        "Oakwood",
        "Merrin",
        "Zoë",
    ]);
    for (heard, made) in [
        (
            "ask 0.9 Leo 0.3 Caddia, 0.3 please 0.9",
            "ask Leocadia, please",
        ),
        ("little 0.9 Marsa 0.45 Pan. 0.9", "little Marzipan."),
        (
            "in 0.9 Tarou 0.37 landing 0.49 last 0.9",
            "in Tarrow Landing last",
        ),
        (
            "Mr. 0.9 Bram 0.4 Lefort's 0.2 boat 0.9",
            "Mr. Brambleforth's boat",
        ),
        ("the 0.9 Oakwoods' 0.9 house 0.9", "the Oakwoods' house"),
        ("the 0.9 oakwood 0.5 house 0.9", "the Oakwood house"),
        ("and 0.9 Marin 0.4 found 0.9", "and Merrin found"),
        ("“Zoe 0.9 said 0.9", "“Zoë said"),
    ] {
        assert_eq!(put(&names, heard), made);
    }
}

#[test]
fn what_is_written_as_one_of_the_names_stays() {
    for list in [["Zoë", "Zoe"], ["Zoe", "Zoë"]] {
        let names = names(&list);
        for heard in ["and Zoe said", "“Zoe's boat", "Zoë, Zoe"] {
            let sure: Vec<String> = heard.split(' ').map(|word| format!("{word} 0.4")).collect();
            assert_eq!(put(&names, &sure.join(" ")), heard);
        }
        assert_eq!(put(&names, "zoe 0.4"), list[0]);
    }
}

#[test]
fn ordinary_words_that_were_heard_with_certainty_stay() {
    let near = names(&[
        "Mary", "Carrie", "Barry", "Harry", "Phil", "Ann", "Bea", "Flo", "Will",
    ]);
    for heard in [
        "we 0.9 marry 0.7 in 0.9 may 0.9",
        "and 0.9 carry 0.6 the 0.9 berry 0.9",
        "Fill 0.9 an 0.5 hour 0.9 and 0.9 hurry 0.8",
        "Will 0.9 it 0.9 be 0.9 bury 0.9 the 0.9 floor 0.9",
    ] {
        let plain: Vec<&str> = heard.split(' ').step_by(2).collect();
        assert_eq!(put(&near, heard), plain.join(" "));
    }
}

#[test]
fn a_name_does_not_reach_over_the_end_of_a_sentence() {
    let names = names(&["Marzipan"]);
    assert_eq!(put(&names, "Marsa. 0.4 Pan 0.4"), "Marsa. Pan");
}

#[test]
fn other_scripts_are_names_as_they_are_spelled() {
    let names = names(&["שרה לוי", "Ιωάννα"]);
    assert_eq!(put(&names, "ιωαννα 0.5 said 0.9"), "Ιωάννα said");
    assert_eq!(put(&names, "שרה 0.5 לוי 0.5"), "שרה לוי");
}

/// What it costs is how many names are compared with each stretch of heard words.
#[test]
fn of_thousands_of_names_few_are_compared() {
    let syllables = [
        "ma", "row", "ti", "lie", "cor", "in", "hal", "vard", "is", "au", "ra", "bel",
    ];
    let name = |n: usize| -> String {
        [n % 12, n / 12 % 12, n / 144 % 12, n / 1_728 % 12]
            .map(|at| syllables[at])
            .concat()
    };
    let list: Vec<String> = (0..5_000).map(name).collect();
    let names = Names::new(&list);
    let words = [
        "the",
        "Marrow",
        "tily",
        "corn",
        "belt",
        "was",
        "Halvert's",
        "island",
    ];
    let heard: Vec<HeardText> = words
        .iter()
        .map(|text| HeardText {
            text,
            confidence: 0.5,
            ordinary: false,
        })
        .collect();
    assert!(!names.said(&heard).is_empty());
    let mut compared = 0;
    for from in 0..heard.len() {
        for to in from + 1..=heard.len().min(from + MOST_WORDS) {
            for stretch in stretches(&heard, from, to) {
                let like = names.like(&stretch);
                assert!(like.len() <= MOST_COMPARED, "{}", stretch.text);
                compared = compared.max(like.len());
            }
        }
    }
    assert_eq!(compared, MOST_COMPARED, "a list that the limit is for");
}

proptest! {
    #[test]
    fn what_is_put_lies_apart_and_in_order(
        list in prop::collection::vec("[A-Z][a-z]{1,8}( [A-Z][a-z]{1,6})?", 0..6),
        // A word has no blank in it.
        words in prop::collection::vec(
            ("\\PC{1,9}".prop_map(|word| word.replace(' ', "_")), -0.5..1.5_f32), 0..12),
    ) {
        let names = Names::new(&list);
        let heard: Vec<HeardText> = words
            .iter()
            .map(|(text, confidence)| HeardText { text, confidence: *confidence, ordinary: *confidence > 0.7 })
            .collect();
        let mut last = 0;
        for said in names.said(&heard) {
            prop_assert!(last <= said.from && said.from < said.to && said.to <= heard.len());
            prop_assert!(said.words.iter().all(|word| !word.is_empty() && !word.contains(' ')));
            prop_assert!(!said.words.is_empty());
            last = said.to;
        }
    }

    #[test]
    fn names_themselves_are_left_alone(list in prop::collection::vec("[A-Z][a-z]{2,8}", 1..6)) {
        let names = Names::new(&list);
        let heard: Vec<HeardText> = list
            .iter()
            .map(|text| HeardText { text, confidence: 0.1, ordinary: true })
            .collect();
        for said in names.said(&heard) {
            prop_assert!(said.to - said.from != 1 || list.iter().any(|name| normal(name) == normal(&said.words[0])));
        }
    }
}
