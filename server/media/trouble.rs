//! What was wrong with the packets of a file, counted while they are read and
//! said once, however often it happened.

/// Problems met in one pass over a file.
#[derive(Debug, Default)]
pub(super) struct Trouble {
    /// Packets the decoder refused.
    pub undecodable: u64,
    /// Places where the container's reader found no packet.
    pub unreadable: u64,
    /// Packets that claim to play at a time nobody believes.
    pub disbelieved: u64,
    /// The file ends inside a packet.
    pub cut: bool,
    /// Another stream starts where this one ends.
    pub chained: bool,
    /// So much was unreadable that reading ended.
    pub given_up: bool,
    holes: u64,
    /// Of all holes together.
    missing_ms: f64,
}

impl Trouble {
    /// `frames` at `rate_hz` are missing between two packets.
    pub fn hole(&mut self, frames: i64, rate_hz: u32) {
        self.holes += 1;
        self.missing_ms += frames as f64 * 1000.0 / f64::from(rate_hz.max(1));
    }

    /// A sentence for each kind of problem met.
    pub fn words(&self) -> Vec<String> {
        let counted = [
            (
                self.undecodable,
                "packets could not be decoded; silence keeps their place",
            ),
            (
                self.unreadable,
                "places could not be read; where packets carry no time (MP3, AAC) what follows \
                 may come early",
            ),
            (
                self.disbelieved,
                "packets claim to play long after the one before; not believed",
            ),
        ];
        let flags = [
            (self.cut, "the file ends inside a packet: it was cut short"),
            (
                self.chained,
                "a second recording follows in the same file; it was left out",
            ),
            (
                self.given_up,
                "too many unreadable packets in a row; the rest was left out",
            ),
        ];
        let holes = (self.holes > 0).then(|| {
            format!(
                "{:.0} ms of sound are missing in {} places; silence keeps them",
                self.missing_ms, self.holes
            )
        });
        counted
            .iter()
            .filter(|(count, _)| *count > 0)
            .map(|(count, what)| format!("{count} {what}"))
            .chain(holes)
            .chain(
                flags
                    .iter()
                    .filter(|(met, _)| *met)
                    .map(|(_, what)| (*what).to_owned()),
            )
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thousand_holes_are_one_sentence() {
        let mut trouble = Trouble::default();
        assert!(trouble.words().is_empty());
        for _ in 0..1_000 {
            trouble.hole(441, 44_100);
        }
        let words = trouble.words();
        assert_eq!(words.len(), 1, "{words:?}");
        assert!(words[0].starts_with("10000 ms") && words[0].contains("1000 places"));
        trouble.chained = true;
        trouble.undecodable = 3;
        assert_eq!(trouble.words().len(), 3);
    }
}
