//! A written text on a terminal.

use super::Bench;

/// Of the letter the recordings have the first four sentences.
pub(super) fn a_letter_is_found_by_its_text(bench: &Bench, event: &str) {
    let text = xtask::scene::lines::folder().join("texts/letter-ottilie.txt");
    std::fs::copy(text, bench.path("letter.txt")).expect("the letter");
    let added = bench.run(&["script", "add", "letter.txt", "--event", event]);
    added.says(0, &[]);
    assert!(added.out.contains("12 sentences"), "{}", added.out);
    let id = added.out.split(' ').next().expect("an id").to_owned();
    let list = bench.run(&["script", "list", event]);
    assert!(
        list.out.contains(&id) && list.out.contains("letter"),
        "{}",
        list.out
    );

    let shown = bench.run(&["script", "show", &id]);
    shown.says(0, &[]);
    for part in [
        "Pass 1  00:00:0",
        "sentences left out",
        "best on ",
        "kettle",
        "  left out:  I love that you salt your porridge and think nobody sees.",
    ] {
        assert!(shown.out.contains(part), "no {part:?} in {}", shown.out);
    }
    let json = bench.json(&["script", "show", &id, "--json"]);
    // The salutation is two words, of which one is a name.
    let left_out = json["passes"][0]["left_out"]
        .as_array()
        .expect("numbers")
        .clone();
    let later: Vec<u64> = left_out
        .iter()
        .filter_map(serde_json::Value::as_u64)
        .filter(|n| *n > 0)
        .collect();
    assert_eq!(later, (4..12).collect::<Vec<u64>>());

    let captions = bench.run(&["script", "captions", &id, "--pass", "1", "--format", "srt"]);
    assert!(captions.out.starts_with("1\n00:00:0"), "{}", captions.out);
    assert!(captions.out.contains("kettle") && !captions.out.contains("porridge"));
    let part = [
        "script",
        "part",
        &id,
        "--pass",
        "1",
        "--name",
        "letters",
        "--repeatable",
    ];
    bench.run(&part).says(0, &[]);
    let parts = bench.run(&["event", "parts", event]);
    let letters = parts.out.lines().find(|line| line.ends_with("letters"));
    assert!(
        letters.is_some_and(|line| line.contains(" no ")),
        "{}",
        parts.out
    );

    bench
        .run(&["script", "part", &id, "--pass", "2", "--name", "x"])
        .says(3, &["only pass 1"]);
    bench
        .run(&["script", "add", "none.txt", "--event", event])
        .says(3, &["none.txt"]);
    std::fs::write(bench.path("other.txt"), "Nobody ever said a word of that.").expect("a file");
    let other = bench.run(&["script", "add", "other.txt", "--event", event]);
    let other = other.out.split(' ').next().expect("an id").to_owned();
    let none = bench.run(&["script", "show", &other]);
    assert_eq!(none.code, 1, "{}", none.err);
    assert!(none.out.contains("'other' was not found"), "{}", none.out);
    for id in [id, other] {
        bench.run(&["script", "remove", &id]).says(0, &[]);
        bench.run(&["script", "show", &id]).says(3, &["no script"]);
    }
}
