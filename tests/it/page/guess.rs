//! Which recorder made these files? By a table of names.

use serde_json::{Value, json};

use super::in_browser;
use crate::app::TestApp;

/// The rules of guessing by a table of names: paths, people that are known, and the
/// groups they are to make: label, placement, wearer, how many files.
#[test]
fn recorders_are_guessed_from_names() {
    let table = json!([
        [
            ["COR_0620_001.wav", "COR_0620_002.wav"],
            ["Corin"],
            [["COR", "worn", "Corin", 2]]
        ],
        [
            ["COR_0620_001.wav", "COR_0620_002.wav"],
            [],
            [["COR", "ambient", "", 2]]
        ],
        [
            ["CLIP0001.mov", "CLIP0002.MOV", "CLIP0003.mp4"],
            [],
            [["CLIP", "camera", "", 3]]
        ],
        [
            ["DESK_MIX.wav", "FEED.wav"],
            [],
            [["DESK_MIX", "feed", "", 1], ["FEED", "feed", "", 1]]
        ],
        [
            [
                "TX Corin/REC_001.wav",
                "TX Corin/REC_002.wav",
                "Lectern/0001.WAV",
                "Camera A/DCIM/100MEDIA/DSC_0001.MOV"
            ],
            [],
            [
                ["Camera A", "camera", "", 1],
                ["Lectern", "stand", "", 1],
                ["TX Corin", "worn", "Corin", 2]
            ]
        ],
        [
            ["Lav Ottilie/260620_1400.wav", "Lav Ottilie/other.wav"],
            [],
            [["Lav Ottilie", "worn", "Ottilie", 2]]
        ],
        [
            ["REC_0001.wav", "REC_0002.wav", "AMB_0001.wav"],
            [],
            [["AMB", "ambient", "", 1], ["REC", "stand", "", 2]]
        ],
        [["LECT_01.wav"], [], [["LECT", "stand", "", 1]]],
        [
            ["Corin.wav", "Ottilie.wav", "letters.wav"],
            ["Corin", "Ottilie"],
            [
                ["Corin", "worn", "Corin", 1],
                ["letters", "ambient", "", 1],
                ["Ottilie", "worn", "Ottilie", 1]
            ]
        ],
        [
            ["Day/Groom/0001.WAV", "Day/Feed/0001.WAV"],
            [],
            [["Feed", "feed", "", 1], ["Groom", "worn", "", 1]]
        ],
        [
            ["A/0001.wav", "B/0001.wav"],
            [],
            [["A", "ambient", "", 1], ["B", "ambient", "", 1]]
        ],
        [
            ["عبير.wav", "東京_001.wav", "東京_002.wav"],
            [],
            [["عبير", "ambient", "", 1], ["東京", "ambient", "", 2]]
        ],
        [["0001.wav", "0002.wav"], [], [["0001", "ambient", "", 2]]],
        // A picture beside sound of the same name is another recorder.
        [
            ["REC_1.wav", "REC_1.mov"],
            [],
            [["REC", "stand", "", 1], ["REC 2", "camera", "", 1]]
        ],
        [[], [], []],
    ]);
    let app = TestApp::start();
    in_browser(async |browser| {
        browser.open(&app.url).await;
        browser
            .run("import('/page/add/guess.js').then(rules => { window.rules = rules; }); return 1")
            .await;
        browser
            .wait("the rules", "return window.rules !== undefined")
            .await;
        for case in table.as_array().expect("cases") {
            let found = browser
                .run(&format!(
                    "const [paths, people] = {case};
                     return window.rules.guess(paths.map(path => ({{path, size: 1}})), people)
                        .map(one => [one.label, one.placement, one.person, one.files.length, one.why.length > 0])",
                ))
                .await;
            let mut wanted = case[2].clone();
            for group in wanted.as_array_mut().expect("groups") {
                group.as_array_mut().expect("a group").push(json!(true));
            }
            let sorted = |groups: &Value| {
                let mut rows: Vec<String> = groups
                    .as_array()
                    .expect("groups")
                    .iter()
                    .map(Value::to_string)
                    .collect();
                rows.sort();
                rows
            };
            assert_eq!(sorted(&found), sorted(&wanted), "{}", case[0]);
        }
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}
