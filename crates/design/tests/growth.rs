//! The cost of reading grows with the size of the file and not with its square.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "the time that reading takes is what is tested"
)]

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use design::catalog::Catalog;
use design::file::parse;
use design::resolve::resolve;

/// Four times the input may cost so many times more: four if it is linear, sixteen if it is quadratic.
const MOST_GROWTH: f64 = 9.0;

fn repeated(count: usize, piece: impl Fn(usize) -> String) -> String {
    (0..count).fold(String::new(), |mut text, index| {
        text.write_str(&piece(index)).expect("memory");
        text
    })
}

/// The shortest of some runs: what the machine does besides only lengthens them.
fn cost(text: &str) -> Duration {
    let once = || {
        let begun = Instant::now();
        let problems = resolve(&Catalog::builtin(), &parse(text)).err().unwrap_or_default();
        assert!(!problems.is_empty());
        begun.elapsed()
    };
    (0..5).map(|_| once()).min().expect("five runs")
}

#[track_caller]
fn assert_near_linear(what: &str, text: impl Fn(usize) -> String, small: usize) {
    let growth = || cost(&text(4 * small)).as_secs_f64() / cost(&text(small)).as_secs_f64().max(1e-4);
    // A busy machine lengthens some of the tries; work that grows with the square is in all of them.
    let tries: Vec<f64> = (0..4).map(|_| growth()).collect();
    let least = tries.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(least < MOST_GROWTH, "{what}: {tries:.1?} times the work for four times the input");
}

#[test]
fn reading_is_near_linear_in_tables_keys_loads_and_slips() {
    let key = |index| format!("k{index} = 1\n");
    let load = |index| {
        format!(
            "[load.l{index}]\nfloor = \"1 uA\"\n[load.l{index}.activity.a]\nevery = \"1 h\"\nsensors = [\"level-loop-12v\"]\n"
        )
    };
    assert_near_linear("unknown tables", |count| repeated(count, |index| format!("[t{index}]\n")), 5_000);
    assert_near_linear("unknown keys", |count| repeated(count, key), 4_000);
    assert_near_linear("loads", |count| repeated(count, load), 200);
    assert_near_linear(
        "lines of wrong syntax",
        |count| repeated(count, |index| format!("k{index} = = 1\n")),
        4_000,
    );
    assert_near_linear("keys twice", |count| repeated(count, |_| "name = \"M\"\n".to_owned()), 3_000);
}

#[test]
fn a_file_at_its_ceiling_is_answered_in_seconds() {
    for text in [
        repeated(25_000, |index| format!("[t{index}]\n")),
        repeated(18_000, |index| format!("k{index} = = 1\n")),
        repeated(80_000, |index| format!("[t{index}]\n")),
    ] {
        let begun = Instant::now();
        let problems = resolve(&Catalog::builtin(), &parse(&text)).expect_err("nothing but slips");
        assert!(problems.len() < 100, "{} problems are more than anyone reads", problems.len());
        // A second and less; ten leave room for a busy machine.
        assert!(begun.elapsed() < Duration::from_secs(10), "{:?}", begun.elapsed());
    }
}
