//! The key box: format, refusals, and that nothing is lost or shown.

use std::fs;
use std::path::{Path, PathBuf};

use logbook::keys::{KeyBox, KeyBoxError, Passphrase, PassphraseError};
use tempfile::TempDir;
use wire::identity::DevEui;
use wire::key::AppKey;
use zeroize::Zeroizing;

/// The example key of FIPS 197, appendix A.1.
const KEY: &str = "2B7E151628AED2A6ABF7158809CF4F3C";

fn passphrase(text: &str) -> Passphrase {
    Passphrase::new(Zeroizing::new(text.to_owned())).expect("it is not empty")
}

fn device(last: u8) -> DevEui {
    DevEui::from_display_bytes([0x70, 0xB3, 0xD5, 0, 0, 0, 0, last])
}

fn folder() -> (TempDir, PathBuf) {
    let folder = TempDir::new().expect("a folder can be made");
    let path = folder.path().join("keys.age");
    (folder, path)
}

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

#[test]
fn what_the_published_crate_sealed_is_opened() {
    let opened = KeyBox::open(&data("v1/keys.age"), &passphrase("larkmoor in the rain")).expect("it opens");
    let keys: Vec<_> = opened.keys().collect();
    assert_eq!(keys.len(), 2);
    assert_eq!(keys[0], (device(1), &AppKey::from_hex(KEY).expect("32 digits")));
}

#[test]
fn a_box_of_schema_2_that_another_program_sealed_is_opened_with_its_rows() {
    let opened = KeyBox::open(&data("v2/keys.age"), &passphrase("larkmoor in the rain")).expect("it opens");
    let [(first, key), (second, _)] = opened.keys().collect::<Vec<_>>()[..] else {
        panic!("it has two keys")
    };
    assert_eq!(key, &AppKey::from_hex(KEY).expect("32 digits"));
    let names = [first, second].map(|device| opened.enrolled(device).expect("it has its row").name.as_str());
    assert_eq!(names, ["mast-1", "mast-2"]);
    let row = opened.enrolled(second).expect("it has its row");
    assert_eq!((row.kind.as_str(), row.constants["wetness"]["dry_level"]), ("Frost \"mast\"", None));
}

#[test]
fn what_was_sealed_is_opened_again_and_only_with_its_passphrase() {
    let (_folder, path) = folder();
    let mut box_of_keys = KeyBox::new(&path);
    for last in 0..3 {
        assert!(box_of_keys.draw(device(last)).expect("there are random bytes"));
    }
    box_of_keys.save(&passphrase("a long passphrase")).expect("it is written");
    let again = KeyBox::open(&path, &passphrase("a long passphrase")).expect("it opens");
    assert!(box_of_keys.keys().eq(again.keys()));
    let refused = KeyBox::open(&path, &passphrase("a long passphrasf"));
    assert!(matches!(refused, Err(KeyBoxError::WrongPassphrase)), "{refused:?}");
}

#[test]
fn damage_anywhere_is_noticed() {
    let sealed = fs::read(data("v1/keys.age")).expect("the file is there");
    let (_folder, path) = folder();
    let opens = |bytes: &[u8]| {
        fs::write(&path, bytes).expect("it can be written");
        KeyBox::open(&path, &passphrase("larkmoor in the rain")).is_ok()
    };
    assert!(opens(&sealed));
    for place in 0..sealed.len() {
        let mut changed = sealed.clone();
        changed[place] ^= 1;
        assert!(!opens(&changed), "a changed byte {place} goes unnoticed");
    }
    for length in 0..sealed.len() {
        assert!(!opens(&sealed[..length]), "a file cut to {length} bytes goes unnoticed");
    }
}

#[test]
fn a_box_that_asks_for_a_gigabyte_is_refused() {
    let refused = KeyBox::open(&data("v1/greedy.age"), &passphrase("larkmoor in the rain"));
    assert!(matches!(refused, Err(KeyBoxError::NotAKeyBox { .. })), "{refused:?}");
}

#[test]
fn a_key_is_drawn_once_and_never_replaced() {
    let (_folder, path) = folder();
    let mut keys = KeyBox::new(&path);
    assert!(keys.draw(device(1)).expect("there are random bytes"));
    let first = keys.key(device(1)).expect("it was drawn").clone();
    assert!(!keys.draw(device(1)).expect("nothing to draw"));
    assert_eq!(keys.key(device(1)), Some(&first));
    let other = AppKey::from_hex(KEY).expect("32 digits");
    assert!(matches!(keys.import(device(1), other.clone()), Err(KeyBoxError::Taken { .. })));
    assert_eq!(keys.key(device(1)), Some(&first));
    keys.import(device(2), other.clone()).expect("device 2 has no key yet");
    keys.import(device(2), other.clone()).expect("the same once more");
    assert!(matches!(keys.import(device(3), other), Err(KeyBoxError::Shared { .. })));
}

#[test]
fn a_thousand_drawn_keys_are_all_different() {
    let (_folder, path) = folder();
    let mut keys = KeyBox::new(&path);
    for count in 0..1000_u16 {
        let [high, low] = count.to_be_bytes();
        keys.draw(DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, high, low])).expect("there are random bytes");
    }
    let mut octets: Vec<[u8; 16]> = keys.keys().map(|(_, key)| *key.expose()).collect();
    octets.sort_unstable();
    octets.dedup();
    assert_eq!(octets.len(), 1000);
    // 128,000 fair bits: six standard deviations are 1,073.
    let ones: u32 = octets.iter().flatten().map(|octet| octet.count_ones()).sum();
    assert!(ones.abs_diff(64_000) < 1_073, "{ones} ones of 128000");
}

#[test]
fn a_new_box_never_replaces_a_file() {
    let (_folder, path) = folder();
    fs::write(&path, "something precious").expect("it can be written");
    let refused = KeyBox::new(&path).save(&passphrase("a long passphrase"));
    assert!(matches!(refused, Err(KeyBoxError::Write(_))), "{refused:?}");
    assert_eq!(fs::read_to_string(&path).expect("it is there"), "something precious");
}

#[test]
fn nothing_shows_a_key_or_a_passphrase() {
    let (_folder, path) = folder();
    let mut keys = KeyBox::new(&path);
    keys.import(device(1), AppKey::from_hex(KEY).expect("32 digits")).expect("it is new");
    let shown = format!("{keys:?} {:?}", passphrase("open sesame"));
    assert!(!shown.contains("2B7E") && !shown.contains("43, 126") && !shown.contains("sesame"), "{shown}");
    let error = keys.import(device(1), AppKey::from_hex(&KEY.replace('2', "3")).expect("32 digits"));
    let error = format!("{:?}", error.expect_err("another key"));
    assert!(!error.contains("3B7E"), "{error}");
}

#[cfg(unix)]
#[test]
fn the_box_is_readable_to_its_owner_alone_and_so_must_be_a_passphrase_file() {
    use std::os::unix::fs::PermissionsExt as _;
    let (folder, path) = folder();
    KeyBox::new(&path).save(&passphrase("a long passphrase")).expect("it is written");
    let mode = fs::metadata(&path).expect("it is there").permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let file = folder.path().join("passphrase");
    fs::write(&file, "a long passphrase\n").expect("it can be written");
    for (mode, may) in [(0o600, true), (0o400, true), (0o640, false), (0o604, false), (0o620, false)] {
        fs::set_permissions(&file, fs::Permissions::from_mode(mode)).expect("it is ours");
        let read = Passphrase::from_file(&file);
        assert_eq!(read.is_ok(), may, "{mode:o}: {read:?}");
    }
    fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).expect("it is ours");
    let read = Passphrase::from_file(&file).expect("it is closed to others");
    assert!(read.is(&passphrase("a long passphrase")), "the line break is no part of it");
    let refused = |text: &str| {
        fs::write(&file, text).expect("it can be written");
        Passphrase::from_file(&file).expect_err("it is no one line")
    };
    assert!(matches!(refused("two\nlines\n"), PassphraseError::NotOneLine));
    assert!(matches!(refused("\nsecond line\n"), PassphraseError::EmptyFirstLine));
    assert!(matches!(refused("\u{feff}a long passphrase\n"), PassphraseError::ByteOrderMark));
    assert!(matches!(refused("a long passphrase\r\n"), PassphraseError::CarriageReturn));
    assert!(matches!(refused("\n"), PassphraseError::Empty));
}

#[test]
fn a_box_in_which_two_devices_have_one_key_does_not_open() {
    // Sealed by the published crate, like `keys.age`; the second line has the key of the first.
    let refused = KeyBox::open(&data("v1/shared.age"), &passphrase("larkmoor in the rain"));
    assert!(matches!(refused, Err(KeyBoxError::Shared { .. })), "{refused:?}");
}
