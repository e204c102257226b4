//! Edit decision lists.

use super::*;

#[test]
fn an_edit_decision_list_is_as_editors_know_it() {
    let want = "\
TITLE: Toasts, short
FCM: NON-DROP FRAME

001  LECT_002 A     C        01:00:01:00 01:00:02:00 01:00:00:00 01:00:01:00
* FROM CLIP NAME:  LECT 002.wav
* REEL LECT_002 IS Lectern: LECT 002.wav
* CHOSEN HEARING: clean
* NOTE: before the bell
* LOC: 01:00:00:00 GREEN   Ottilie: No way!
002  REEL     A     C        00:00:01:00 00:00:02:00 01:00:01:00 01:00:02:00
* FROM CLIP NAME:  船着き場.m4a
* REEL REEL IS Phone: 船着き場.m4a
* SOURCE TIMECODE COUNTS FROM 0: THE FILE HAS NO STAMP
* OFFLINE: THE FILE WAS NOT THERE WHEN THIS WAS WRITTEN
* CHOSEN HEARING: clean
* LOC: 01:00:01:00 GREEN   Rope, \"kettle\" & <bell>
";
    assert_eq!(text(&toasts(), CutFormat::Edl), want.replace('\n', "\r\n"));
}

#[test]
fn a_list_for_each_recorder_has_its_backups() {
    let cut = toasts();
    let laid = cut.laid().expect("it can be cut");
    let options = Options {
        per_source: true,
        word_markers: true,
        ..Options::of(&cut)
    };
    let lists = CutFormat::Edl.write(&laid, &options).expect("lists");
    let names: Vec<&str> = lists.iter().map(|list| &*list.name).collect();
    assert_eq!(
        names,
        [
            "Toasts_short_Lectern.edl",
            "Toasts_short_Corin_lapel.edl",
            "Toasts_short_Phone.edl"
        ]
    );
    let lapel = &lists[1].text;
    assert!(
        lapel.starts_with("TITLE: Toasts, short - Corin, lapel\r\n"),
        "{lapel}"
    );
    for line in [
        "001  LAV_A    AA    C        00:00:00:13 00:00:01:13 01:00:00:00 01:00:01:00",
        "002  LAV_A    AA    C        00:00:02:00 00:00:03:00 01:00:01:00 01:00:02:00",
        "* BACKUP 1: clean",
        "* RECORDER RAN 20.5 PPM FAST, NOT CORRECTED",
        "* LOC: 01:00:00:06 CYAN    way!",
    ] {
        assert!(lapel.contains(line), "{line} in {lapel}");
    }
}

#[test]
fn recorders_of_like_names_have_lists_of_their_own() {
    let mut cut = toasts();
    for (media, label) in cut.media.iter_mut().zip(["Desk", "desk!", "⛵"]) {
        media.label = label.into();
    }
    let laid = cut.laid().expect("it can be cut");
    let options = Options {
        per_source: true,
        ..Options::of(&cut)
    };
    let lists = CutFormat::Edl.write(&laid, &options).expect("lists");
    let names: Vec<&str> = lists.iter().map(|list| &*list.name).collect();
    assert_eq!(
        names,
        [
            "Toasts_short_Desk.edl",
            "Toasts_short_desk_2.edl",
            "Toasts_short_source.edl"
        ]
    );
}

#[test]
fn a_long_list_comes_in_parts() {
    let mut cut = toasts();
    cut.quotes = vec![cut.quotes[0].clone(); 2_000];
    let lists = files(&cut, CutFormat::Edl);
    let names: Vec<&str> = lists.iter().map(|list| &*list.name).collect();
    assert_eq!(
        names,
        [
            "Toasts_short_1_of_3.edl",
            "Toasts_short_2_of_3.edl",
            "Toasts_short_3_of_3.edl"
        ]
    );
    assert!(
        lists[2]
            .text
            .starts_with("TITLE: Toasts, short (3 of 3)\r\n")
    );
    let events = |text: &str| {
        text.lines()
            .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
            .count()
    };
    let counts: Vec<usize> = lists.iter().map(|list| events(&list.text)).collect();
    assert_eq!(counts, [999, 999, 2]);
    assert!(lists[2].text.contains(
        "\n001  LECT_002 A     C        01:00:01:00 01:00:02:00 01:33:18:00 01:33:19:00"
    ));
}
