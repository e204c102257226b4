//! What each step of the queue took, from the program's own log.

use std::collections::BTreeMap;

/// One kind of step, over all that it worked on.
#[derive(Clone, Copy, Default, PartialEq, Eq, Debug)]
pub(super) struct Step {
    /// Wall clock, ms.
    pub took_ms: u64,
    /// The sound it worked on, ms.
    pub audio_ms: u64,
}

/// Reads lines that hold `step=NAME`, `took_ms=N` and `audio_ms=N`.
pub(super) fn read(log: &str) -> BTreeMap<String, Step> {
    let mut steps: BTreeMap<String, Step> = BTreeMap::new();
    for line in log.lines().filter(|line| line.contains("step done")) {
        let field = |name: &str| {
            line.split_whitespace()
                .find_map(|word| word.strip_prefix(name)?.strip_prefix('='))
        };
        let number = |name| field(name).and_then(|text| text.parse::<u64>().ok());
        if let (Some(step), Some(took_ms), Some(audio_ms)) =
            (field("step"), number("took_ms"), number("audio_ms"))
        {
            let step = steps.entry(step.trim_matches('"').to_owned()).or_default();
            step.took_ms += took_ms;
            step.audio_ms += audio_ms;
        }
    }
    steps
}

#[test]
fn steps_add_up_by_kind() {
    let log = "\
        12:00 INFO jobs: step done step=\"detect\" took_ms=20 audio_ms=1000 job=1\n\
        12:00 INFO jobs: step done step=detect took_ms=30 audio_ms=2000 job=2\n\
        12:00 INFO jobs: step begun step=probe took_ms=9 audio_ms=9\n\
        12:00 INFO jobs: step done step=probe took_ms=1 audio_ms=3000 job=3\n";
    let steps = read(log);
    assert_eq!(steps.len(), 2);
    assert_eq!(
        steps["detect"],
        Step {
            took_ms: 50,
            audio_ms: 3000
        }
    );
    assert_eq!(
        steps["probe"],
        Step {
            took_ms: 1,
            audio_ms: 3000
        }
    );
}
