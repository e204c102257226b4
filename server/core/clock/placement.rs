//! The only way from file time to event time and back.

use serde::{Deserialize, Serialize};

use crate::units::{EventMs, FileMs};

/// How a placement was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// By sound that another recording shares.
    Sound,
    /// By its samples alone: it is a piece of the same take as one that is placed, or
    /// another channel or a copy of the same file; or the event has nothing else, and
    /// its own sample count is the event clock.
    Joined,
    /// By the difference of two stamps of the same source.
    Stamp,
    /// By a person.
    ByHand,
    /// Not: its event time is unknown.
    Unplaced,
}

/// A stretch of a recording whose clock runs evenly, up to the next piece.
///
/// `file = from_ms + (event − event_ms)·(1 + ppm/10⁶)`
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Piece {
    /// Where it starts in the file, ms.
    pub from_ms: f64,
    /// The event time of that instant, ms.
    pub event_ms: f64,
    /// How much faster the recorder's clock runs than the event clock, ppm.
    pub ppm: f64,
}

impl Piece {
    fn event(&self, file_ms: f64) -> f64 {
        self.event_ms + (file_ms - self.from_ms) / (1.0 + self.ppm / 1e6)
    }

    fn file(&self, event_ms: f64) -> f64 {
        self.from_ms + (event_ms - self.event_ms) * (1.0 + self.ppm / 1e6)
    }
}

/// Where a recording lies on a clock. One piece, unless the recorder stopped and
/// went on inside the file: then each further piece begins where it went on.
///
/// Event time includes the sound's way to the microphone. It is written as the list of
/// its pieces; what [`Self::of_pieces`] refuses can't be read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<Piece>", into = "Vec<Piece>")]
pub struct Placement {
    pieces: Vec<Piece>,
}

impl TryFrom<Vec<Piece>> for Placement {
    type Error = &'static str;

    fn try_from(pieces: Vec<Piece>) -> Result<Self, Self::Error> {
        Self::of_pieces(pieces).ok_or("the pieces of a placement are in order and don't go back")
    }
}

impl From<Placement> for Vec<Piece> {
    fn from(placement: Placement) -> Self {
        placement.pieces
    }
}

impl Placement {
    /// A recording that starts at `start_ms` and runs `ppm` fast throughout.
    #[must_use]
    pub fn even(start_ms: f64, ppm: f64) -> Self {
        Self {
            pieces: vec![Piece {
                from_ms: 0.0,
                event_ms: start_ms,
                ppm,
            }],
        }
    }

    /// Pieces in order of file time, which neither overlap nor go back on the
    /// event clock; `None` if they do, or if there is none, or a number in them is
    /// not finite or no rate of a clock (±50 %).
    #[must_use]
    pub fn of_pieces(pieces: Vec<Piece>) -> Option<Self> {
        let sane =
            |p: &Piece| p.from_ms.is_finite() && p.event_ms.is_finite() && p.ppm.abs() <= 500_000.0;
        let ordered = pieces.windows(2).all(|two| {
            two[0].from_ms < two[1].from_ms
                && two[0].event(two[1].from_ms) <= two[1].event_ms + 1e-6
        });
        (!pieces.is_empty() && pieces.iter().all(sane) && ordered).then_some(Self { pieces })
    }

    /// The pieces, in order; at least one.
    #[must_use]
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// The event time of the first sample, ms.
    #[must_use]
    pub fn start_ms(&self) -> f64 {
        self.event_at(0.0)
    }

    /// The rate of the longest-lasting statement there is about the clock: that of
    /// the first piece, ppm.
    #[must_use]
    pub fn ppm(&self) -> f64 {
        self.pieces[0].ppm
    }

    /// The event time of a file time, both ms with fractions.
    #[must_use]
    pub fn event_at(&self, file_ms: f64) -> f64 {
        let after = self.pieces[1..]
            .iter()
            .take_while(|piece| piece.from_ms <= file_ms)
            .count();
        self.pieces[after].event(file_ms)
    }

    /// The file time of an event time, both ms with fractions; may lie before the
    /// first or behind the last sample. An instant at which the recorder had
    /// stopped maps to where it went on.
    #[must_use]
    pub fn file_at(&self, event_ms: f64) -> f64 {
        let after = self.pieces[1..]
            .iter()
            .take_while(|piece| piece.event_ms <= event_ms)
            .count();
        let file = self.pieces[after].file(event_ms);
        match self.pieces.get(after + 1) {
            Some(next) => file.min(next.from_ms),
            None => file,
        }
    }

    /// The event time of a file time, to the nearest ms.
    #[must_use]
    pub fn to_event(&self, at: FileMs) -> EventMs {
        EventMs(self.event_at(at.0 as f64).round() as i64)
    }

    /// The file time of an event time, to the nearest ms; see [`Self::file_at`].
    #[must_use]
    pub fn to_file(&self, at: EventMs) -> FileMs {
        FileMs(self.file_at(at.0 as f64).round() as i64)
    }

    /// The same recording with everything `by_ms` later on the event clock.
    #[must_use]
    pub fn later(&self, by_ms: f64) -> Self {
        let pieces = self.pieces.iter().map(|piece| Piece {
            event_ms: piece.event_ms + by_ms,
            ..*piece
        });
        Self {
            pieces: pieces.collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_even_clock_maps_there_and_back() {
        let placement = Placement::even(-1_500.0, 50.0);
        assert_eq!(placement.to_event(FileMs(0)), EventMs(-1_500));
        // An hour of event is 180 ms longer in a file that runs 50 ppm fast.
        assert_eq!(
            placement.to_file(EventMs(3_600_000 - 1_500)),
            FileMs(3_600_180)
        );
        assert_eq!(placement.later(1_500.0).to_event(FileMs(0)), EventMs(0));
    }

    #[test]
    fn a_stop_inside_a_file_is_a_gap_of_the_event() {
        let piece = |from_ms, event_ms| Piece {
            from_ms,
            event_ms,
            ppm: 0.0,
        };
        let placement =
            Placement::of_pieces(vec![piece(0.0, 100.0), piece(1_000.0, 6_100.0)]).unwrap();
        assert_eq!(placement.to_event(FileMs(999)), EventMs(1_099));
        assert_eq!(placement.to_event(FileMs(1_000)), EventMs(6_100));
        // While it stood still.
        assert_eq!(placement.to_file(EventMs(3_000)), FileMs(1_000));
        assert_eq!(placement.to_file(EventMs(7_000)), FileMs(1_900));
    }

    #[test]
    fn pieces_that_go_back_are_refused() {
        let piece = |from_ms, event_ms| Piece {
            from_ms,
            event_ms,
            ppm: 0.0,
        };
        assert_eq!(Placement::of_pieces(Vec::new()), None);
        for wrong in [
            vec![piece(0.0, 0.0), piece(1_000.0, 500.0)],
            vec![piece(0.0, 0.0), piece(0.0, 10.0)],
            vec![piece(0.0, f64::NAN)],
        ] {
            assert_eq!(Placement::of_pieces(wrong), None);
        }
    }

    #[test]
    fn what_is_no_placement_cannot_be_read() {
        use serde::de::value::{Error, MapDeserializer, SeqDeserializer};

        let read = |pieces: &[[f64; 3]]| {
            let names = ["from_ms", "event_ms", "ppm"];
            let piece = |one: &[f64; 3]| MapDeserializer::new(names.into_iter().zip(*one));
            let pieces: Vec<MapDeserializer<_, Error>> = pieces.iter().map(piece).collect();
            Placement::deserialize(SeqDeserializer::new(pieces.into_iter())).ok()
        };
        let stopped = read(&[[0.0, 5.5, -2.0], [100.0, 900.0, -2.0]]).unwrap();
        assert_eq!(stopped.pieces().len(), 2);
        for wrong in [
            &[][..],
            &[[100.0, 0.0, 0.0], [0.0, 900.0, 0.0]],
            &[[0.0, 0.0, 0.0], [100.0, 50.0, 0.0]],
            &[[0.0, f64::NAN, 0.0]],
            &[[0.0, 0.0, 600_000.0]],
        ] {
            assert_eq!(read(wrong), None, "{wrong:?}");
        }
    }
}
