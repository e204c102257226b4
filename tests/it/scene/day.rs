//! Do two recordings of a day lie against each other as its truth says?
//! Measured by Fourier transform, which knows nothing of either.

use xtask::scene::day::spec::Stop;
use xtask::scene::day::{Clock, Corpus, Day, cases, render, truth};
use xtask::scene::measure::Ruler;

/// Lag of the second take against the first where the truth expects none
/// beyond the acoustic delay of one voice; ms, at each place in the second.
fn lags(day: &Day, corpus: &Corpus) -> Vec<(f64, f64)> {
    let folder = tempfile::tempdir().expect("a folder");
    let takes = render(day, corpus, folder.path()).expect("the day is rendered");
    let clocks: Vec<Clock> = day.takes.iter().map(Clock::of).collect();
    let ruler = Ruler::new(16_000);
    let mut found = Vec::new();
    for said in &day.said {
        let shared = |n: usize| {
            let metres = day
                .distance_m(&day.takes[n], said.speaker, 0)
                .expect("heard");
            // Half a second in, where it sounds.
            clocks[n].file_s(said.start_s + 0.5 + Day::delay_s(metres))
        };
        let (Some(here), Some(there)) = (shared(0), shared(1)) else {
            continue;
        };
        let at = |seconds: f64| (seconds * 16_000.0) as u64;
        let a = takes[0].read(at(here), at(here) + 6_400).expect("samples");
        let b = takes[1]
            .read(at(there) - 800, at(there) + 8_000)
            .expect("samples");
        if a.len() < 6_400 || b.len() < 8_800 {
            continue;
        }
        // Both starts were rounded down to a sample.
        let rest = |seconds: f64| (seconds * 16_000.0).fract() / 16_000.0;
        let rounded_s = rest(there) - rest(here);
        let lag_s = ruler.lag_s(&a, &b).expect("a lag") - 0.05 - rounded_s;
        found.push((there, lag_s * 1000.0));
    }
    assert!(found.len() >= 10, "{} places", found.len());
    found
}

fn clean(day: &mut Day) {
    for take in &mut day.takes {
        take.snr_db = 50.0;
        take.room.critical_m = 40.0;
    }
}

#[test]
fn files_of_a_day_keep_the_time_of_their_clocks() {
    let corpus = Corpus::load(24).expect("talk");
    let mut day = cases::plain(3, 240.0, &corpus);
    clean(&mut day);
    day.takes[1].start_s = 5.123_4;
    day.takes[1].pace = 1.0 + 100e-6;
    day.takes[1].stops = vec![Stop {
        at_s: 120.0,
        lost_s: 3.3,
    }];
    for (at_s, lag_ms) in lags(&day, &corpus) {
        // Half a sample: early reflections of walls pull at the peak.
        assert!(lag_ms.abs() < 500.0 / 16_000.0, "{lag_ms} ms at {at_s} s");
    }
}

#[test]
fn a_copy_is_the_same_samples_at_another_level() {
    let corpus = Corpus::load(24).expect("talk");
    let mut day = cases::safety_copy(1, &corpus);
    day.length_s = 60.0;
    day.takes.iter_mut().for_each(|take| take.end_s = 60.0);
    let folder = tempfile::tempdir().expect("a folder");
    let takes = render(&day, &corpus, folder.path()).expect("the day is rendered");
    let (loud, quiet) = (takes[0].read(0, 160_000), takes[2].read(0, 160_000));
    let gain = 10_f32.powf(-12.0 / 20.0);
    for (loud, quiet) in loud.expect("samples").iter().zip(quiet.expect("samples")) {
        // Rounded to a step of 16 bits each.
        assert!((loud * gain - quiet).abs() <= 1.0 / 32_768.0);
    }
}

#[test]
fn cases_share_what_they_say() {
    let corpus = Corpus::load(24).expect("talk");
    let shared =
        |day: &Day, a: usize, b: usize| truth::shared(day, &corpus, &day.takes[a], &day.takes[b]);
    let plain = shared(&cases::plain(1, 120.0, &corpus), 0, 1);
    assert!(plain.talk_s > 60.0, "{plain:?}");
    // Under 5 m apart, so under 15 ms either way.
    assert!(
        plain.delays_ms.iter().all(|delay| delay.abs() < 15.0),
        "{plain:?}"
    );
    for (day, a, b) in [
        (cases::two_houses(1, &corpus), 0, 1),
        (cases::applause_only(1, &corpus), 0, 1),
        (cases::song_twice(1, &corpus), 0, 1),
        (cases::another_event(1, &corpus), 0, 2),
        (cases::silent_hour(1, &corpus), 0, 2),
        (cases::after_one_another(1, &corpus), 0, 1),
        (cases::looped(1, &corpus), 0, 1),
    ] {
        assert_eq!(shared(&day, a, b).talk_s, 0.0);
    }
    assert!(shared(&cases::after_one_another(1, &corpus), 0, 2).talk_s > 60.0);
    assert_eq!(
        shared(&cases::after_one_another(1, &corpus), 0, 1).overlap_s,
        0.0
    );
}
