//! Days that must not fool the clock.

use xtask::scene::day::{Clock, cases, truth};

use super::judge::{FRAME_25_MS, quantile};
use super::*;

#[test]
fn one_voice_is_placed_within_two_ms_plain_delay_known() {
    let corpus = corpus();
    let mut day = cases::plain(11, 300.0, &corpus);
    // One voice alone: the range of delays is a single value.
    day.said.retain(|said| said.speaker == 1);
    day.takes[1].snr_db = 0.0;
    let solved = solved(&day, &corpus);
    assert!(quantile(&solved.judged.delays_ms, 1.0) < 1e-6);
    solved.keeps_the_goals();
}

#[test]
fn a_recorder_that_stopped_inside_its_file_is_placed_on_both_sides() {
    let corpus = corpus();
    let day = cases::stops_inside(12, &corpus);
    let solved = solved(&day, &corpus);
    assert!(solved.together(0, 1));
    let mut jumps: Vec<(f64, f64)> = solved
        .warnings()
        .iter()
        .filter_map(|warning| match warning {
            Warning::Jump {
                member: 1,
                at_ms,
                lost_ms,
            } => Some((*at_ms, *lost_ms)),
            _ => None,
        })
        .collect();
    jumps.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert_eq!(jumps.len(), 2, "{jumps:?}");
    // 240 s and 470 - 7.25 s into the file; where exactly, only sound tells,
    // and talk pauses.
    for ((at_ms, lost_ms), (at_s, lost_s)) in jumps.iter().zip([(240.0, 7.25), (462.75, 0.3)]) {
        assert!((at_ms / 1000.0 - at_s).abs() < 15.0, "{jumps:?}");
        assert!((lost_ms - 1000.0 * lost_s).abs() < FRAME_25_MS, "{jumps:?}");
    }
    let off = errors_in_talk(&day, &corpus, &solved.solution);
    assert!(off.len() > 3_000, "{}", off.len());
    assert!(quantile(&off, 0.5) <= MEDIAN_MS && quantile(&off, 0.99) <= P99_MS);
}

/// Of the first two takes, how far instants of talk are off beside the sound's way,
/// ms; but for the lines that a stop cuts. A line lies wholly before or behind.
fn errors_in_talk(day: &Day, corpus: &Corpus, solution: &Solution) -> Vec<f64> {
    let shared = truth::shared(day, corpus, &day.takes[0], &day.takes[1]);
    let clocks = [0, 1].map(|n: usize| Clock::of(&day.takes[n]));
    let place = |n: usize| &solution.placed[n].placement;
    let whole = |(start_s, end_s, _): &&(f64, f64, f64)| {
        let mut stops = day.takes[1].stops.iter();
        !stops.any(|stop| *start_s < stop.at_s + stop.lost_s && *end_s > stop.at_s)
    };
    let mut all = Vec::new();
    for (start_s, end_s, _) in shared.heard.iter().filter(whole) {
        let mut event_s = *start_s;
        while event_s < *end_s {
            let here = clocks[0].file_s(event_s).map(|at_s| at_s * 1000.0);
            let mapped = here.map(|at_ms| place(1).file_at(place(0).event_at(at_ms)));
            let error = mapped.and_then(|at| truth::error(&clocks[1], event_s, at, &shared));
            all.extend(error.map(|error| error.beside_ms));
            event_s += 0.1;
        }
    }
    all
}

#[test]
fn a_wrong_sample_rate_in_the_header_is_told() {
    let corpus = corpus();
    for rate_hz in [48_960.0, 44_100.0] {
        let day = cases::wrong_rate(13, rate_hz, &corpus);
        let solved = solved(&day, &corpus);
        assert!(solved.together(0, 1), "{rate_hz}: {:?}", solved.solution);
        let told = solved.warnings().iter().any(|warning| match warning {
            Warning::WrongRate { member: 1, ppm, .. } => (ppm - day.takes[1].ppm()).abs() < 250.0,
            _ => false,
        });
        assert!(told, "{rate_hz}: {:?}", solved.solution);
        solved.keeps_the_goals();
    }
}

#[test]
fn a_safety_copy_lies_where_the_first_lies() {
    let corpus = corpus();
    let day = cases::safety_copy(14, &corpus);
    let solved = solved(&day, &corpus);
    let start = |n: usize| solved.solution.placed[n].placement.start_ms();
    assert!(solved.together(0, 2));
    assert!((start(0) - start(2)).abs() < 0.1);
    let told = solved.warnings().iter().any(|warning| match warning {
        Warning::Copy {
            member: 2,
            of: 0,
            gain_db,
        } => (gain_db + 12.0).abs() < 0.5,
        Warning::Copy {
            member: 0,
            of: 2,
            gain_db,
        } => (gain_db - 12.0).abs() < 0.5,
        _ => false,
    });
    assert!(told, "{:?}", solved.warnings());
    solved.keeps_the_goals();
}

#[test]
fn a_song_played_twice_places_nothing() {
    let corpus = corpus();
    for seed in [15, 16, 40, 41] {
        let solved = solved(&cases::song_twice(seed, &corpus), &corpus);
        assert!(!solved.together(0, 1), "{:?}", solved.solution);
        assert_eq!(solved.finding(0, 1), Finding::Tie);
        solved.is_never_surely_wrong();
    }
}

#[test]
fn a_loop_is_a_tie() {
    let corpus = corpus();
    let solved = solved(&cases::looped(18, &corpus), &corpus);
    assert!(!solved.together(0, 1), "{:?}", solved.solution);
    assert_eq!(solved.finding(0, 1), Finding::Tie);
}

#[test]
fn applause_alone_places_nothing_wrongly() {
    let corpus = corpus();
    for seed in [19, 20] {
        let solved = solved(&cases::applause_only(seed, &corpus), &corpus);
        solved.is_never_surely_wrong();
    }
}

#[test]
fn two_houses_another_event_and_an_empty_room_share_nothing() {
    let corpus = corpus();
    let houses = solved(&cases::two_houses(21, &corpus), &corpus);
    assert!(!houses.together(0, 1), "{:?}", houses.solution);
    assert_ne!(houses.finding(0, 1), Finding::Shared);
    for day in [
        cases::another_event(22, &corpus),
        cases::silent_hour(23, &corpus),
    ] {
        let solved = solved(&day, &corpus);
        assert!(solved.together(0, 1));
        assert!(!solved.together(0, 2), "{:?}", solved.solution.placed[2]);
        assert_ne!(solved.finding(0, 2), Finding::Shared);
        solved.keeps_the_goals();
    }
}

#[test]
fn files_of_one_second_break_nothing() {
    let corpus = corpus();
    let solved = solved(&cases::one_second(24, &corpus), &corpus);
    assert!(solved.together(0, 1));
    solved.is_never_surely_wrong();
}

#[test]
fn clips_of_some_seconds_lie_right_or_nowhere() {
    let corpus = corpus();
    for length_s in [5.0, 10.0] {
        let solved = solved(&cases::clips(27, 20, length_s, &corpus), &corpus);
        let judged = &solved.judged;
        // Of some there is nothing but a pause.
        let placed = (2..22).filter(|&n| solved.together(0, n)).count();
        assert!(placed >= 10, "{length_s} s: {placed}");
        solved.is_never_surely_wrong();
        let (most, shown) = (quantile(&judged.beside_ms, 1.0), &judged.notes);
        assert!(most <= P99_MS, "{length_s} s: {most} ms {shown:?}");
        assert!(judged.covered as f64 >= 0.9 * judged.beside_ms.len() as f64);
    }
}

#[test]
fn recorders_after_one_another_meet_through_a_third() {
    let corpus = corpus();
    let solved = solved(&cases::after_one_another(25, &corpus), &corpus);
    assert!(solved.together(0, 1) && solved.together(0, 2));
    assert_eq!(solved.finding(0, 1), Finding::Nothing);
    solved.keeps_the_goals();
}

#[test]
fn sound_wins_against_a_stamp_that_lies() {
    let corpus = corpus();
    let solved = solved(&cases::lying_stamps(26, &corpus), &corpus);
    assert!(solved.together(0, 1));
    let told = solved.warnings().iter().any(|warning| {
        matches!(warning, Warning::StampDisagrees { by_ms, .. }
            if (by_ms.abs() - 2_220_000.0).abs() < 1_000.0)
    });
    assert!(told, "{:?}", solved.warnings());
    solved.keeps_the_goals();
}

/// Beside a wrong rate another recorder once lay 1.4 s off, and ten seconds of
/// applause placed one 0.7 s off, each claiming a tenth of a second.
#[test]
fn nothing_that_is_wrong_with_one_recorder_moves_another() {
    let corpus = Corpus::load(240).expect("talk");
    for seed in [62, 65] {
        let day = cases::bad_day::day(seed, &corpus);
        let solved = solved(&day, &corpus);
        let judged = &solved.judged;
        assert_eq!(judged.placed, judged.overlapping, "{:?}", judged.notes);
        solved.is_never_surely_wrong();
        for n in [cases::bad_day::ELSEWHERE, cases::bad_day::CELLAR] {
            assert!(!solved.together(0, n), "{:?}", solved.solution.placed[n]);
        }
    }
}
