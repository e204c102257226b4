//! Stretches again and again, and one after the other.

use super::stage::{RATE, Stage, alike, talk};
use crate::media::{Folder, by_ffmpeg};
use crate::page::in_browser;

/// What fades out under what follows, samples (5 ms).
const JOINT: usize = 240;

#[test]
fn samples_are_those_of_the_file_to_the_bit() {
    let folder = Folder::new();
    let file = folder.path("talk.wav");
    talk(&file, "anull");
    let app = super::stage::heard(&[("Lectern", &file)]);
    let sound = by_ffmpeg(&file);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        // Over the seam of two chunks, at four seconds.
        let (taken, told) = stage
            .recorded(
                "const player = await rig.player();
                 player.play({ recording: rig.id.Lectern, startMs: 2500, endMs: 6500, key: 'one' });
                 await rig.until(() => player.state.ms > 3000);
                 const during = player.state;
                 await rig.ended(player);
                 return { taken: rig.taken(), during, after: player.state, rate: rig.context.sampleRate };",
            )
            .await;
        assert_eq!(told["rate"], 48_000);
        let (first, last) = taken.sound();
        let start = 120_000;
        let (at, like) = taken.find(&sound[start + 4_800..start + 9_600], first, first + 9_600);
        assert!(like > 0.999, "{like}");
        let first = at - 4_800;
        // All but the fade-in, up to the very end.
        for n in JOINT..192_000 {
            assert_eq!(
                taken.samples[first + n],
                sound[start + n],
                "sample {n} of 192,000"
            );
        }
        assert!(
            last - first <= 192_000 + JOINT,
            "it ends {} samples late",
            last - first - 192_000
        );
        let during = &told["during"];
        assert_eq!(
            (&during["playing"], &during["key"], &during["gainDb"]),
            (&true.into(), &"one".into(), &0.into())
        );
        assert_eq!(
            (&during["startMs"], &during["endMs"]),
            (&2500.into(), &6500.into())
        );
        assert_eq!(
            (&told["after"]["playing"], &told["after"]["key"]),
            (&false.into(), &serde_json::Value::Null)
        );
        stage.end("").await;
    });
}

/// Plays a stretch over and over, and lets it end.
const LOOP: &str = "const player = await rig.player();
    player.play({ recording: rig.id.Lectern, startMs: 1000, endMs: 1700, loop: true });
    await rig.sleep(2500);
    const during = player.state;
    player.setLoop(false);
    await rig.ended(player);
    return { taken: rig.taken(), during, after: player.state };";

#[test]
fn a_loop_has_no_gap() {
    let folder = Folder::new();
    let file = folder.path("talk.wav");
    talk(&file, "anull");
    let app = super::stage::heard(&[("Lectern", &file)]);
    let sound = by_ffmpeg(&file);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let length = 33_600;
        let stretch = &sound[48_000..48_000 + length];
        // A page that gets no processor for a second can't lay down what comes next: once
        // in three it must.
        let mut tried = 0;
        let (taken, told, first, last) = loop {
            tried += 1;
            let (taken, told) = stage.recorded(LOOP).await;
            let (first, last) = taken.sound();
            let (at, _) = taken.find(&stretch[4_800..14_400], first, first + 9_600);
            let first = at - 4_800;
            let same = |pass: usize| {
                let got = &taken.samples[first + pass * length..][JOINT..length];
                got == &stretch[JOINT..]
            };
            let whole = (0..(last - first) / length).all(same);
            if whole || tried == 3 {
                assert!(whole, "every pass is the stretch, to the bit");
                break (taken, told, first, last);
            }
        };
        let times = (last - first) / length;
        assert!(times >= 3, "{times} times");
        // Under the beginning of each pass the end before fades out.
        for pass in 1..times {
            let joint = &taken.samples[first + pass * length..][..JOINT];
            for (n, got) in joint.iter().enumerate() {
                let share = n as f32 / JOINT as f32;
                let both = stretch[n] * share + sound[48_000 + length + n] * (1.0 - share);
                assert!((got - both).abs() < 1e-4, "{got} for {both} at {n}");
            }
        }
        assert!(
            last - first <= times * length + JOINT,
            "it ends with a pass"
        );
        assert_eq!(told["during"]["loop"], true);
        assert_eq!(
            (&told["after"]["loop"], &told["after"]["playing"]),
            (&false.into(), &false.into())
        );
        stage.end("").await;
    });
}

#[test]
fn quotes_of_a_list_follow_each_other_to_the_sample() {
    let folder = Folder::new();
    let (one, two) = (folder.path("one.wav"), folder.path("two.wav"));
    talk(&one, "anull");
    // Another sound, at another rate.
    talk(&two, "areverse,volume=-6dB,aresample=44100");
    let app = super::stage::heard(&[("One", &one), ("Two", &two)]);
    let back = folder.path("back.wav");
    let (from, to) = (
        two.to_str().expect("a name"),
        back.to_str().expect("a name"),
    );
    // swresample with a long filter.
    crate::media::ffmpeg(&[
        "-i",
        from,
        "-af",
        "aresample=48000:filter_size=64",
        "-c:a",
        "pcm_f32le",
        to,
    ]);
    let sounds = [by_ffmpeg(&one), by_ffmpeg(&back)];
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let (taken, told) = stage
            .recorded(
                "const player = await rig.player();
                 const spots = [];
                 player.playList([
                   { recording: rig.id.One, fileStartMs: 1000, fileEndMs: 1813, key: 'a' },
                   { recording: rig.id.Two, fileStartMs: 3700, fileEndMs: 4511, key: 'b' },
                   { recording: rig.id.One, fileStartMs: 300, fileEndMs: 1000, key: 'c' },
                 ], { onSpot: (number, { key }) => spots.push([number, key, player.state.recording]) });
                 await rig.ended(player);
                 const played = rig.taken();
                 player.playList([
                   { recording: rig.id.One, fileStartMs: 1000, fileEndMs: 4000 },
                   { recording: rig.id.Two, fileStartMs: 1000, fileEndMs: 4000 },
                 ]);
                 await rig.sleep(300);
                 player.nextSpot();
                 await rig.sleep(300);
                 const next = player.state;
                 player.previousSpot();
                 await rig.sleep(300);
                 return { taken: played, spots, next, before: player.state, id: rig.id, troubles: rig.told.troubles };",
            )
            .await;
        assert_eq!(told["troubles"], serde_json::json!([]));
        let (first, last) = taken.sound();
        let spots = [(0, 1000, 1813), (1, 3700, 4511), (0, 300, 1000)];
        let (at, _) = taken.find(&sounds[0][52_800..62_400], first, first + 9_600);
        let mut begins = at - 4_800;
        let begun = begins;
        let mut ended: Option<(usize, usize)> = None;
        for (which, start, end) in spots {
            let (start, length) = (start * 48, (end - start) * 48);
            let wanted = &sounds[which][start + JOINT..start + length];
            let got = &taken.samples[begins + JOINT..begins + length];
            if which == 0 {
                assert_eq!(got, wanted, "to the bit");
            } else {
                let like = alike(got, wanted);
                println!("44.1 kHz beside swresample: {like:.8}");
                assert!(like > 0.999_99, "{like}");
                let (found, _) = taken.find(wanted, begins + JOINT - 50, begins + JOINT + 50);
                assert_eq!(found, begins + JOINT, "beside by samples");
            }
            // What comes after the end of one fades out under the beginning of the next.
            if let Some((before, end)) = ended {
                for n in 0..JOINT {
                    let share = n as f32 / JOINT as f32;
                    let both =
                        sounds[which][start + n] * share + sounds[before][end + n] * (1.0 - share);
                    let got = taken.samples[begins + n];
                    assert!((got - both).abs() < 2e-3, "{got} for {both} at {n}");
                }
            }
            ended = Some((which, start + length));
            begins += length;
        }
        assert!(last <= begins + JOINT);
        let (a, b) = (&told["id"]["One"], &told["id"]["Two"]);
        assert_eq!(
            told["spots"],
            serde_json::json!([[0, "a", a], [1, "b", b], [2, "c", a]])
        );
        assert_eq!(
            (&told["next"]["spot"], &told["next"]["recording"]),
            (&1.into(), b)
        );
        assert_eq!(
            (&told["before"]["spot"], &told["before"]["recording"]),
            (&0.into(), a)
        );
        println!("three quotes: {:.3} s", (begins - begun) as f64 / RATE);
        stage.end("").await;
    });
}
