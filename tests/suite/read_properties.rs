//! Whatever happens to a file, reading it never fails, and every row is accounted for.

use proptest::prelude::*;
use proptest::sample::Index;

use crate::read::{Folder, GOOD};

/// One way to damage a file.
#[derive(Clone, Debug)]
enum Damage {
    Flip(Index, u8),
    Cut(Index, Index),
    Insert(Index, String),
    Repeat(Index),
}

fn damage() -> impl Strategy<Value = Damage> {
    let bits = prop::sample::select(vec![
        "\"", ",", "\n", "\r", "\0", "-", "1e999", "NaN", ",,", ";", "\u{feff}", "é", "\"\n",
    ]);
    prop_oneof![
        (any::<Index>(), 1_u8..=255).prop_map(|(at, bits)| Damage::Flip(at, bits)),
        (any::<Index>(), any::<Index>()).prop_map(|(from, to)| Damage::Cut(from, to)),
        (any::<Index>(), bits).prop_map(|(at, text)| Damage::Insert(at, text.to_owned())),
        any::<Index>().prop_map(Damage::Repeat),
    ]
}

fn apply(bytes: &mut Vec<u8>, damage: &Damage) {
    if bytes.is_empty() {
        return;
    }
    match damage {
        Damage::Flip(at, bits) => {
            let at = at.index(bytes.len());
            bytes[at] ^= bits;
        }
        Damage::Cut(from, to) => {
            let from = from.index(bytes.len());
            let to = (from + to.index(20)).min(bytes.len());
            bytes.drain(from..to);
        }
        Damage::Insert(at, text) => {
            let at = at.index(bytes.len());
            bytes.splice(at..at, text.bytes());
        }
        Damage::Repeat(line) => {
            let lines: Vec<Vec<u8>> = bytes
                .split_inclusive(|b| *b == b'\n')
                .map(<[u8]>::to_vec)
                .collect();
            bytes.extend(&lines[line.index(lines.len())]);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    /// `Folder::read` asserts that read = used + set aside and that each row set aside is told.
    #[test]
    fn damaged_text_never_panics_and_every_row_is_accounted_for(
        file in 0..GOOD.len(),
        damages in prop::collection::vec(damage(), 1..6),
    ) {
        let (name, text) = GOOD[file];
        let mut bytes = text.as_bytes().to_vec();
        for damage in &damages {
            apply(&mut bytes, damage);
        }
        let folder = Folder::good();
        let reading = folder.write(name, &bytes).read();
        prop_assert!(reading.accounts.iter().all(|a| a.later == 0));
        prop_assert_eq!(folder.read(), reading);
    }
}
