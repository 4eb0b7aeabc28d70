//! The laws of `fuzz/` on changed seeds, the same in every run: a look at each before the long form finds more.

#[expect(unreachable_pub, reason = "for the fuzz targets it is a library")]
#[path = "../../../fuzz/src/lib.rs"]
mod laws;

use crate::laws::{LAWS, Law};

// The laws call each other's tools by the crate they are in.
pub(crate) use crate::laws::{Recipe, with_bit_turned};

/// Inputs for each law; those that take a millisecond are tried less often.
const INPUTS: usize = 20_000;
const SLOW: [(&str, usize); 3] = [("design_file", 1_500), ("payload", 2_000), ("key_box", 5_000)];

#[test]
fn laws_hold_for_changed_seeds() {
    for law in &LAWS {
        let inputs = SLOW.iter().find(|(name, _)| *name == law.name).map_or(INPUTS, |(_, inputs)| *inputs);
        try_out(law, inputs);
    }
}

fn try_out(law: &Law, inputs: usize) {
    let seeds = (law.seeds)();
    for seed in &seeds {
        (law.holds)(seed);
    }
    let mut dice = Dice(2026);
    for number in 0..inputs {
        (law.holds)(&changed(&seeds[number % seeds.len()], &seeds, &mut dice));
    }
}

/// One to four changes: a bit, a byte, a stretch that is cut out, doubled, or taken from another seed, an end cut off.
fn changed(seed: &[u8], seeds: &[Vec<u8>], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = seed.to_vec();
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len() + 1);
        let end = (at + 1 + dice.below(16)).min(bytes.len());
        match dice.below(7) {
            0 => bytes.truncate(at),
            1 => bytes.insert(at, dice.octet()),
            2 => drop(bytes.drain(at.min(end)..end)),
            3 => bytes.splice(at..at, bytes[at.min(end)..end].to_vec()).for_each(drop),
            4 => {
                let other = &seeds[dice.below(seeds.len())];
                let from = dice.below(other.len());
                bytes
                    .splice(at..at, other[from..(from + 16).min(other.len())].iter().copied())
                    .for_each(drop);
            }
            5 if at < bytes.len() => bytes[at] = dice.octet(),
            _ if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            _ => {}
        }
    }
    bytes
}

#[test]
fn laws_hold_for_a_changed_year_of_weather() {
    let file = laws::weather::whole_file();
    laws::weather::holds(&file);
    let mut dice = Dice(2027);
    for _ in 0..20 {
        laws::weather::holds(&changed(&file, std::slice::from_ref(&file), &mut dice));
    }
}

/// Numbers that look random and are the same in every run: `SplitMix64`.
///
/// # References
/// Steele, Lea and Flood, Fast splittable pseudorandom number generators, OOPSLA 2014, figure 4.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to below `end`.
    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() >> 32).expect("32 bits fit") % end.max(1)
    }

    fn octet(&mut self) -> u8 {
        self.next().to_be_bytes()[0]
    }
}
