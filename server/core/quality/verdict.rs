//! In a word: can it be used, and what would an editor say against it?

use serde::{Deserialize, Serialize};

use super::heard::Measures;

/// How well a recorder has a stretch of speech.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Nothing disturbs.
    Clean,
    /// Good enough for the film.
    Usable,
    /// Only if there is nothing else.
    Poor,
    /// The words can't be made out.
    Lost,
}

impl Verdict {
    /// Whether it counts as a source.
    #[must_use]
    pub fn is_usable(self) -> bool {
        matches!(self, Self::Clean | Self::Usable)
    }
}

impl std::fmt::Display for Verdict {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Clean => "clean",
            Self::Usable => "usable",
            Self::Poor => "poor",
            Self::Lost => "lost",
        })
    }
}

/// What is known of a recorder's copy of a stretch of speech.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Facts {
    /// Whether it is above the recorder's own noise.
    pub heard: bool,
    /// Level of the speech, dBFS.
    pub level_dbfs: f32,
    /// Speech over noise as the detector tells, dB.
    pub snr_db: f32,
    /// How long the room rings on, s; 0 where that can't be told.
    pub reverb_s: f32,
    /// Share of the speech that the detector found here, 0 to 1.
    pub covered: f32,
    /// Share of samples at flat tops as the detector tells, 0 to 1.
    pub clipped: f32,
    /// What was measured at the recording's own rate; `None` where an earlier version
    /// listened through it.
    pub measures: Option<Measures>,
    /// How clear it is beside the other copies; `None` where there is no other.
    pub clarity: Option<f32>,
}

/// From which figure on something is said, and what it makes of a copy.
///
/// The first four bound [`Facts::intelligibility`], which is fitted to STOI; the others
/// are judgement (common practice, no source).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VerdictParams {
    /// Clean from here on, usable, and poor; below that lost.
    pub clean: f32,
    /// See [`Self::clean`].
    pub usable: f32,
    /// See [`Self::clean`].
    pub poor: f32,
    /// Share of clipped samples that is heard, and that which spoils.
    pub clipped: (f32, f32),
    /// Hum less than so far below the voice is told, heard, and spoils, dB.
    pub hum_db: (f32, f32, f32),
    /// Rumble of more than so much over the voice is heard, and spoils, dB.
    pub rumble_db: (f32, f32),
    /// Jumps a second that are heard, and that spoil.
    pub bursts: (f32, f32),
    /// Share of time torn out that spoils; any is heard.
    pub silent: f32,
    /// Nothing above this is heard, Hz.
    pub narrow_hz: u32,
    /// Noise less than so far below the voice is heard, spoils, and buries it, dB.
    pub noise_db: (f32, f32, f32),
    /// What the detector found less of than this share is poor, where there is no other
    /// copy to compare it with.
    pub covered: f32,
    /// A room that rings on for longer is told, s.
    pub ringing_s: f32,
    /// A wave further off zero is told, dBFS.
    pub offset_dbfs: f32,
    /// Below this level the rounding of 16 bits comes near, dBFS.
    pub faint_dbfs: f32,
}

impl Default for VerdictParams {
    fn default() -> Self {
        Self {
            clean: 0.82,
            usable: 0.66,
            poor: 0.5,
            clipped: (0.001, 0.02),
            hum_db: (40.0, 26.0, 8.0),
            rumble_db: (-3.0, 9.0),
            bursts: (4.0, 15.0),
            silent: 0.05,
            narrow_hz: 4_000,
            noise_db: (20.0, 8.0, -5.0),
            covered: 0.5,
            ringing_s: 0.45,
            offset_dbfs: -30.0,
            faint_dbfs: -60.0,
        }
    }
}

impl Facts {
    /// Roughly the STOI that the copy would have against the dry voice, 0 to 1: linear,
    /// fitted on random events with faults put in (`cargo xtask bench sources`).
    #[must_use]
    pub fn intelligibility(&self) -> f32 {
        let snr = number(self.snr_db).clamp(-30.0, 20.0);
        let ring = self.ringing();
        let silent = self.measures.map_or(0.0, |m| m.silent);
        let found = match self.clarity {
            Some(clarity) => 0.383 + 0.623 * clarity + 0.002 * snr - 0.397 * ring - 0.459 * silent,
            None => 0.767 + 0.008 * snr - 0.643 * ring - 0.731 * silent,
        };
        found.clamp(0.0, 1.0)
    }

    /// How much longer the room rings than beside a close microphone, s; where it can't
    /// be told, noise hides it, and some is assumed.
    pub(crate) fn ringing(&self) -> f32 {
        const DRY_S: f32 = 0.2;
        const UNTOLD_S: f32 = 0.25;
        const TORN_S: f32 = 0.3;
        if self.measures.is_some_and(|m| m.silent > 0.02) {
            return TORN_S;
        }
        match self.reverb_s > 0.0 {
            true => (self.reverb_s - DRY_S).max(0.0),
            false => UNTOLD_S,
        }
    }

    /// Share of the samples that are cut off, at full scale or below.
    #[must_use]
    pub fn cut_off(&self) -> f32 {
        let at_own_rate = self.measures.map(|m| m.clipped + m.flat);
        at_own_rate
            .unwrap_or_else(|| number(self.clipped))
            .clamp(0.0, 1.0)
    }

    /// The verdict, and what speaks against the copy, the weightiest first.
    #[must_use]
    pub fn judged(&self, params: &VerdictParams) -> (Verdict, Vec<String>) {
        if !self.heard {
            return (
                Verdict::Lost,
                vec!["not above its own noise here".to_owned()],
            );
        }
        let whole = self.intelligibility();
        let mut verdict = match whole {
            whole if whole >= params.clean => Verdict::Clean,
            whole if whole >= params.usable => Verdict::Usable,
            whole if whole >= params.poor => Verdict::Poor,
            _ => Verdict::Lost,
        };
        verdict = verdict.max(self.noisy(params));
        let mut faults: Vec<(Verdict, String)> = self.faults(params);
        if let Some((worst, _)) = faults.iter().max_by_key(|(worst, _)| *worst) {
            verdict = verdict.max(*worst);
        }
        faults.sort_by_key(|(worst, _)| std::cmp::Reverse(*worst));
        let mut why: Vec<String> = faults.into_iter().map(|(_, why)| why).collect();
        why.extend(self.surroundings(params));
        (verdict, why)
    }

    /// What noise alone makes of the copy, and speech that only its loudest part is of.
    fn noisy(&self, params: &VerdictParams) -> Verdict {
        let (heard, spoils, buries) = params.noise_db;
        let snr = self.over_noise();
        if snr < buries {
            Verdict::Lost
        } else if snr < spoils || (self.clarity.is_none() && self.covered < params.covered) {
            Verdict::Poor
        } else if snr < heard {
            Verdict::Usable
        } else {
            Verdict::Clean
        }
    }

    /// The better of two ways to tell: each has its own weakness, the detector's in
    /// rooms, the other where there are no pauses.
    fn over_noise(&self) -> f32 {
        let at_own_rate = self.measures.and_then(|m| m.snr_db);
        let by_detector = if self.snr_db.is_finite() {
            self.snr_db
        } else {
            -30.0
        };
        at_own_rate.map_or(by_detector, |ratio| ratio.max(by_detector))
    }

    /// What an editor would call broken, and what it makes of the copy.
    fn faults(&self, params: &VerdictParams) -> Vec<(Verdict, String)> {
        let mut faults = Vec::new();
        let mut say = |told: bool, spoils: bool, why: String| {
            if told {
                faults.push((
                    if spoils {
                        Verdict::Poor
                    } else {
                        Verdict::Usable
                    },
                    why,
                ));
            }
        };
        let (heard, spoils) = params.clipped;
        let cut = self.cut_off();
        let percent = 100.0 * cut;
        say(
            cut >= heard,
            cut >= spoils,
            match percent >= 1.0 {
                true => format!("flat tops in {percent:.0} % of it"),
                false => format!("flat tops in {percent:.1} % of it"),
            },
        );
        let Some(m) = self.measures else {
            return faults;
        };
        if let Some((hz, below_db)) = m.hum {
            say(
                below_db < params.hum_db.1,
                below_db < params.hum_db.2,
                hums(hz, below_db),
            );
        }
        say(
            m.rumble_db > params.rumble_db.0,
            m.rumble_db > params.rumble_db.1,
            match m.rumble_db > 0.0 {
                true => format!("wind or rumble, {:.0} dB above the voice", m.rumble_db),
                false => "wind or rumble, as loud as the voice".to_owned(),
            },
        );
        say(
            m.bursts > params.bursts.0,
            m.bursts > params.bursts.1,
            format!("rustles and knocks, {:.0} a second", m.bursts),
        );
        say(
            m.dropouts > 0,
            m.silent > params.silent,
            match m.dropouts {
                1 => "drops out once".to_owned(),
                times => format!("drops out {times} times"),
            },
        );
        say(
            m.dropouts == 0 && m.silent > params.silent,
            true,
            format!("{:.0} % of it is digital silence", 100.0 * m.silent),
        );
        say(
            m.bandwidth_hz <= params.narrow_hz,
            false,
            "nothing above 4 kHz, as on a telephone".to_owned(),
        );
        faults
    }

    /// What lies around the voice.
    fn surroundings(&self, params: &VerdictParams) -> Vec<String> {
        let mut told = Vec::new();
        let snr = self.over_noise();
        let rise = self.measures.map_or(0.0, |m| m.noise_rise_db);
        if snr < 1.0 {
            told.push("as loud as its noise or below".to_owned());
        } else if snr < params.noise_db.0 && rise > 10.0 {
            told.push(format!(
                "music or a crowd under it, {snr:.0} dB below the voice"
            ));
        } else {
            told.push(format!("{snr:.0} dB above its noise"));
        }
        let (told_db, heard_db, _) = params.hum_db;
        if let Some((hz, below_db)) = self.measures.and_then(|m| m.hum)
            && (heard_db..told_db).contains(&below_db)
        {
            told.push(hums(hz, below_db));
        }
        if self.reverb_s >= params.ringing_s {
            told.push(format!(
                "far away: the room rings on ({:.1} s)",
                self.reverb_s
            ));
        }
        if self.covered < 0.7 {
            told.push(format!("has {:.0} % of it clearly", 100.0 * self.covered));
        }
        if self.level_dbfs < params.faint_dbfs {
            told.push(format!("very faint ({:.0} dBFS)", self.level_dbfs));
        }
        let offset = self.measures.and_then(|m| m.offset_dbfs);
        if let Some(offset) = offset.filter(|offset| *offset > params.offset_dbfs) {
            told.push(format!("the wave lies off zero ({offset:.0} dBFS)"));
        }
        told
    }
}

fn hums(hz: u32, below_db: f32) -> String {
    match below_db >= 0.0 {
        true => format!("hums at {hz} Hz, {below_db:.0} dB below the voice"),
        false => format!("hums at {hz} Hz, louder than the voice"),
    }
}

fn number(value: f32) -> f32 {
    if value.is_finite() { value } else { 0.0 }
}

#[cfg(test)]
mod tests;
