//! Messages of a bought node, by the layout of its maker.

use std::sync::OnceLock;

use design::catalog::Catalog;
use design::file::parse;
use design::message::given::{Given, GivenField, GivenKind, Order};
use design::resolve::resolve;
use wire::given::{GivenReading, read};

/// The messages of the example.
fn givens() -> &'static [Given] {
    static GIVENS: OnceLock<Vec<Given>> = OnceLock::new();
    GIVENS.get_or_init(|| {
        let text = include_str!("../../../examples/larkmoor/bought-probe.toml");
        let resolved = resolve(&Catalog::builtin(), &parse(text)).expect("the example resolves");
        resolved.design.givens.clone()
    })
}

/// What is placed is read bit by bit to the same; of tagged values what is left over begins with no tag that is known; another
/// length is refused.
pub fn holds(bytes: &[u8]) {
    for given in givens() {
        let read = read(given, bytes);
        let fits = if given.tagged { bytes.len() <= given.bytes } else { bytes.len() == given.bytes };
        assert!(fits || read.is_err(), "{} bytes for {}", bytes.len(), given.name);
        let Ok(said) = read else { continue };
        assert_eq!(said.fields.len(), given.fields.len());
        if given.tagged {
            let left = bytes.get(bytes.len() - said.unread..).expect("no more than there are");
            assert!(
                given.fields.iter().all(|field| !left.starts_with(&field.tag)),
                "a known tag is left over"
            );
        } else {
            assert_eq!(said.unread, 0);
            given.fields.iter().zip(&said.fields).for_each(|(field, said)| is_read(field, said, bytes));
        }
    }
}

fn is_read(field: &GivenField, said: &GivenReading, bytes: &[u8]) {
    let raw = bits(field, bytes);
    match (&field.kind, said) {
        (GivenKind::Number { absent, .. }, GivenReading::Absent) => {
            assert!(absent.contains(&raw), "{} is absent at {raw}", field.name);
        }
        (GivenKind::Number { numerator, offset, denominator, .. }, GivenReading::Number(value)) => {
            let wanted = (raw as f64).mul_add(*numerator as f64, *offset as f64) / *denominator as f64;
            assert!((value - wanted).abs() <= 1e-9 * wanted.abs(), "{}: {value} for {wanted}", field.name);
        }
        (GivenKind::Flag, GivenReading::Flag(is_set)) => assert_eq!(*is_set, raw != 0),
        (GivenKind::Choice { words }, GivenReading::Word(word)) => {
            assert_eq!(
                words.iter().position(|known| known == word).and_then(|place| i64::try_from(place).ok()),
                Some(raw)
            );
        }
        (GivenKind::Choice { words }, GivenReading::Unnamed(code)) => assert!(*code >= words.len() as u64),
        (GivenKind::Counter { numerator, denominator }, GivenReading::Number(value)) => {
            let wanted = raw as f64 * *numerator as f64 / *denominator as f64;
            assert!((value - wanted).abs() <= 1e-9 * wanted, "{}: {value} for {wanted}", field.name);
        }
        // Its integers lie in two places: `wire` tries them by hand.
        (GivenKind::Position { .. }, GivenReading::Absent) => {}
        (GivenKind::Position { .. }, GivenReading::Place { latitude, longitude }) => {
            assert!(latitude.abs() <= 90.0 && longitude.abs() <= 180.0);
        }
        other => panic!("{}: {other:?}", field.name),
    }
}

/// The integer of a field, bit by bit from its lowest one.
fn bits(field: &GivenField, bytes: &[u8]) -> i64 {
    let bit = |place: u32| {
        let place = field.shift + place;
        let octet = place as usize / 8;
        let octet = match field.order {
            Order::Big => field.end() - 1 - octet,
            Order::Little => field.byte + octet,
        };
        i64::from(bytes.get(octet).expect("it lies within") >> (place % 8) & 1)
    };
    let highest = field.bits - 1;
    let below: i64 = (0..highest).map(|place| bit(place) << place).sum();
    let negative = matches!(field.kind, GivenKind::Number { signed: true, .. });
    below + if negative { -(bit(highest) << highest) } else { bit(highest) << highest }
}

/// A message of each kind.
pub fn seeds() -> Vec<Vec<u8>> {
    let seeds = vec![vec![0x24, 0x0a, 0xf0, 0xfb, 0x81], vec![1, 0x5f, 2, 3, 2, 9, 9], vec![2, 0xff, 0xff]];
    for seed in &seeds {
        assert!(givens().iter().any(|given| read(given, seed).is_ok()), "the law has something to accept");
    }
    seeds
}
