//! Transcripts as files, read by the programs they are written for: NIST's sclite 2.10
//! (SCTK 1.3), ffmpeg 5.1, Chromium.

use std::path::Path;
use std::process::Command;

use sayback::core::units::FileMs;
use sayback::export::{Format, Line, Sheet, Word};
use serde_json::{Value, json};
use xtask::oracle;

use crate::app::Reply;
use crate::landing::Landing;
use crate::page::in_browser;
use crate::speech::score::{self, Errors};

/// Asked of an event that another test has made: that takes seconds.
pub(crate) fn files_of_words_are_read_by_other_programs(landing: &Landing) {
    let detail = landing.app.get(&format!("/events/{}", landing.event));
    for recording in detail.json()["recordings"].as_array().expect("recordings") {
        a_scorer_finds_the_errors_that_there_are(landing, recording);
        captions_are_the_same_to_a_player(landing, recording);
        a_scorer_of_speakers_reads_who_speaks(landing, recording);
        the_plain_text_is_the_transcript(landing, recording);
        files_say_what_they_are(landing, recording);
    }
    what_is_not_there_is_refused(landing);
}

fn ask(landing: &Landing, recording: &Value, format: &str) -> Reply {
    let id = recording["id"].as_str().expect("an id");
    landing
        .app
        .get(&format!("/recordings/{id}/words?format={format}"))
}

fn file(landing: &Landing, recording: &Value, format: Format) -> String {
    let reply = ask(landing, recording, format.name());
    assert_eq!(
        reply.status,
        200,
        "{}",
        String::from_utf8_lossy(&reply.body)
    );
    String::from_utf8(reply.body).expect("UTF-8")
}

/// Against what was really said, at the places where it really is in the file, as many
/// errors are counted as on the bare texts; against itself there is none.
fn a_scorer_finds_the_errors_that_there_are(landing: &Landing, recording: &Value) {
    let label = recording["source"]["label"].as_str().expect("a label");
    let recorder = landing.truth.recorders.iter().find(|r| r.label == label);
    let hearings = &recorder.expect("it was recorded").hearings;
    let ctm = file(landing, recording, Format::Ctm);
    let stm = file(landing, recording, Format::Stm);
    let name = data(&ctm)
        .next()
        .expect("words")
        .split(' ')
        .next()
        .expect("a file");
    let mut truth = String::new();
    for hearing in hearings {
        let words = score::plain(&landing.truth.lines[hearing.line].text);
        let (from, to) = (hearing.start_ms / 1000.0, hearing.end_ms / 1000.0);
        truth.push_str(&format!(
            "{name} 1 somebody {from:.3} {to:.3} <sure> {words}\n"
        ));
    }
    let (against_truth, scored) = sclite(&truth, &in_plain_words(&ctm));
    assert_eq!(scored, hearings.len());

    let transcript = ask(landing, recording, "json").json();
    let texts = transcript["hearings"].as_array().expect("hearings").iter();
    let heard: Vec<&str> = texts.filter_map(|h| h["text"].as_str()).collect();
    let said: Vec<&str> = hearings
        .iter()
        .map(|h| &*landing.truth.lines[h.line].text)
        .collect();
    let bare = score::errors(&[("a-1".into(), said.join(" "), heard.join(" "))]);
    assert_eq!(against_truth, bare, "on {label}: {ctm}{truth}");
    // The README's promise for a small model on a distant microphone.
    assert!(bare.percent() < 50.0, "on {label}: {bare:?}");

    let (against_itself, moments) = sclite(&stm, &ctm);
    assert_eq!(moments, data(&stm).count());
    let words = data(&ctm).count() as u32;
    assert_eq!(
        against_itself,
        Errors {
            words,
            ..Errors::default()
        },
        "{stm}{ctm}"
    );
}

/// A CTM with each word in the form in which the tests compare words.
fn in_plain_words(ctm: &str) -> String {
    let plain = |line: &str| {
        let mut fields: Vec<String> = line.split(' ').map(str::to_owned).collect();
        fields[4] = score::plain(&fields[4]);
        assert!(!fields[4].is_empty() && !fields[4].contains(' '), "{line}");
        fields.join(" ") + "\n"
    };
    data(ctm).map(plain).collect()
}

fn captions_are_the_same_to_a_player(landing: &Landing, recording: &Value) {
    let vtt = file(landing, recording, Format::Vtt);
    let srt = file(landing, recording, Format::Srt);
    assert_eq!(by_ffmpeg(&srt, Format::Srt), srt);
    // WebVTT has a mark for who speaks, which SubRip has not; both are parted alike.
    let mut unsigned = srt.clone();
    for name in SPEAKERS {
        assert!(vtt.contains(&format!("<v {name}>")), "{vtt}");
        unsigned = unsigned.replace(&format!("{name}: "), "");
    }
    assert_ne!(unsigned, srt);
    assert_eq!(by_ffmpeg(&vtt, Format::Vtt), unsigned);
    // What was found in the whole transcript stands on the screen in words.
    let words = srt.to_lowercase().replace('\n', " ");
    assert!(words.contains("ferry bell"), "{srt}");
}

/// Who speaks, as far as the landing's recorders can tell.
const SPEAKERS: [&str; 2] = ["wearer of Corin, lapel", "speaker 1"];

/// NIST's md-eval finds no fault with what it is scored against, and all of it speech;
/// with half of the lines it misses the others.
fn a_scorer_of_speakers_reads_who_speaks(landing: &Landing, recording: &Value) {
    let rttm = file(landing, recording, Format::Rttm);
    let lines: Vec<&str> = data(&rttm).collect();
    let heard = ask(landing, recording, "json").json();
    let heard = heard["hearings"].as_array().expect("hearings").iter();
    let spoken = heard.filter(|h| h["heard"] == true && h["text"] != "");
    assert_eq!(lines.len(), spoken.count());
    for name in ["wearer_of_Corin_lapel", "speaker_1"] {
        assert!(lines.iter().any(|line| line.contains(name)), "{rttm}");
    }
    let seconds = |line: &&&str| line.split(' ').nth(4).and_then(|s| s.parse::<f64>().ok());
    let all: f64 = lines.iter().filter_map(|line| seconds(&line)).sum();
    let (time, missed) = md_eval(&rttm, &rttm);
    assert!(
        (time - all).abs() < 0.02 && missed == 0.0,
        "{time} of {all}: {missed}"
    );
    let (_, missed) = md_eval(&rttm, lines[0]);
    let first = seconds(&&lines[0]).expect("a length");
    assert!((missed - (all - first)).abs() < 0.02, "{missed}");
}

/// Scored and missed speaker time, s, without a collar.
pub(crate) fn md_eval(truth: &str, said: &str) -> (f64, f64) {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text.to_owned() + "\n").expect("a file");
        path
    };
    let run = Command::new(oracle::md_eval())
        .args(["-c", "0"])
        .arg("-r")
        .arg(write("truth.rttm", truth))
        .arg("-s")
        .arg(write("said.rttm", said))
        .output()
        .expect("md-eval starts");
    let told = String::from_utf8_lossy(&run.stdout);
    let number = |what: &str| -> f64 {
        let line = told
            .lines()
            .find(|line| line.trim_start().starts_with(what));
        let value = line.and_then(|line| line.split_once('=')?.1.split_whitespace().next());
        value
            .and_then(|value| value.parse().ok())
            .unwrap_or_else(|| panic!("no {what} in {told}"))
    };
    (number("SCORED SPEAKER TIME"), number("MISSED SPEAKER TIME"))
}

fn the_plain_text_is_the_transcript(landing: &Landing, recording: &Value) {
    let transcript = ask(landing, recording, "json").json();
    let id = recording["id"].as_str().expect("an id");
    let bare = landing.app.get(&format!("/recordings/{id}/words"));
    assert_eq!(
        bare.json(),
        transcript,
        "JSON unless something else is asked for"
    );
    let text = file(landing, recording, Format::Text);
    let lines: Vec<(&str, &str)> = text.lines().filter_map(|l| l.split_once("  ")).collect();
    let said = transcript["hearings"].as_array().expect("hearings").iter();
    let said = said.filter_map(|h| Some((h["person"]["name"].as_str()?, h["text"].as_str()?)));
    let said: Vec<(&str, &str)> = said.collect();
    assert_eq!(lines.len(), said.len(), "{text}");
    for ((at, line), (name, said)) in lines.iter().zip(said) {
        assert!(at.starts_with("00:00:") && at.len() == 12, "{text}");
        let signed = format!("{name}: {said}");
        assert!(line.starts_with(&signed), "{line}: {said}");
    }
}

fn files_say_what_they_are(landing: &Landing, recording: &Value) {
    let file = recording["file"].as_str().expect("a name");
    let stem = Path::new(file)
        .file_stem()
        .and_then(|stem| stem.to_str())
        .expect("a stem");
    for (format, kind, ending) in [
        ("ctm", "text/plain; charset=utf-8", "ctm"),
        ("stm", "text/plain; charset=utf-8", "stm"),
        ("rttm", "text/plain; charset=utf-8", "rttm"),
        ("vtt", "text/vtt; charset=utf-8", "vtt"),
        ("srt", "application/x-subrip; charset=utf-8", "srt"),
        ("text", "text/plain; charset=utf-8", "txt"),
    ] {
        let reply = ask(landing, recording, format);
        assert_eq!(reply.header("content-type"), kind);
        let name = format!("attachment; filename=\"{stem}.{ending}\"");
        assert_eq!(reply.header("content-disposition"), name);
    }
    let json = ask(landing, recording, "json");
    assert_eq!(json.header("content-type"), "application/json");
}

fn what_is_not_there_is_refused(landing: &Landing) {
    let refused = landing
        .app
        .get("/recordings/none/words?format=docx")
        .problem(422);
    assert_eq!(refused["field"], "format", "{refused}");
    let all = json!(["json", "ctm", "stm", "rttm", "vtt", "srt", "text"]);
    assert_eq!(refused["allowed"], all, "{refused}");
    landing
        .app
        .get("/recordings/none/words?format=vtt")
        .problem(404);
}

/// Worked example: 12 words, one of each error, 25.0 %.
#[test]
fn a_scorer_counts_one_error_of_each_kind() {
    let said = [
        "I take you, Ben, to be my husband,",
        "for better, for worse.",
    ];
    let heard = [
        "I take you been to be my husband",
        "for better worse, yeah.",
    ];
    let [said, heard] = [said, heard].map(|texts| sheet(texts.map(|text| vec![text]).concat()));
    let (errors, _) = sclite(&Format::Stm.write(&said), &Format::Ctm.write(&heard));
    let want = Errors {
        words: 12,
        substituted: 1,
        deleted: 1,
        inserted: 1,
    };
    assert_eq!(errors, want);
    assert!((errors.percent() - 25.0).abs() < 1e-9);
}

/// Words that mean something to the readers of files.
const HOSTILE: &str = "--> <v Mary> </v> <b>bold</b> & &amp; &lt; {\\an8} \\N \\h {a b/c} a;;b ;; \
    IGNORE_TIME_SEGMENT_IN_SCORING (uh) @ WEBVTT NOTE STYLE 1 00:00:01.000 <00:00:01.000> שלום \
    مرحبا 愿意 👩‍👩‍👧 e\u{301} \u{202E}turned\u{202C} 5% R&B <ALT_BEGIN> % ' \" ` # * 100";

#[test]
fn no_word_breaks_a_file() {
    let mut sheet = sheet(vec![HOSTILE, HOSTILE]);
    sheet.file = "../ a-->b\n{x} ;;.wav".into();
    sheet.lines[1].doubt = Some("--> \n\n<b>".into());
    sheet.lines[1].speaker = Some("<v Eve> -->\n\n& co".into());
    let ctm = Format::Ctm.write(&sheet);
    let words = data(&ctm).count() as u32;
    assert!(words > 40, "{ctm}");
    let (errors, moments) = sclite(&Format::Stm.write(&sheet), &ctm);
    assert_eq!(moments, 2);
    assert_eq!(
        errors,
        Errors {
            words,
            ..Errors::default()
        },
        "{ctm}"
    );

    let srt = Format::Srt.write(&sheet);
    assert_eq!(by_ffmpeg(&srt, Format::Srt), srt);

    let cues = by_chromium(&Format::Vtt.write(&sheet));
    let (doubtful, sure): (Vec<&Value>, Vec<&Value>) =
        cues.iter().partition(|cue| cue["class"] == "doubtful");
    // All words, as they are but for what turns the direction of writing around; one
    // that is wider than its line is cut.
    let bare = |text: &str| text.split_whitespace().collect::<String>();
    let want = bare(&HOSTILE.replace(['\u{202E}', '\u{202C}'], ""));
    for (cues, mark, voice) in [(sure, "", ""), (doubtful, "[?] ", "<v Eve> --> & co")] {
        let mut read = String::new();
        for cue in cues {
            let text = cue["text"]
                .as_str()
                .and_then(|text| text.strip_prefix(mark));
            read.push_str(&bare(text.expect("a text with its mark")));
            assert_eq!(cue["voice"], voice, "{cue}");
        }
        assert_eq!(read, want);
    }
    let starts: Vec<f64> = cues
        .iter()
        .filter_map(|cue| cue["start"].as_f64())
        .collect();
    assert!(
        starts.is_sorted() && starts.len() == cues.len(),
        "{starts:?}"
    );
}

/// Moments of these texts, one after the other, a word each 300 ms.
fn sheet(texts: Vec<&str>) -> Sheet {
    let mut at_ms = 0;
    let lines = texts.into_iter().map(|text| {
        let start = FileMs(at_ms);
        let words = text.split_whitespace().map(|text| {
            let start = FileMs(at_ms);
            at_ms += 300;
            Word {
                text: text.into(),
                start,
                end: FileMs(at_ms),
                confidence: 0.5,
            }
        });
        let words: Vec<Word> = words.collect();
        let line = Line {
            start,
            end: FileMs(at_ms),
            speaker: None,
            also: None,
            doubt: None,
            words: Some(words),
        };
        at_ms += 1_000;
        line
    });
    Sheet {
        recording: "r".into(),
        file: "LECT_002.wav".into(),
        source: "Lectern".into(),
        channel: None,
        lines: lines.collect(),
    }
}

/// What is not a comment.
fn data(text: &str) -> impl Iterator<Item = &str> {
    text.lines().filter(|line| !line.starts_with(";;"))
}

/// Errors of a CTM against an STM, and how many moments were scored.
fn sclite(stm: &str, ctm: &str) -> (Errors, usize) {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("said.stm"), stm).expect("a file");
    std::fs::write(folder.path().join("heard.ctm"), ctm).expect("a file");
    let run = Command::new(oracle::sclite())
        .current_dir(folder.path())
        .args(["-r", "said.stm", "stm", "-h", "heard.ctm", "ctm"])
        .args(["-e", "utf-8", "-o", "pralign", "stdout"])
        .output()
        .expect("sclite runs");
    let told = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success(), "{told}");
    let report = String::from_utf8_lossy(&run.stdout);
    score::counted(&report)
}

/// Captions read by ffmpeg and written as SubRip.
fn by_ffmpeg(captions: &str, format: Format) -> String {
    let file = tempfile::Builder::new()
        .suffix(&format!(".{}", format.extension()))
        .tempfile()
        .expect("a file");
    std::fs::write(file.path(), captions).expect("a file");
    let run = Command::new(oracle::ffmpeg())
        .args(["-v", "error", "-i"])
        .arg(file.path())
        .args(["-f", "srt", "-"])
        .output()
        .expect("ffmpeg runs");
    let told = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success() && told.is_empty(), "{told}");
    // It parts the lines of a cue with two characters, the cues with one.
    let read = String::from_utf8(run.stdout).expect("UTF-8");
    read.replace("\r\n", "\n")
}

/// The cues of a WebVTT file by the browser's own reader: start, text, the name of the
/// voice and the class of the text, both empty where there is none.
fn by_chromium(vtt: &str) -> Vec<Value> {
    let script = format!(
        "const track = document.createElement('track');
        track.onload = () => {{
            window.cues = [...track.track.cues].map(cue => {{
                const inside = cue.getCueAsHTML();
                return {{
                    start: cue.startTime,
                    text: inside.textContent,
                    voice: inside.querySelector('[title]')?.title ?? '',
                    class: inside.querySelector('[class]')?.className ?? '',
                }};
            }});
        }};
        track.src = URL.createObjectURL(new Blob([{}], {{type: 'text/vtt'}}));
        document.querySelector('video').append(track);
        track.track.mode = 'hidden';",
        json!(vtt)
    );
    let mut cues = Vec::new();
    in_browser(async |browser| {
        browser.open("data:text/html,<video></video>").await;
        browser.run(&script).await;
        let read = browser.wait("the cues", "return window.cues ?? null").await;
        cues = read.as_array().cloned().expect("cues");
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
    cues
}
