//! Every fault is said, and weighs what it should.

use super::*;

const SOUND: Measures = Measures {
    voice_dbfs: -24.0,
    snr_db: Some(34.0),
    noise_rise_db: 0.0,
    clipped: 0.0,
    flat: 0.0,
    hum: None,
    rumble_db: -25.0,
    bursts: 0.0,
    silent: 0.0,
    dropouts: 0,
    bandwidth_hz: 20_000,
    offset_dbfs: Some(-80.0),
    modulation: None,
};
const GOOD: Facts = Facts {
    heard: true,
    level_dbfs: -24.0,
    snr_db: 25.0,
    reverb_s: 0.18,
    covered: 1.0,
    clipped: 0.0,
    measures: Some(SOUND),
    clarity: Some(0.95),
};

fn judged(facts: Facts) -> (Verdict, String) {
    let (verdict, why) = facts.judged(&VerdictParams::default());
    (verdict, why.join("; "))
}

fn with(change: impl FnOnce(&mut Measures)) -> (Verdict, String) {
    let mut measures = SOUND;
    change(&mut measures);
    judged(Facts {
        measures: Some(measures),
        ..GOOD
    })
}

#[test]
fn what_is_good_is_clean() {
    let plain = (Verdict::Clean, "34 dB above its noise".to_owned());
    assert_eq!(judged(GOOD), plain);
    // Also alone, and as an earlier version measured it.
    let alone = Facts {
        clarity: None,
        measures: None,
        ..GOOD
    };
    assert_eq!(
        judged(alone),
        (Verdict::Clean, "25 dB above its noise".into())
    );
    let noisy = Facts {
        snr_db: 12.0,
        ..alone
    };
    assert_eq!(judged(noisy).0, Verdict::Usable);
    let missed = Facts {
        covered: 0.2,
        ..alone
    };
    assert_eq!(judged(missed).0, Verdict::Poor);
}

#[test]
fn each_fault_is_said_and_weighs() {
    let usable = |found: (Verdict, String), says: &str| {
        assert_eq!(
            found,
            (Verdict::Usable, format!("{says}; 34 dB above its noise"))
        );
    };
    let poor = |found: (Verdict, String), says: &str| {
        assert_eq!(
            found,
            (Verdict::Poor, format!("{says}; 34 dB above its noise"))
        );
    };
    usable(with(|m| m.clipped = 0.004), "flat tops in 0.4 % of it");
    poor(with(|m| m.flat = 0.05), "flat tops in 5 % of it");
    usable(
        with(|m| m.hum = Some((50, 18.2))),
        "hums at 50 Hz, 18 dB below the voice",
    );
    poor(
        with(|m| m.hum = Some((60, -2.0))),
        "hums at 60 Hz, louder than the voice",
    );
    let faint = with(|m| m.hum = Some((50, 33.6)));
    let says = "34 dB above its noise; hums at 50 Hz, 34 dB below the voice";
    assert_eq!(faint, (Verdict::Clean, says.to_owned()));
    usable(
        with(|m| m.rumble_db = -1.0),
        "wind or rumble, as loud as the voice",
    );
    poor(
        with(|m| m.rumble_db = 12.0),
        "wind or rumble, 12 dB above the voice",
    );
    usable(with(|m| m.bursts = 6.0), "rustles and knocks, 6 a second");
    poor(
        with(|m| (m.dropouts, m.silent) = (3, 0.06)),
        "drops out 3 times",
    );
    usable(
        with(|m| m.bandwidth_hz = 3_400),
        "nothing above 4 kHz, as on a telephone",
    );
}

#[test]
fn far_and_noisy_is_worse_the_more() {
    let far = |clarity, snr_db, reverb_s| {
        judged(Facts {
            clarity: Some(clarity),
            snr_db,
            reverb_s,
            measures: Some(Measures {
                snr_db: Some(snr_db),
                ..SOUND
            }),
            ..GOOD
        })
    };
    let (verdict, why) = far(0.75, 18.0, 0.5);
    assert_eq!((verdict, why.contains("far away")), (Verdict::Usable, true));
    assert_eq!(far(0.55, 9.0, 0.55).0, Verdict::Poor);
    assert_eq!(far(0.3, 0.0, 0.0).0, Verdict::Lost);
    let unheard = judged(Facts {
        heard: false,
        ..GOOD
    });
    assert_eq!(
        unheard,
        (Verdict::Lost, "not above its own noise here".into())
    );
}

#[test]
fn what_is_no_number_makes_nothing_better() {
    let odd = Facts {
        snr_db: f32::NAN,
        clipped: f32::INFINITY,
        measures: None,
        clarity: None,
        ..GOOD
    };
    assert!(judged(odd).0 >= Verdict::Usable);
}
