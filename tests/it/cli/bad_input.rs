//! What is wrong is named, with what to do; nothing is lost.

use std::os::unix::ffi::OsStrExt;

use super::{Bench, Run};

#[test]
fn help_tells_the_exit_codes() {
    let help = Bench::without_model().run(&["--help"]);
    assert_eq!(help.code, 0);
    for line in [
        "0    done",
        "1    done, but",
        "2    the command line",
        "3    failed",
        "130",
    ] {
        assert!(help.out.contains(line), "{}", help.out);
    }
    for command in [
        "serve", "event", "add", "status", "find", "words", "clock", "model",
    ] {
        assert!(help.out.contains(&format!("\n  {command}")), "{}", help.out);
    }
}

#[test]
fn a_line_that_makes_no_sense_ends_with_2() {
    let bench = Bench::without_model();
    bench.run(&["sing"]).says(2, &["sing"]);
    bench.run(&["find"]).says(2, &["WORDS"]);
    for limit in ["0", "201", "many"] {
        bench
            .run(&["find", "kettle", "--limit", limit])
            .says(2, &["--limit", limit]);
    }
    bench
        .run(&["add", "x", "--placement", "sky", "y"])
        .says(2, &["worn", "camera"]);
    bench
        .run(&["words", "x", "--format", "docx"])
        .says(2, &["docx", "ctm", "vtt"]);
    let fix = ["clock", "fix", "Landing", "a.wav"];
    for (place, told) in [
        (&[][..], "--release"),
        (&["--start", "noon"], "'noon' is no time"),
        (&["--start", "0", "--release"], "cannot be used with"),
        (&["--at", "1:00"], "--same-as"),
        (&["--same-as", "b.wav@1:00"], "--at"),
        (&["--at", "1:00", "--same-as", "b.wav"], "RECORDING@TIME"),
    ] {
        bench.run(&[&fix, place].concat()).says(2, &[told]);
    }
    bench.run(&["clock"]).says(2, &["EVENT"]);
    let event = bench.event("Landing");
    bench
        .run(&["clock", &event, "--picture", "a.wav"])
        .says(2, &["a.wav", ".svg"]);
    bench
        .run(&["clock", "fix", &event, "a.wav", "--start", "-1:00"])
        .says(2, &["no recording 'a.wav' in 'Landing'", "sayback clock"]);
    let file = bench.path("a.wav");
    std::fs::write(&file, "x").expect("a file");
    let file = file.to_str().expect("UTF-8");
    bench
        .run(&["add", &event, file])
        .says(2, &["a.wav", "--source LABEL"]);
}

#[test]
fn what_is_not_there_is_named() {
    let bench = Bench::without_model();
    bench.event("Landing");
    for args in [
        &["event", "show", "Nowhere"][..],
        &["find", "kettle", "--event", "Nowhere"],
        &["status", "--event", "Nowhere"],
        &["clock", "Nowhere"],
        &["clock", "solve", "Nowhere"],
        &["clock", "fix", "Nowhere", "a.wav", "--release"],
        &["add", "Nowhere", "--source", "Feed", "--no-wait", "a.wav"],
    ] {
        bench
            .run(args)
            .says(3, &["error:", "Nowhere", "sayback event list"]);
    }
    bench.run(&["words", "r0123"]).says(3, &["error:", "r0123"]);
    bench
        .run(&["model", "path", "huge"])
        .says(3, &["huge", "tiny.en"]);
    bench
        .run(&["model", "path", "tiny.en"])
        .says(3, &["sayback model get tiny.en"]);
}

#[test]
fn looking_makes_no_data_folder() {
    let bench = Bench::without_model();
    for args in [
        &["find", "kettle"][..],
        &["status"],
        &["words", "r0123"],
        &["clock", "Landing"],
        &["event", "list"],
        &["event", "show", "Landing"],
    ] {
        bench.run(args).says(
            3,
            &["no data folder", "/data'", "--data", "sayback event new"],
        );
    }
    assert!(!bench.path("data").exists());
    // A folder of something else is none either, and stays as it is.
    std::fs::create_dir(bench.path("data")).expect("a folder");
    bench.run(&["status"]).says(3, &["no data folder"]);
    let inside = std::fs::read_dir(bench.path("data")).expect("a folder");
    assert_eq!(inside.count(), 0);
}

#[test]
fn a_model_that_would_not_be_used_is_told() {
    let bench = Bench::without_model();
    let event = bench.event("Landing");
    std::fs::write(bench.path("a.wav"), "x").expect("a file");
    let add = |model: &str| {
        let fixed = ["add", &event, "--source", "Feed", "--no-wait", "a.wav"];
        bench.run(&[&fixed[..], &["--model", model]].concat())
    };
    add("base").says(0, &["sayback serve --model base"]);
    let mut server = bench.serve();
    add("base").says(2, &["writes words with tiny.en", "--model base"]);
    add("tiny.en").says(0, &[]);
    assert_eq!(server.stop(), 0);
}

#[test]
fn a_missing_model_is_told_before_the_work() {
    let bench = Bench::without_model();
    let event = bench.event("Landing");
    std::fs::write(bench.path("a.wav"), "x").expect("a file");
    let add = bench.run(&["add", &event, "--source", "Feed", "a.wav"]);
    add.says(3, &["sayback model get tiny.en", "--no-wait"]);
    let shown = bench.json(&["event", "show", &event, "--json"]);
    assert_eq!(
        shown["intakes"],
        serde_json::json!([]),
        "nothing was queued"
    );
    let models = bench.json(&["model", "list", "--json"]);
    assert_eq!(models["models"][0]["name"], "tiny.en");
    assert_eq!(models["models"][0]["present"], false);
}

#[test]
fn a_bad_value_names_its_field() {
    let bench = Bench::without_model();
    bench.run(&["event", "new", " "]).says(3, &["title"]);
    bench
        .run(&["event", "new", "A", "--date", "June"])
        .says(3, &["date"]);
    bench
        .run(&["event", "new", "A", "--frame-rate", "fast"])
        .says(3, &["frame"]);
    let event = bench.event("Landing");
    std::fs::write(bench.path("a.wav"), "x").expect("a file");
    let add = [
        "add",
        &event,
        "--source",
        "Feed",
        "--no-wait",
        "--channels",
        "9",
        "a.wav",
    ];
    bench.run(&add).says(3, &["channels"]);
}

#[test]
fn queries_are_never_errors() {
    let bench = Bench::without_model();
    bench.event("Landing");
    for query in [
        "",
        "—",
        "\"",
        "\"never closed",
        "a AND (b OR",
        "text:x*",
        "-x",
        "'; --",
    ] {
        let found = bench.run(&["find", "--json", "--", query]);
        assert_eq!(found.code, 1, "{query}: {}", found.err);
        assert_eq!(found.json()["hits"], serde_json::json!([]), "{query}");
        assert_eq!(found.json()["query"], query);
    }
    bench.run(&["find", "kettle"]).says(1, &["nothing found"]);
}

#[test]
fn names_do_not_steer_the_terminal() {
    let bench = Bench::without_model();
    let event = bench.event("Lan\u{1b}[2Jding\n");
    let listed = bench.run(&["event", "list"]);
    listed.says(0, &[]);
    assert!(listed.out.contains("Lan\\u{1b}[2Jding"), "{}", listed.out);

    let odd = std::ffi::OsStr::from_bytes(b"a\n\x1b[31m'\"\xff.wav");
    std::fs::write(bench.root.path().join(odd), "no sound").expect("a file");
    let args = ["add", &event, "--source", "Feed", "--no-wait"].map(std::ffi::OsStr::new);
    let added = Run::of(bench.command(&args).arg(odd));
    added.says(0, &["1 file taken in"]);
    bench.run(&["event", "show", &event]).says(0, &[]);
    bench
        .run(&["status"])
        .says(0, &["nobody works on this data folder"]);
}

#[test]
fn what_waits_is_told_in_plain_text_and_json() {
    let bench = Bench::without_model();
    let event = bench.event("Landing");
    std::fs::write(bench.path("a.wav"), "no sound").expect("a file");
    let add = [
        "add",
        &event,
        "--source",
        "Feed",
        "--no-wait",
        "--json",
        "a.wav",
        "gone.wav",
    ];
    let added = bench.run(&add);
    assert_eq!(added.code, 1, "{}", added.err);
    let added = added.json();
    assert_eq!(
        added["accepted"].as_array().map(Vec::len),
        Some(1),
        "{added}"
    );
    let refused = &added["refused"][0];
    assert!(
        refused["file"]
            .as_str()
            .is_some_and(|f| f.ends_with("gone.wav")),
        "{added}"
    );
    let status = bench.json(&["status", "--event", &event, "--json"]);
    assert_eq!(status["jobs"]["waiting"], 1, "{status}");
    let told = bench.run(&["status"]);
    told.says(0, &[]);
    assert!(told.out.contains("1 waiting, 0 running"), "{}", told.out);
}

#[test]
fn names_that_never_end_or_are_none_change_nothing() {
    let bench = Bench::without_model();
    let event = bench.event("Landing");
    let names = |more: &[&str]| bench.command(&[&["event", "names", &event], more].concat());
    assert_eq!(Run::of(&mut names(&["Ottilie"])).out, "1 name\n");
    let endless = || std::fs::File::open("/dev/zero").expect("zeros");
    for file in ["-", "/dev/zero"] {
        let mut from = names(&["--file", file]);
        Run::of(from.stdin(endless())).says(3, &[file, "more than 1610000 bytes"]);
    }
    let blank = bench.path("names.txt");
    std::fs::write(&blank, "\n \r\n").expect("a file");
    let blank = blank.to_str().expect("UTF-8");
    for none in [&["--file", blank][..], &["--file", "-"], &[""]] {
        Run::of(&mut names(none)).says(3, &["no name", "--clear"]);
    }
    assert_eq!(Run::of(&mut names(&[])).out, "Ottilie\n");
    assert_eq!(Run::of(&mut names(&["--clear"])).out, "0 names\n");
}
