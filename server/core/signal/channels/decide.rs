//! From measures of channels to recordings, with a sentence for each step.

use super::{ChannelFinding, ChannelPick, ChannelProbe, DEAD_DBFS};

/// A copy more than this much quieter is only crosstalk, in dB.
const CROSSTALK_DB: f32 = 30.0;
/// Correlation at no lag from which two channels are the same.
const SAME: f32 = 0.99;
/// Greatest correlation within the lag from which they are a pair.
const PAIR: f32 = 0.3;
/// Copies closer in level than this are called equal, in dB.
const EQUAL_DB: f32 = 1.0;

/// The steps from measures to picks, with a sentence for each.
pub(super) struct Decision<'p> {
    probe: &'p ChannelProbe,
    live: Vec<usize>,
    why: Vec<String>,
}

impl<'p> Decision<'p> {
    pub fn new(probe: &'p ChannelProbe) -> Self {
        Self {
            probe,
            live: (0..probe.channels).collect(),
            why: Vec::new(),
        }
    }

    pub fn run(mut self) -> ChannelFinding {
        self.drop_dead();
        if self.live.is_empty() {
            return ChannelFinding {
                picks: vec![ChannelPick::Mix],
                explanation: "no channel carries sound: mixed".into(),
            };
        }
        self.drop_copies();
        let picks = self.group();
        ChannelFinding {
            picks,
            explanation: self.why.join("; "),
        }
    }

    fn drop_dead(&mut self) {
        let probe = self.probe;
        let mut dead = Vec::new();
        for channel in 0..probe.channels {
            let loudest = probe.loudest(channel);
            if loudest < DEAD_DBFS {
                dead.push(channel);
                self.why.push(format!(
                    "channel {} is dead (never above {loudest:.0} dBFS)",
                    channel + 1
                ));
            }
        }
        self.live.retain(|channel| !dead.contains(channel));
    }

    /// Of channels that hold the same sound one is kept: the louder, unless it
    /// clips and the quieter does not.
    fn drop_copies(&mut self) {
        let mut kept: Vec<usize> = Vec::new();
        for channel in std::mem::take(&mut self.live) {
            let twin = kept
                .iter()
                .position(|other| self.probe.relation(*other, channel).at_no_lag.abs() >= SAME);
            match twin {
                None => kept.push(channel),
                Some(place) => kept[place] = self.better_copy(kept[place], channel),
            }
        }
        self.live = kept;
    }

    fn better_copy(&mut self, first: usize, second: usize) -> usize {
        let relation = self.probe.relation(first, second);
        let louder_db = relation.louder_db;
        let (loud, quiet) = if louder_db >= -EQUAL_DB {
            (first, second)
        } else {
            (second, first)
        };
        let turned = if relation.at_no_lag < 0.0 {
            ", turned over"
        } else {
            ""
        };
        let (l, q) = (loud + 1, quiet + 1);
        if louder_db.abs() > CROSSTALK_DB {
            self.why.push(format!(
                "channel {q} only hears channel {l} leak into it, {:.0} dB down: channel {l} is used",
                louder_db.abs()
            ));
            return loud;
        }
        if louder_db.abs() <= EQUAL_DB {
            self.why.push(format!(
                "channels {l} and {q} hold the same sound{turned}: channel {l} is used"
            ));
            return loud;
        }
        let same = format!(
            "channel {q} is channel {l}, {:.0} dB quieter{turned}",
            louder_db.abs()
        );
        if self.probe.clips[loud].clipped() && !self.probe.clips[quiet].clipped() {
            self.why
                .push(format!("{same}; channel {l} clips, so channel {q} is used"));
            quiet
        } else {
            self.why.push(format!(
                "{same}; channel {l} does not clip where it was looked at, so it is used \
                 (split keeps both)"
            ));
            loud
        }
    }

    /// Related channels make one recording, strangers one each.
    fn group(&mut self) -> Vec<ChannelPick> {
        let groups = self.groups();
        let whole = groups.len() == 1 && self.live.len() == self.probe.channels;
        let mut picks = Vec::new();
        for group in &groups {
            let names = list(group);
            match group.as_slice() {
                [one] => {
                    if self.live.len() > 1 {
                        let most = self.closest(*one);
                        self.why.push(format!(
                            "channel {names} stands alone (correlation {most:.2})"
                        ));
                    } else if self.probe.channels > 1 && self.why.len() + 1 == self.probe.channels {
                        self.why.push(format!("channel {names} is used"));
                    }
                    picks.push(ChannelPick::Only(number(*one)));
                }
                [first, second, ..] => {
                    let relation = self.probe.relation(*first, *second);
                    let what = if group.len() == 2 {
                        "a stereo pair"
                    } else {
                        "one set of microphones"
                    };
                    let opening = format!(
                        "channels {names} are {what} (correlation {:.2})",
                        relation.greatest
                    );
                    if whole && relation.greatest > 0.0 {
                        self.why.push(format!("{opening}: mixed"));
                        picks.push(ChannelPick::Mix);
                    } else {
                        let best = self.loudest_of(group);
                        let n = number(best);
                        self.why.push(format!(
                            "{opening}: channel {n}, the loudest of them, is used"
                        ));
                        picks.push(ChannelPick::Only(n));
                    }
                }
                [] => {}
            }
        }
        picks
    }

    fn groups(&self) -> Vec<Vec<usize>> {
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for channel in &self.live {
            let related = |group: &Vec<usize>| {
                group
                    .iter()
                    .any(|other| self.probe.relation(*other, *channel).greatest.abs() >= PAIR)
            };
            let (mut joined, apart): (Vec<_>, Vec<_>) = groups.into_iter().partition(related);
            joined.push(vec![*channel]);
            groups = apart;
            groups.push(joined.concat());
        }
        groups.sort();
        groups
    }

    fn closest(&self, channel: usize) -> f32 {
        let to = |other: &usize| {
            self.probe
                .relation(channel.min(*other), channel.max(*other))
                .greatest
                .abs()
        };
        self.live
            .iter()
            .filter(|other| **other != channel)
            .map(to)
            .fold(0.0, f32::max)
    }

    fn loudest_of(&self, group: &[usize]) -> usize {
        let louder = |a: &&usize, b: &&usize| {
            // The first wins a tie, so that the answer does not hang on chance.
            self.probe
                .loudest(**a)
                .total_cmp(&self.probe.loudest(**b))
                .then(b.cmp(a))
        };
        group.iter().max_by(louder).copied().unwrap_or(0)
    }
}

fn number(channel: usize) -> u16 {
    u16::try_from(channel + 1).unwrap_or(u16::MAX)
}

fn list(group: &[usize]) -> String {
    let names: Vec<String> = group
        .iter()
        .map(|channel| (channel + 1).to_string())
        .collect();
    match names.as_slice() {
        [rest @ .., last] if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.concat(),
    }
}
