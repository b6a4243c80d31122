//! The footer of a Parquet file, gone through before a decoder sees it: room is made for a list by
//! the number of entries it claims, and a reservation that fails ends the program.
//!
//! # Source
//! Field numbers and kinds: the public definition of the format, as in the crate
//! `polars-parquet-format`. The decoder goes by field numbers and does not look at the kinds; with
//! kinds that agree, it takes the same bytes as this.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

/// Most bytes of a footer.
const LARGEST: u64 = 256 << 20;
/// Most entries in lists of structures, all together: each column of each row group is one.
const MOST_ENTRIES: u64 = 2_000_000;
/// Most levels of structures and lists in each other.
const DEEPEST: usize = 32;
/// The length of the footer and the letters at the end of a file.
const END: u64 = 8;
const LETTERS: &[u8] = b"PAR1";

/// What a field holds, by the format's definition.
enum Is {
    Whole,
    Byte,
    Flag,
    Bytes,
    Struct(&'static [(i16, Is)]),
    List(&'static Is),
}

use Is::{Byte, Bytes, Flag, List, Struct, Whole};

const NOTHING: Is = Struct(&[]);
const UNIT: Is = Struct(&[(1, NOTHING), (2, NOTHING), (3, NOTHING)]);
const TIME: Is = Struct(&[(1, Flag), (2, UNIT)]);
const TYPE: Is = Struct(&[
    (1, NOTHING),
    (2, NOTHING),
    (3, NOTHING),
    (4, NOTHING),
    (5, Struct(&[(1, Whole), (2, Whole)])),
    (6, NOTHING),
    (7, TIME),
    (8, TIME),
    (10, Struct(&[(1, Byte), (2, Flag)])),
    (11, NOTHING),
    (12, NOTHING),
    (13, NOTHING),
    (14, NOTHING),
    (15, NOTHING),
]);
const COLUMN: Is = Struct(&[
    (1, Whole),
    (2, Whole),
    (3, Whole),
    (4, Bytes),
    (5, Whole),
    (6, Whole),
    (7, Whole),
    (8, Whole),
    (9, Whole),
    (10, TYPE),
]);
const STATISTICS: Is = Struct(&[
    (1, Bytes),
    (2, Bytes),
    (3, Whole),
    (4, Whole),
    (5, Bytes),
    (6, Bytes),
    (7, Flag),
    (8, Flag),
]);
const CHUNK_FACTS: Is = Struct(&[
    (1, Whole),
    (2, List(&Whole)),
    (3, List(&Bytes)),
    (4, Whole),
    (5, Whole),
    (6, Whole),
    (7, Whole),
    (9, Whole),
    (10, Whole),
    (11, Whole),
    (12, STATISTICS),
    (14, Whole),
    (15, Whole),
]);
const CHUNK: Is = Struct(&[
    (1, Bytes),
    (2, Whole),
    (3, CHUNK_FACTS),
    (4, Whole),
    (5, Whole),
    (6, Whole),
    (7, Whole),
]);
const ORDER: Is = Struct(&[(1, Whole), (2, Flag), (3, Flag)]);
const GROUP: Is = Struct(&[
    (1, List(&CHUNK)),
    (2, Whole),
    (3, Whole),
    (4, List(&ORDER)),
    (5, Whole),
    (6, Whole),
    (7, Whole),
]);
const FOOTER: Is = Struct(&[
    (1, Whole),
    (2, List(&COLUMN)),
    (3, Whole),
    (4, List(&GROUP)),
    (5, List(&Struct(&[(1, Bytes), (2, Bytes)]))),
    (6, Bytes),
    (7, List(&Struct(&[(1, NOTHING), (2, NOTHING)]))),
]);

impl Is {
    /// Whether a field of the kind that is written in the file can be this.
    fn allows(&self, kind: u8) -> bool {
        match self {
            Whole => (4..=6).contains(&kind),
            Byte => kind == 3,
            Flag => kind <= 2,
            Bytes => kind == 8,
            List(_) => kind == 9,
            Struct(_) => kind == 12,
        }
    }
}

/// Whether a footer holds all that it claims. One that a decoder refuses at its first look is left
/// to it.
///
/// # Errors
/// When the file cannot be read.
pub(super) fn holds_what_it_claims(mut file: File, length: u64) -> std::io::Result<bool> {
    if length < END {
        return Ok(true);
    }
    file.seek(SeekFrom::Start(length - END))?;
    let mut end = [0; END as usize];
    file.read_exact(&mut end)?;
    let [a, b, c, d, letters @ ..] = end;
    let claimed = u64::from(u32::from_le_bytes([a, b, c, d])) + END;
    if letters != LETTERS || length < claimed {
        return Ok(true);
    }
    if LARGEST < claimed {
        return Ok(false);
    }
    file.seek(SeekFrom::Start(length - claimed))?;
    let mut bytes = Vec::new();
    file.take(claimed).read_to_end(&mut bytes)?;
    let mut walk = Walk {
        rest: &bytes,
        entries: 0,
    };
    Ok(walk.value(12, Some(&FOOTER), 0).is_some())
}

/// Goes through bytes; `None` where they end early or are not as they should be.
struct Walk<'b> {
    rest: &'b [u8],
    entries: u64,
}

impl Walk<'_> {
    fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.rest.split_first()?;
        self.rest = rest;
        Some(*first)
    }

    fn past(&mut self, count: u64) -> Option<()> {
        self.rest = self.rest.get(usize::try_from(count).ok()?..)?;
        Some(())
    }

    /// A number in sevens of bits.
    fn number(&mut self) -> Option<u64> {
        let mut number = 0;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            number |= u64::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return Some(number);
            }
        }
        None
    }

    /// A value of a kind; `is`: what it should be, where that is known.
    fn value(&mut self, kind: u8, is: Option<&Is>, level: usize) -> Option<()> {
        if DEEPEST < level || is.is_some_and(|is| !is.allows(kind)) {
            return None;
        }
        match kind {
            // The kind itself says yes or no.
            1 | 2 => Some(()),
            3 => self.past(1),
            4..=6 => self.number().map(drop),
            7 => self.past(8),
            8 => {
                let length = self.number()?;
                self.past(length)
            }
            9 => self.list(is, level),
            12 => self.structure(is, level),
            _ => None,
        }
    }

    fn structure(&mut self, is: Option<&Is>, level: usize) -> Option<()> {
        let fields = match is {
            Some(Struct(fields)) => *fields,
            _ => &[],
        };
        let mut last = 0_i16;
        loop {
            let head = self.byte()?;
            let (step, kind) = (head >> 4, head & 0xf);
            if kind == 0 {
                return Some(());
            }
            let id = match step {
                0 => {
                    let number = self.number()?;
                    i16::try_from((number >> 1).cast_signed() ^ -((number & 1).cast_signed()))
                        .ok()?
                }
                step => last.checked_add(i16::from(step))?,
            };
            let field = fields.iter().find(|(known, _)| *known == id);
            self.value(kind, field.map(|(_, is)| is), level + 1)?;
            last = id;
        }
    }

    fn list(&mut self, is: Option<&Is>, level: usize) -> Option<()> {
        let head = self.byte()?;
        let kind = head & 0xf;
        let count = match head >> 4 {
            15 => self.number()?,
            few => u64::from(few),
        };
        if count == 0 {
            return Some(());
        }
        // An entry takes a byte at least; flags in a list, of which no field is one, take none.
        if (self.rest.len() as u64) < count || kind <= 2 {
            return None;
        }
        if kind == 12 {
            self.entries += count;
        }
        if MOST_ENTRIES < self.entries {
            return None;
        }
        let inner = match is {
            Some(List(inner)) => Some(*inner),
            _ => None,
        };
        (0..count).try_for_each(|_| self.value(kind, inner, level + 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn walks(bytes: &[u8]) -> bool {
        let mut walk = Walk {
            rest: bytes,
            entries: 0,
        };
        walk.value(12, Some(&FOOTER), 0).is_some()
    }

    /// By hand: field 1 is 2, field 5 a list of one entry with a key `k`, the end.
    const SOUND: [u8; 9] = [0x15, 4, 0x49, 0x1c, 0x18, 1, b'k', 0, 0];

    #[test]
    fn a_list_that_counts_more_than_there_are_bytes_is_refused() {
        assert!(walks(&SOUND));
        let claim = |count: &[u8]| {
            let mut bytes = SOUND.to_vec();
            bytes.splice(3..4, [&[0xfc], count].concat());
            bytes
        };
        assert!(walks(&claim(&[1])));
        assert!(!walks(&claim(&[9])));
        assert!(!walks(&claim(&[0xff, 0xff, 0xff, 0xff, 7])));
        assert!(!walks(&claim(&[0xff; 12])));
    }

    #[test]
    fn a_known_field_of_another_kind_would_shift_what_follows_and_is_refused() {
        // The list as a whole number.
        assert!(!walks(&[0x15, 4, 0x45, 0x1c, 0]));
        // An unknown field of any kind is passed over.
        assert!(walks(&[0x15, 4, 0xe5, 0x1c, 0]));
        // A list of a million flags takes no bytes to go through.
        assert!(!walks(&[0xf9, 0xf1, 0xff, 0xff, 0x3f, 0]));
    }
}
