//! Parts and what of them has no backup, from the command line.

use super::Bench;

#[test]
fn what_has_no_backup_ends_with_1_and_a_page_is_a_page() {
    let bench = Bench::without_model();
    let event = bench.event("Boathouse");
    let says = |code: i32, args: &[&str], words: &[&str]| {
        let run = bench.run(args);
        let said = format!("{}{}", run.out, run.err);
        assert_eq!(run.code, code, "{said}");
        for word in words {
            assert!(said.contains(word), "no {word:?} in {said}");
        }
    };
    says(0, &["event", "parts", &event], &["no parts yet"]);
    says(0, &["coverage", &event], &["no part is marked as required"]);
    says(
        0,
        &["event", "parts", &event, "--part", "vows", "1:00", "2:30.5"],
        &["00:01:00.000", "00:02:30.500", "vows"],
    );
    // Nothing at all was recorded of the vows.
    says(
        1,
        &["coverage", &event, "--html", "backups.html"],
        &["NO: nothing was heard", "wrote backups.html"],
    );
    let page = std::fs::read_to_string(bench.path("backups.html")).expect("a page");
    assert!(page.starts_with("<!doctype html>"), "{page}");
    assert!(page.contains("Not backed up: vows"), "{page}");
    says(
        2,
        &["coverage", &event, "--html", "DESK0001.WAV"],
        &["end in .html"],
    );

    says(
        0,
        &["event", "parts", &event, "--repeatable", "vows"],
        &["no"],
    );
    says(0, &["coverage", &event], &["vows"]);
    says(
        2,
        &["event", "parts", &event, "--remove", "toasts"],
        &["there is no part called 'toasts'"],
    );
    says(
        2,
        &["event", "parts", &event, "--part", "vows", "soon", "2:00"],
        &["'soon' is no time"],
    );
}
