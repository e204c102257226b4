//! Two ways from a recording to its words: ours, and the library's alone.

use std::path::Path;

use sayback::core::Cancel;
use sayback::core::signal::{DetectorParams, SpeechDetector};
use sayback::core::units::FileMs;
use sayback::media::{AnalysisStream, ChannelPick, read_analysis};
use sayback::speech::{Ask, HeardWord, Recogniser, Span, pack};
use whisper_rs::{FullParams, SamplingStrategy, WhisperContext, WhisperContextParameters};

/// Ours: detected speech, packed into windows, words placed in the file.
pub fn ours(recogniser: &mut dyn Recogniser, file: &Path) -> Vec<HeardWord> {
    let stream = AnalysisStream::open(file, ChannelPick::Mix).expect("a recording");
    let mut words = Vec::new();
    for window in pack(&speech(file), FileMs(stream.duration_ms())) {
        let passage = window
            .assemble(&mut |from, to| read_analysis(file, ChannelPick::Mix, from, to))
            .expect("the window's samples");
        let heard = recogniser
            .recognise(
                passage.samples(),
                &Ask::default(),
                &Cancel::new(),
                &mut |_| {},
            )
            .expect("words");
        words.extend(passage.place(heard).into_iter().map(|(_, word)| word));
    }
    words
}

/// Words with spaces between.
pub fn text(words: &[HeardWord]) -> String {
    let texts: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    texts.join(" ")
}

/// The detector's segments of a whole file.
pub fn speech(file: &Path) -> Vec<Span> {
    let mut stream = AnalysisStream::open(file, ChannelPick::Mix).expect("a recording");
    let mut detector = SpeechDetector::new(DetectorParams::default());
    let mut segments = Vec::new();
    let mut buffer = vec![0.0; 16_000];
    loop {
        let count = stream.read(&mut buffer).expect("samples");
        if count == 0 {
            break;
        }
        detector.push(&buffer[..count], &mut segments);
    }
    detector.finish(&mut segments);
    segments
        .iter()
        .map(|segment| Span {
            start: segment.start,
            end: segment.end,
        })
        .collect()
}

/// The library's plain call over a whole file at once, with its own defaults.
pub fn plain(model: &WhisperContext, threads: usize, file: &Path) -> String {
    let mut stream = AnalysisStream::open(file, ChannelPick::Mix).expect("a recording");
    let mut samples = Vec::new();
    let mut buffer = vec![0.0; 16_000];
    loop {
        let count = stream.read(&mut buffer).expect("samples");
        if count == 0 {
            break;
        }
        samples.extend_from_slice(&buffer[..count]);
    }
    // whisper_full_default_params: five drafts above temperature 0.
    let mut parameters = FullParams::new(SamplingStrategy::Greedy { best_of: 5 });
    parameters.set_n_threads(threads as i32);
    parameters.set_language(Some("en"));
    parameters.set_print_progress(false);
    let mut state = model.create_state().expect("a state");
    state.full(parameters, &samples).expect("words");
    state
        .as_iter()
        .map(|segment| segment.to_str_lossy().expect("text").into_owned())
        .collect::<Vec<_>>()
        .join(" ")
}

/// The plain library's model.
pub fn load_plain(model: &Path) -> WhisperContext {
    whisper_rs::install_logging_hooks();
    WhisperContext::new_with_params(model, WhisperContextParameters::default()).expect("a model")
}
