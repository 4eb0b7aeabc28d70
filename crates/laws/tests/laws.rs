//! Every law on changed seeds: a look at each, the same in every run, before the long form finds more.

#[expect(dead_code, reason = "nothing is skipped here")]
mod trial;

use std::collections::BTreeSet;
use std::{env, fs};

use laws::{LAWS, Law};

/// Set by `cargo xtask prove fuzz`: inputs for each law instead of those below.
const EXECUTIONS: &str = "OVERWINTER_EXECUTIONS";

#[test]
fn bytes_of_mac_commands_keep_their_law() {
    keeps("commands", 20_000);
}

#[test]
fn datagrams_of_gateways_keep_their_law() {
    keeps("datagram", 4_000);
}

#[test]
fn design_files_keep_their_law() {
    keeps("design_file", 1_000);
}

#[test]
fn frames_keep_their_law() {
    keeps("frame", 20_000);
}

#[test]
fn texts_of_gateways_keep_their_law() {
    keeps("gateway_text", 4_000);
}

#[test]
fn payloads_of_bought_nodes_keep_their_law() {
    keeps("given_payload", 20_000);
}

#[test]
fn identities_and_keys_as_text_keep_their_law() {
    keeps("identity", 20_000);
}

#[test]
fn join_accepts_keep_their_law() {
    keeps("join_accept", 20_000);
}

#[test]
fn key_boxes_keep_their_law() {
    keeps("key_box", 1_000);
}

#[test]
fn messages_of_other_networks_keep_their_law() {
    keeps("mapping", 20_000);
}

#[test]
fn logs_of_nodes_keep_their_law() {
    keeps("node_log", 10_000);
}

#[test]
fn measured_sun_keeps_its_law() {
    keeps("measured_sun", 10_000);
}

#[test]
fn payloads_of_random_designs_keep_their_law() {
    keeps("payload", 1_500);
}

#[test]
fn registries_keep_their_law() {
    keeps("registry", 10_000);
}

#[test]
fn beginnings_of_weather_files_keep_their_law() {
    keeps("weather", 20_000);
}

#[test]
fn a_changed_year_of_weather_keeps_its_law() {
    let file = laws::weather::whole_file();
    laws::weather::holds(&file);
    let mut dice = Dice(trial::seed(2027));
    for _ in 0..20 {
        laws::weather::holds(&changed(&file, std::slice::from_ref(&file), &mut dice));
    }
}

/// A reader without a test here, or without a target for the fuzzer, would be forgotten.
#[test]
fn every_law_is_tried_here_and_has_a_target_of_the_fuzzer() {
    let targets = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fuzz/fuzz_targets");
    let targets: BTreeSet<String> = fs::read_dir(targets)
        .expect("the targets lie beside the crates")
        .map(|entry| entry.expect("it can be listed").path())
        .filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()))
        .collect();
    let laws: BTreeSet<String> = LAWS.iter().map(|law| law.name.to_owned()).collect();
    assert_eq!(targets, laws);
    let here = include_str!("laws.rs");
    for name in laws {
        assert!(here.contains(&format!("keeps(\"{name}\", ")), "{name} is not tried");
    }
}

/// Tries a law on its seeds and on so many changed ones.
fn keeps(name: &str, inputs: u64) {
    let law: &Law = LAWS.iter().find(|law| law.name == name).expect("the law is in the list");
    let inputs = env::var(EXECUTIONS).map_or(inputs, |text| text.parse().expect("a number of executions"));
    let seeds = (law.seeds)();
    for seed in &seeds {
        (law.holds)(seed);
    }
    let mut dice = Dice(trial::seed(2026));
    for seed in seeds.iter().cycle().zip(0..inputs).map(|(seed, _)| seed) {
        (law.holds)(&changed(seed, &seeds, &mut dice));
    }
    trial::note(&format!("law of {name}: {} executions", inputs + seeds.len() as u64));
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
