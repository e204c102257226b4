//! Which numbers decide who spoke, and why these?

use super::worn::Stands;

/// Everything the decision can be told.
#[derive(Clone, Debug, PartialEq)]
pub struct VoiceParams {
    /// Log-odds that a wearer speaks where several worn microphones heard it: at 0 dB
    /// against the own level and no lead, for each dB of own level, for each dB of lead.
    /// By logistic regression over made-up events (seeds 51 to 54 of the bench).
    pub worn_several: [f32; 3],
    /// The same where one alone heard it: at its own level, and for each dB. Softer than
    /// the regression, since few stood close by.
    pub worn_alone: [f32; 2],
    /// Log-odds beyond which a stretch of 1.6 s is surely the wearer's, or surely not,
    /// and teaches.
    pub worn_sure: f32,
    /// What the log-odds of one step of 100 ms count: neighbouring ones say the same.
    pub worn_weight: f32,
    /// Likeness of a window of 1.6 s to a voice at which it is as likely that voice as
    /// any other.
    pub voice_even: f32,
    /// Log-odds for each unit of likeness above that.
    pub voice_slope: f32,
    /// Two groups of windows are one speaker's while they are at least so alike, on
    /// average over all pairs.
    pub cluster: f32,
    /// Likeness of two means from which they are one voice: where there are 3 s, and
    /// from 10 s of speech on, which tell more of a voice. What one recorder alone heard
    /// always has to be as alike as the latter: of several some are far away, and a
    /// voice heard from afar is less like itself.
    pub same: [f32; 2],
    /// An unnamed speaker has at least so much speech, ms.
    pub least_ms: f32,
    /// Log-odds of a change of speaker from one step to the next, inside speech.
    pub change: f32,
    /// The same in a pause.
    pub change_in_pause: f32,
    /// Log-odds of an unknown speaker before anything was heard, against each known.
    pub unknown: f32,
    /// A turn is at least so long, ms.
    pub turn_ms: i64,
    /// Certainty is the posterior's log-odds times this: steps are not independent.
    pub temper: f32,
}

impl Default for VoiceParams {
    fn default() -> Self {
        Self {
            worn_several: [2.6, 0.55, 0.4],
            worn_alone: [4.0, 0.6],
            worn_sure: 2.0,
            worn_weight: 0.3,
            voice_even: 0.66,
            voice_slope: 25.0,
            cluster: 0.66,
            same: [0.74, 0.85],
            least_ms: 2_000.0,
            change: -5.0,
            change_in_pause: -3.0,
            unknown: -1.0,
            turn_ms: 300,
            temper: 0.3,
        }
    }
}

/// Farther out, dB say nothing more.
const LEAST_OWN_DB: f32 = -25.0;
const MOST_OWN_DB: f32 = 3.0;
const LEAST_LEAD_DB: f32 = -12.0;
/// Who leads by more may as well be somebody without a microphone, close by.
const MOST_LEAD_DB: f32 = 4.0;
/// Nothing heard by a microphone is surer than this.
const MOST_LOG_ODDS: f32 = 6.0;
/// Between these a voice becomes well known, ms of speech.
const SHORT_MS: f32 = 3_000.0;
const LONG_MS: f32 = 10_000.0;
/// Nor is one window's voice.
const MOST_VOICE: f32 = 5.0;

impl VoiceParams {
    /// Log-odds that a wearer speaks rather than somebody without a microphone, by what
    /// the microphones say in one step.
    pub(super) fn worn_log_odds(&self, stands: &Stands) -> f32 {
        let own = stands.own_db.clamp(LEAST_OWN_DB, MOST_OWN_DB);
        let odds = match stands.leads_db {
            Some(leads) => {
                let [even, for_own, for_lead] = self.worn_several;
                let leads = leads.clamp(LEAST_LEAD_DB, MOST_LEAD_DB);
                even + for_own * own + for_lead * leads
            }
            None => {
                let [even, for_own] = self.worn_alone;
                even + for_own * own
            }
        };
        odds.clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS)
    }

    /// Likeness from which so much speech is one voice with other speech, where
    /// `several` recorders or one heard it.
    pub(super) fn same_from(&self, ms: f32, several: bool) -> f32 {
        let [short, long] = self.same;
        let share = ((ms - SHORT_MS) / (LONG_MS - SHORT_MS)).clamp(0.0, 1.0);
        if several {
            short + share * (long - short)
        } else {
            long
        }
    }

    /// Log-odds that a window of 1.6 s is a voice it is so like.
    pub(super) fn voice_log_odds(&self, alike: f32) -> f32 {
        let odds = self.voice_slope * (alike - self.voice_even);
        odds.clamp(-MOST_VOICE, MOST_VOICE)
    }
}
