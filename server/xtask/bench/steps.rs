//! What each step of the queue took, from the program's own log.

use std::collections::BTreeMap;

/// Reads lines that say `step done` and hold `step=NAME` and `took_ms=N`; gives
/// ms of wall clock by the kind of step.
pub(super) fn read(log: &str) -> BTreeMap<String, u64> {
    let mut steps = BTreeMap::new();
    for line in log.lines().filter(|line| line.contains("step done")) {
        let field = |name: &str| {
            line.split_whitespace()
                .find_map(|word| word.strip_prefix(name)?.strip_prefix('='))
        };
        let took_ms = field("took_ms").and_then(|text| text.parse::<u64>().ok());
        if let (Some(step), Some(took_ms)) = (field("step"), took_ms) {
            *steps.entry(step.to_owned()).or_default() += took_ms;
        }
    }
    steps
}

#[test]
fn steps_add_up_by_kind() {
    let log = "\
        12:00 INFO jobs: step done step=detect took_ms=20 job=1\n\
        12:00 INFO jobs: step done step=detect took_ms=30 job=2\n\
        12:00 INFO jobs: step begun step=probe took_ms=9\n\
        12:00 INFO jobs: step done step=probe took_ms=1 job=3\n";
    let steps = read(log);
    assert_eq!(
        Vec::from_iter(steps),
        [("detect".into(), 50), ("probe".into(), 1)]
    );
}
