//! A cut list on a terminal.

use super::Bench;

/// Of the letter the recordings have the first three lines.
pub(super) fn quotes_are_collected(bench: &Bench, event: &str) {
    let made = bench.run(&["cut", "new", event, "The film", "--note", "for the couple"]);
    made.says(0, &[]);
    let id = made.out.split(' ').next().expect("an id").to_owned();
    let lists = bench.run(&["cut", "lists", event]);
    assert!(
        lists.out.contains(&id) && lists.out.contains("The film"),
        "{}",
        lists.out
    );
    let found = bench.run(&["cut", "add", "The film", "--find", "kettle will"]);
    found.says(0, &["the list is 00:00:0"]);
    assert!(
        found.out.to_lowercase().contains("kettle will"),
        "{}",
        found.out
    );
    bench
        .run(&["cut", "add", "The film", "--find", "zeppelin quorum"])
        .says(1, &["nothing was found"]);
    let hit = bench.json(&["find", "kettle", "--event", event, "--json"]);
    let hit = &hit["hits"][0];
    let recording = hit["heard_on"][0]["recording"]["id"]
        .as_str()
        .expect("an id");
    let at = [
        "cut", "add", &id, "--at", "0:02", "3.5", "--place", "1", "--note", "wide",
    ];
    bench.run(&at).says(0, &[]);
    bench
        .run(&[
            "cut",
            "add",
            &id,
            "--in-file",
            recording,
            "1",
            "00:00:02.250",
        ])
        .says(0, &[]);
    let moment = hit["moment"].as_str().expect("a moment");
    bench
        .run(&["cut", "add", &id, "--moment", moment, "--words", "1-2"])
        .says(0, &[]);

    let shown = bench.run(&["cut", "show", event, "The film"]);
    shown.says(0, &[]);
    for part in [
        "The film  4 quotes  00:00:0",
        "for the couple",
        "1: wide",
        "1.250 s",
        "1.500 s",
    ] {
        assert!(shown.out.contains(part), "no {part:?} in {}", shown.out);
    }
    let list = || bench.json(&["cut", "show", &id, "--json"]);
    let before = list();
    bench.run(&["cut", "move", &id, "1", "2"]).says(0, &[]);
    assert_eq!(list()["quotes"][1]["id"], before["quotes"][0]["id"]);
    bench
        .run(&["cut", "nudge", &id, "2", "--in", "-120ms", "--out", "+2f"])
        .says(3, &["no frame rate"]);
    bench
        .run(&["cut", "nudge", &id, "2", "--in", "-120ms", "--out", "40ms"])
        .says(0, &[]);
    assert_eq!(list()["quotes"][1]["length_ms"], 1_660);
    bench
        .run(&["cut", "nudge", &id, "2", "--in", "1700ms"])
        .says(3, &["begins before it ends"]);

    for (source, chosen) in [("Lectern", "Lectern"), ("Ottilie's lav", "Ottilie's lav")] {
        let choose = ["cut", "hearing", &id, "1", source, "--backups", "1"];
        bench.run(&choose).says(0, &[]);
        let quote = &list()["quotes"][0];
        assert_eq!(quote["chosen"]["source"]["label"], chosen);
        assert_eq!(quote["backups_wanted"], 1);
    }
    bench
        .run(&["cut", "hearing", &id, "1", "best"])
        .says(0, &[]);
    bench
        .run(&["cut", "hearing", &id, "1", "Gong"])
        .says(2, &["'Gong' has nothing of it", "Lectern"]);
    bench.run(&["cut", "note", &id, "1", "slow"]).says(0, &[]);
    bench
        .run(&["cut", "note", &id, "9", "x"])
        .says(2, &["no quote 9"]);

    bench
        .run(&["cut", "versions", &id, "--keep", "rough"])
        .says(0, &[]);
    bench.run(&["cut", "drop", &id, "1"]).says(0, &[]);
    assert_eq!(list()["cut"]["quotes"], 3);
    bench.run(&["cut", "restore", &id]).says(0, &[]);
    assert_eq!(list()["quotes"][0]["note"], "slow");
    let versions = bench.run(&["cut", "versions", &id]);
    assert!(
        versions.out.contains("rough") && versions.out.contains("nudge"),
        "{}",
        versions.out
    );
    bench
        .run(&["cut", "rename", &id, "The teaser"])
        .says(0, &[]);
    bench
        .run(&["cut", "show", event, "The film"])
        .says(2, &["no cut list called"]);
    bench.run(&["cut", "remove", "The teaser"]).says(0, &[]);
    bench.run(&["cut", "show", &id]).says(3, &["no cut"]);
}
