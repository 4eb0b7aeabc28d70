//! Whatever the text, an answer comes, and it comes soon.

use design::catalog::Catalog;
use design::file::parse;
use design::manual::commented_example;
use design::resolve::resolve;
use proptest::prelude::*;

fn codes(text: &str) -> Vec<&'static str> {
    match resolve(&Catalog::builtin(), &parse(text)) {
        Ok(_) => Vec::new(),
        Err(problems) => {
            for one in &problems {
                assert!(
                    one.file.is_some() || text.get(one.span.clone()).is_some(),
                    "{one:?} points outside the text"
                );
            }
            problems.iter().map(|one| one.code).collect()
        }
    }
}

#[test]
fn ten_megabytes_are_refused_unread() {
    assert_eq!(codes(&"a = 1\n".repeat(2_000_000)), ["too-large"]);
}

#[test]
fn deep_or_long_files_are_refused_without_a_long_wait() {
    for text in [
        format!("a = {}", "[".repeat(100_000)),
        format!("a = {}{}", "[".repeat(100_000), "]".repeat(100_000)),
        format!("a = {}", "{b=".repeat(100_000)),
        format!("{} = 1", vec!["a"; 200_000].join(".")),
        format!("[{}]", vec!["a"; 200_000].join(".")),
        "[[a]]\n".repeat(100_000),
        "[a\n".repeat(100_000),
        "a = 1\n".repeat(100_000),
        (0..50_000).map(|index| format!("key{index} = 1")).collect::<Vec<_>>().join("\n"),
    ] {
        assert!(!codes(&text).is_empty());
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_panics(text in "\\PC{0,200}") {
        codes(&text);
    }

    #[test]
    fn no_toml_like_text_panics(text in "([a-z.]{1,8} ?= ?(\"[-0-9a-zA-Z %+]{0,9}\"|[0-9.e]{1,6}|\\[[0-9,\"a ]{0,9}\\]|\\{[a-z=0-9]{0,9}\\})\n|\\[\\[?[a-z.]{1,12}\\]?\\]\n){0,20}") {
        codes(&text);
    }

    #[test]
    fn no_mutation_of_a_good_file_panics(at in 0usize..20_000, length in 0usize..40, insert in "\\PC{0,6}") {
        let good = commented_example();
        let start = (0..=at % good.len()).rev().find(|at| good.is_char_boundary(*at)).expect("0 is one");
        let end = (start + length..=good.len()).find(|at| good.is_char_boundary(*at)).unwrap_or(good.len());
        codes(&format!("{}{insert}{}", &good[..start], &good[end..]));
    }
}
