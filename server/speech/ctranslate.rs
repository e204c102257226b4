//! Where in this CTranslate2 file is each variable?
//!
//! The layout of format version 6, little endian: version, name of the
//! specification, its revision, number of variables; for each its name, rank,
//! dimensions (outermost first), type, bytes and data; then aliases. Names are
//! two bytes of length, then that many bytes, the last a zero.
//!
//! Only places are remembered, never data.

use std::collections::BTreeMap;
use std::io::{BufReader, Read, Seek, SeekFrom};

/// The only version read.
const VERSION: u32 = 6;
/// The specification of speech models.
const SPECIFICATION: &str = "WhisperSpec";
/// CTranslate2's number of 16-bit floats.
const FLOAT16: u8 = 4;
/// More than any published model has.
const MOST_VARIABLES: u32 = 4096;

/// A variable's place.
#[derive(Clone, Debug)]
pub(super) struct Variable {
    /// Dimensions, outermost first; empty for a scalar.
    pub dims: Vec<u32>,
    /// Whether its values are 16-bit floats.
    pub half: bool,
    offset: u64,
    bytes: u64,
}

/// A file and the places of its variables.
pub(super) struct Variables<R> {
    source: BufReader<R>,
    places: BTreeMap<String, Variable>,
}

impl<R: Read + Seek> Variables<R> {
    /// Reads the places.
    ///
    /// # Errors
    /// In words, what about the file is not of this format.
    pub(super) fn open(source: R) -> Result<Self, String> {
        let mut this = Self {
            source: BufReader::new(source),
            places: BTreeMap::new(),
        };
        let version = this.number()?;
        if version != VERSION {
            return Err(format!("its format is version {version}, not {VERSION}"));
        }
        let specification = this.name()?;
        if specification != SPECIFICATION {
            return Err(format!(
                "it holds a {specification:?}, not a {SPECIFICATION}"
            ));
        }
        let _revision = this.number()?;
        let count = this.number()?;
        if count > MOST_VARIABLES {
            return Err(format!("it claims {count} variables"));
        }
        for _ in 0..count {
            let name = this.name()?;
            let variable = this.place()?;
            this.places.insert(name, variable);
        }
        Ok(this)
    }

    /// The place of a variable of 16-bit floats.
    pub(super) fn half(&self, name: &str) -> Result<&Variable, String> {
        let found = self
            .places
            .get(name)
            .ok_or_else(|| format!("it lacks the variable {name}"))?;
        if found.half && found.values().saturating_mul(2) == found.bytes {
            Ok(found)
        } else {
            Err(format!(
                "its variable {name} is not stored as 16-bit floats"
            ))
        }
    }

    /// Passes the bytes of the values `[from, to)` of a variable of 16-bit
    /// floats to `each`, in pieces of an even number of bytes.
    pub(super) fn values(
        &mut self,
        name: &str,
        from: u64,
        to: u64,
        mut each: impl FnMut(&[u8]) -> Result<(), String>,
    ) -> Result<(), String> {
        let variable = self.half(name)?;
        if to > variable.values() || from > to {
            return Err(format!("its variable {name} is too short"));
        }
        let start = variable.offset + 2 * from;
        self.source
            .seek(SeekFrom::Start(start))
            .map_err(|error| format!("it cannot be read at byte {start}: {error}"))?;
        let mut left = 2 * (to - from);
        let mut piece = vec![0; 1 << 18];
        while left > 0 {
            let size = left.min(piece.len() as u64) as usize;
            self.fill(&mut piece[..size])?;
            each(&piece[..size])?;
            left -= size as u64;
        }
        Ok(())
    }

    fn place(&mut self) -> Result<Variable, String> {
        let rank = self.byte()?;
        if rank > 4 {
            return Err(format!("it claims a variable of rank {rank}"));
        }
        let mut dims = vec![0; usize::from(rank)];
        for dim in &mut dims {
            *dim = self.number()?;
        }
        let kind = self.byte()?;
        let size = self.number()?;
        let offset = self
            .source
            .stream_position()
            .map_err(|error| error.to_string())?;
        self.source
            .seek_relative(i64::from(size))
            .map_err(|error| error.to_string())?;
        Ok(Variable {
            dims,
            half: kind == FLOAT16,
            offset,
            bytes: u64::from(size),
        })
    }

    fn name(&mut self) -> Result<String, String> {
        let mut size = [0; 2];
        self.fill(&mut size)?;
        let mut name = vec![0; usize::from(u16::from_le_bytes(size))];
        self.fill(&mut name)?;
        name.pop();
        String::from_utf8(name).map_err(|_| "it holds a name that is not text".into())
    }

    fn number(&mut self) -> Result<u32, String> {
        let mut bytes = [0; 4];
        self.fill(&mut bytes)?;
        Ok(u32::from_le_bytes(bytes))
    }

    fn byte(&mut self) -> Result<u8, String> {
        let mut byte = [0; 1];
        self.fill(&mut byte)?;
        Ok(byte[0])
    }

    fn fill(&mut self, buffer: &mut [u8]) -> Result<(), String> {
        self.source
            .read_exact(buffer)
            .map_err(|error| format!("it ends too early: {error}"))
    }
}

impl Variable {
    /// Number of values.
    pub(super) fn values(&self) -> u64 {
        // A lying file may claim more than fits: then it is "too many".
        self.dims
            .iter()
            .fold(1, |values: u64, &dim| values.saturating_mul(u64::from(dim)))
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use proptest::prelude::*;

    use super::*;

    /// A file with one variable of two values.
    fn small() -> Vec<u8> {
        let mut bytes = VERSION.to_le_bytes().to_vec();
        let name = |bytes: &mut Vec<u8>, name: &str| {
            bytes.extend((name.len() as u16 + 1).to_le_bytes());
            bytes.extend(name.as_bytes());
            bytes.push(0);
        };
        name(&mut bytes, SPECIFICATION);
        bytes.extend([3_u32, 1].map(u32::to_le_bytes).concat());
        name(&mut bytes, "oar");
        bytes.push(1);
        bytes.extend(2_u32.to_le_bytes());
        bytes.push(FLOAT16);
        bytes.extend(4_u32.to_le_bytes());
        bytes.extend([1, 2, 3, 4]);
        bytes.extend(0_u32.to_le_bytes());
        bytes
    }

    #[test]
    fn values_come_from_their_place() {
        let mut variables = Variables::open(Cursor::new(small())).unwrap();
        let mut read = Vec::new();
        let mut each = |piece: &[u8]| {
            read.extend_from_slice(piece);
            Ok(())
        };
        variables.values("oar", 1, 2, &mut each).unwrap();
        assert!(variables.values("oar", 1, 3, &mut each).is_err());
        assert!(variables.half("rowlock").is_err());
        assert_eq!(read, [3, 4]);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4096))]

        #[test]
        fn no_bytes_break_the_reader(
            changes in prop::collection::vec((0..60_usize, any::<u8>()), 0..12),
            length in 0..70_usize,
        ) {
            let mut bytes = small();
            for (at, byte) in changes {
                if let Some(place) = bytes.get_mut(at) {
                    *place = byte;
                }
            }
            bytes.truncate(length);
            if let Ok(mut variables) = Variables::open(Cursor::new(bytes)) {
                let _ = variables.values("oar", 0, 2, |_| Ok(()));
            }
        }
    }
}
