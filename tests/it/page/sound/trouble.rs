//! What happens when something is not as it should be, and what keys do while it plays.

use serde_json::json;

use super::stage::{Stage, heard, made, talk};
use crate::landing::Landing;
use crate::media::{Folder, by_ffmpeg};
use crate::page::in_browser;

#[test]
fn a_missing_file_is_told_and_the_others_go_on() {
    let folder = Folder::new();
    let (here, gone) = (folder.path("here.wav"), folder.path("gone.wav"));
    talk(&here, "anull");
    talk(&gone, "volume=-6dB,lowpass=f=7000");
    let app = heard(&[("Here", &here), ("Gone", &gone)]);
    std::fs::remove_file(&gone).expect("it goes");
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let told = stage
            .flow(
                "let unhandled = 0;
                 addEventListener('unhandledrejection', () => { unhandled += 1; });
                 const player = await rig.player({ best: () => rig.id.Gone });
                 const said = () => rig.told.troubles.splice(0);
                 const out = {};
                 player.play({ recording: rig.id.Gone, startMs: 1000, endMs: 2000 });
                 await rig.until(() => !player.state.playing);
                 out.alone = said();
                 // Whoever follows the best hearing hears the next best.
                 player.play({ line: 0, startMs: 1000 });
                 await rig.until(() => player.state.ms > 1300);
                 out.followed = [said(), player.state.recording === rig.id.Here];
                 // A switch that can't be leaves what sounds as it is.
                 player.switchTo(rig.id.Gone);
                 await rig.sleep(400);
                 const { playing, recording, ms } = player.state;
                 out.switched = [said(), playing, recording === rig.id.Here, ms > 1600];
                 player.playList([
                   { recording: rig.id.Gone, fileStartMs: 0, fileEndMs: 500 },
                   { recording: rig.id.Here, fileStartMs: 2000, fileEndMs: 2500 },
                 ]);
                 await rig.until(() => player.state.spot === 1 && player.state.ms > 2200);
                 out.list = [said(), player.state.recording === rig.id.Here];
                 await rig.ended(player);
                 out.unhandled = unhandled;
                 return out;",
            )
            .await;
        let words = "'gone.wav' is not where it was; put it back, or add it from its new place";
        assert_eq!(told["alone"], json!([words]));
        assert_eq!(told["followed"], json!([[words], true]));
        assert_eq!(told["switched"], json!([[words], true, true, true]));
        assert_eq!(told["list"], json!([[words], true]));
        assert_eq!(told["unhandled"], 0);
        stage.end("404").await;
    });
}

#[test]
fn what_is_kept_in_memory_is_bounded() {
    let folder = Folder::new();
    let file = folder.path("long.wav");
    made(&file, "0.1*sin(2*PI*300*t)", 48_000, 120.0);
    let app = heard(&[("Long", &file)]);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let told = stage
            .flow(
                "const usual = (await rig.player()).memory.limitBytes;
                 const limit = 3 << 20;
                 const player = await rig.player({ cacheBytes: limit });
                 let most = 0;
                 let heard = 0;
                 player.play({ recording: rig.id.Long, startMs: 0 });
                 for (let at = 0; at < 110000; at += 4000) {
                   player.seek(at);
                   await rig.until(() => !player.state.waiting && player.state.ms >= at);
                   await rig.sleep(60);
                   most = Math.max(most, player.memory.bytes);
                   heard += 1;
                 }
                 player.stop();
                 return { limit, most, told: player.memory.limitBytes, heard, usual,
                     troubles: rig.told.troubles };",
            )
            .await;
        assert_eq!(told["troubles"], json!([]));
        assert_eq!(told["heard"], 28, "everywhere in more than it may keep");
        let (most, limit) = (told["most"].as_u64(), told["limit"].as_u64());
        assert!(
            most <= limit && most > Some(2 << 20),
            "{most:?} of {limit:?}"
        );
        assert_eq!(
            (&told["told"], &told["usual"]),
            (&told["limit"], &(64 << 20).into())
        );
        stage.end("").await;
    });
}

#[test]
fn sound_begins_with_a_click_only() {
    let folder = Folder::new();
    let file = folder.path("tone.wav");
    made(&file, "0.1*sin(2*PI*300*t)", 48_000, 3.0);
    let app = heard(&[("Tone", &file)]);
    in_browser(async |browser| {
        // Under the page's own policy, as it is for a person.
        browser.open(&app.url).await;
        let script = |id: &str| {
            format!(
                "window.said = []; (async () => {{
                   const {{ Player }} = await import('/page/sound/player.js');
                   window.player = new Player({{
                     onTrouble: (text) => window.said.push(text),
                     tap: (context, node) => {{
                       window.meter = context.createAnalyser();
                       node.connect(window.meter);
                     }},
                   }});
                   window.start = () => window.player.play({{ recording: '{id}', startMs: 500 }});
                   window.start();
                   addEventListener('click', () => window.start());
                 }})(); return 1"
            )
        };
        let detail = app.get("/events").json();
        let event = detail["events"][0]["id"].as_str().expect("an id");
        let id = app.only_recording(event)["id"]
            .as_str()
            .expect("an id")
            .to_owned();
        browser.run(&script(&id)).await;
        let said = browser
            .wait("a word about it", "return window.said[0]")
            .await;
        assert_eq!(
            said,
            "The browser lets sound begin only after a click or a key."
        );
        browser.click("#query").await;
        let sounds = browser
            .wait(
                "sound",
                "const wave = new Float32Array(1024); window.meter.getFloatTimeDomainData(wave);
                 return player.state.playing && wave.some((sample) => Math.abs(sample) > 0.05)
                     ? player.state.ms : null",
            )
            .await;
        assert!(sounds.as_f64() >= Some(500.0), "{sounds}");
        let complaints = browser.end().await;
        // It says the same itself.
        let odd = complaints
            .iter()
            .filter(|told| !told.contains("AudioContext was not allowed"));
        assert_eq!(odd.collect::<Vec<_>>(), [""; 0], "the browser complained");
    });
}

/// Anything in any order: nothing breaks, nothing is too loud, and what comes after is
/// heard as it is.
#[test]
fn no_order_of_keys_does_harm() {
    let folder = Folder::new();
    let (one, two) = (folder.path("one.wav"), folder.path("two.wav"));
    talk(&one, "volume=6dB");
    talk(&two, "atrim=0.5,asetpts=PTS-STARTPTS,lowpass=f=7000");
    let app = heard(&[("One", &one), ("Two", &two)]);
    let sound = by_ffmpeg(&one);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let (taken, told) = stage
            .recorded(
                "const odd = [];
                 addEventListener('unhandledrejection', (event) => odd.push(String(event.reason)));
                 addEventListener('error', (event) => odd.push(event.message));
                 let seed = 29;
                 const random = () => (seed = (seed * 48271) % 2147483647) / 2147483647;
                 const any = (list) => list[Math.floor(random() * list.length)];
                 const all = [rig.id.One, rig.id.Two];
                 const player = await rig.player({ best: () => any([...all, null, 'nobody']) });
                 const at = () => random() * 16000 - 500;
                 const spot = () => {
                   const start = Math.max(0, at());
                   return { recording: any([...all, 'nobody']), fileStartMs: start,
                       fileEndMs: start + random() * 700 };
                 };
                 const keys = [
                   () => player.seek(at()), () => player.switchTo(any(all)),
                   () => player.nextSource(), () => player.previousSource(),
                   () => player.setSpeed(any([0.5, 0.75, 1, 1.5, 2])),
                   () => player.setMatch(random() < 0.5), () => player.setLoop(random() < 0.5),
                   () => player.toggle(), () => player.stop(), () => player.follow(),
                   () => player.play({ line: 0, startMs: at(), recording: any([null, ...all]) }),
                   () => { const start = at();
                     player.play({ startMs: start, endMs: start + random() * 800, loop: random() < 0.5 }); },
                   () => player.playList([spot(), spot(), spot()]),
                   () => player.nextSpot(), () => player.previousSpot(),
                   () => player.setTimeline(rig.timeline),
                 ];
                 for (let n = 0; n < 250; n += 1) {
                   any(keys)();
                   await rig.sleep(random() < 0.5 ? 0 : random() * 70);
                   if (!Number.isFinite(player.state.ms)) odd.push('nowhere');
                 }
                 player.setLoop(false);
                 player.setMatch(false);
                 player.setSpeed(1);
                 player.play({ recording: rig.id.One, startMs: 3000, endMs: 3600 });
                 await rig.ended(player);
                 return { taken: rig.taken(), odd };",
            )
            .await;
        assert_eq!(told["odd"], json!([]));
        assert!(taken.samples.iter().all(|sample| sample.abs() <= 1.0));
        let (_, last) = taken.sound();
        let (at, like) = taken.find(&sound[150_000..159_600], last - 24_000, last - 21_000);
        let first = at - 6_000;
        let got = &taken.samples[first + 240..first + 28_800];
        let beside = got.iter().zip(&sound[144_240..172_800]);
        let differ = beside.filter(|(got, wanted)| got != wanted).count();
        assert_eq!(
            differ,
            0,
            "of 28,560; alike {like}, {} before the end",
            last - first
        );
        stage.end("nobody").await;
    });
}

/// Follows the best, picks, pauses, seeks, ends: on two recorders that lie on one clock.
pub async fn keys_do_what_they_say(stage: &Stage, landing: &Landing) {
    let length = landing
        .app
        .get(&format!("/events/{}/clock", landing.event))
        .json()["length_ms"]
        .clone();
    let told = stage
        .flow(&format!(
            "const worn = rig.id['Corin, lapel'];
             const camera = rig.id.Camera;
             const player = await rig.player({{ best: (line, ms) => (ms < 3000 ? camera : worn) }});
             const out = {{}};
             player.play({{ line: 0, startMs: 2000, key: 'k', title: 'at the landing' }});
             await rig.until(() => player.state.ms > 2300);
             const first = player.state;
             out.best = [first.recording === camera, first.follows, first.key, first.title, first.sources.length];
             await rig.until(() => player.state.ms > 3400);
             out.followed = [player.state.recording === worn, player.state.follows];
             player.switchTo(camera);
             await rig.until(() => player.state.recording === camera);
             out.picked = player.state.follows;
             player.pause();
             const paused = player.state;
             await rig.sleep(300);
             out.paused = [paused.paused, player.state.ms - paused.ms];
             player.nextSource();
             out.other = player.state.recording === worn;
             player.previousSource();
             player.resume();
             await rig.until(() => player.state.playing && player.state.ms > paused.ms + 200);
             out.resumed = [player.state.recording === camera, player.state.ms - paused.ms < 400];
             player.follow();
             player.seek(5000);
             await rig.until(() => player.state.ms >= 5000 && player.state.ms < 5600);
             out.sought = player.state.playing;
             // To the very end, and no further.
             player.seek({length} - 600);
             await rig.until(() => !player.state.playing);
             out.end = [player.state.ms - {length}, player.state.key];
             player.toggle();
             await rig.until(() => player.state.playing && !player.state.waiting);
             player.setSpeed(7);
             out.speed = player.state.speed;
             player.stop();
             player.setSpeed(1);
             out.outside = player.switchTo(camera);
             out.troubles = rig.told.troubles;
             return out;"
        ))
        .await;
    assert_eq!(told["best"], json!([true, true, "k", "at the landing", 2]));
    assert_eq!(told["followed"], json!([true, true]));
    assert_eq!(
        (&told["picked"], &told["paused"]),
        (&false.into(), &json!([true, 0]))
    );
    assert_eq!(
        (&told["other"], &told["resumed"]),
        (&true.into(), &json!([true, true]))
    );
    assert_eq!(told["sought"], true);
    let beyond = told["end"][0].as_f64().expect("ms");
    assert!(
        beyond.abs() < 60.0,
        "it ended {beyond} ms beyond the last sound"
    );
    assert_eq!(
        (&told["end"][1], &told["speed"]),
        (&serde_json::Value::Null, &2.into())
    );
    assert_eq!(
        (&told["outside"], &told["troubles"]),
        (&false.into(), &json!([]))
    );
}
