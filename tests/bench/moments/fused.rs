//! Each stretch of speech once: what the steps after detection make of an event.

use sayback::core::clock::{Placed, Track};
use sayback::core::moments::{
    Attempt, Fused as Words, Hearer, Moment, MomentParams, SaidWord, SecondTry, Tracks, fuse,
    group, second_tries,
};
use sayback::speech::{Recogniser, Span};

use crate::event::Recording;
use crate::said::{Timed, listen};

/// What came out.
pub struct Fused {
    pub moments: Vec<Moment>,
    /// The words of each moment.
    pub words: Vec<Vec<Timed>>,
    /// What the model heard of the first choices, ms.
    pub first_ms: i64,
    /// And of all, ms.
    pub model_ms: i64,
    /// Moments that were tried twice, and those whose words are doubted.
    pub twice: usize,
    pub doubted: usize,
}

/// Groups, listens to the first choices, then to the second of those whose words
/// are doubted, as the product does.
pub fn run(recordings: &[Recording], placed: &[Placed], model: &mut dyn Recogniser) -> Fused {
    let tracks: Vec<&Track> = recordings.iter().map(|r| &r.track).collect();
    let hearers: Vec<Hearer> = recordings
        .iter()
        .zip(placed)
        .map(|(recording, placed)| Hearer {
            placement: &placed.placement,
            island: placed.island,
            source: recording.recorder,
            placed_as: recording.placed_as,
            duration_ms: recording.duration_ms as i64,
            segments: &recording.segments,
        })
        .collect();
    let moments = group(&hearers, &[], &MomentParams::default(), &Tracks(&tracks));
    let speech: Vec<i64> = moments.iter().map(|m| m.end.0 - m.start.0).collect();

    let mut attempts: Vec<Vec<Attempt>> = vec![Vec::new(); moments.len()];
    let first: Vec<usize> = (0..moments.len()).collect();
    let first_ms = hear(
        &first,
        0,
        &moments,
        recordings,
        placed,
        model,
        &mut attempts,
    );
    let words = |n: usize| fuse(&attempts[n], speech[n]).expect("an attempt");
    let (doubted, tries): (Vec<usize>, Vec<SecondTry>) = (0..moments.len())
        .filter_map(|n| Some((n, second_try(&moments[n], &words(n))?)))
        .unzip();
    let second: Vec<usize> = second_tries(&tries, first_ms, speech.iter().sum())
        .into_iter()
        .map(|n| doubted[n])
        .collect();
    let second_ms = hear(
        &second,
        1,
        &moments,
        recordings,
        placed,
        model,
        &mut attempts,
    );

    let mut doubted = 0;
    let words = attempts
        .iter()
        .zip(&speech)
        .map(|(attempts, speech)| {
            let fused = fuse(attempts, *speech).expect("an attempt");
            doubted += usize::from(fused.doubt.is_some());
            let words = fused.words.into_iter();
            let file =
                |attempt: usize, at: f64| placed[attempts[attempt].hearer].placement.file_at(at);
            words
                .map(|word| {
                    Timed::of(
                        word.word.text,
                        attempts[word.attempt].hearer,
                        file(word.attempt, word.word.start_ms),
                        file(word.attempt, word.word.end_ms),
                        recordings,
                    )
                })
                .collect()
        })
        .collect();
    Fused {
        words,
        first_ms,
        model_ms: first_ms + second_ms,
        twice: second.len(),
        doubted,
        moments,
    }
}

/// The second try at a moment with these words, where they are doubted and another
/// recorder has heard it.
fn second_try(moment: &Moment, words: &Words) -> Option<SecondTry> {
    words.doubt.as_ref()?;
    let other = moment.hearings.get(1).filter(|other| other.heard)?;
    let words: Vec<f32> = words.words.iter().map(|w| w.word.confidence).collect();
    Some(SecondTry {
        sure: (!words.is_empty()).then(|| words.iter().sum::<f32>() / words.len() as f32),
        ms: other.end.0 - other.start.0,
    })
}

/// Listens to the hearing of that rank of some moments; answers how much sound
/// that was, ms.
fn hear(
    wanted: &[usize],
    rank: usize,
    moments: &[Moment],
    recordings: &[Recording],
    placed: &[Placed],
    model: &mut dyn Recogniser,
    attempts: &mut [Vec<Attempt>],
) -> i64 {
    let mut heard_ms = 0;
    for (n, recording) in recordings.iter().enumerate() {
        let own: Vec<usize> = wanted
            .iter()
            .copied()
            .filter(|&moment| moments[moment].hearings[rank].hearer == n)
            .collect();
        let spans: Vec<Span> = own
            .iter()
            .map(|&moment| {
                let hearing = &moments[moment].hearings[rank];
                heard_ms += hearing.end.0 - hearing.start.0;
                Span {
                    start: hearing.start,
                    end: hearing.end,
                }
            })
            .collect();
        let words = listen(model, recording, &spans);
        for (moment, words) in own.into_iter().zip(words) {
            let event = |at: i64| placed[n].placement.event_at(at as f64);
            attempts[moment].push(Attempt {
                hearer: n,
                score: moments[moment].hearings[rank].score,
                words: words
                    .into_iter()
                    .map(|word| SaidWord {
                        text: word.text,
                        start_ms: event(word.start_ms),
                        end_ms: event(word.end_ms),
                        confidence: word.confidence,
                    })
                    .collect(),
            });
        }
    }
    heard_ms
}
