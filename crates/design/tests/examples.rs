//! The examples of Larkmoor resolve without an error or a warning, and say that they are invented.

use design::catalog::Catalog;
use design::file::parse;
use design::resolve::resolve;

macro_rules! examples {
    ($($name:literal)+) => {
        [$(($name, include_str!(concat!("../../../examples/larkmoor/", $name, ".toml")))),+]
    };
}

#[test]
fn every_example_resolves_cleanly_and_says_that_it_is_invented() {
    for (name, text) in examples! { "frost-mast" "spray-trailer" "soil-station" "tank-level" "bought-probe" }
    {
        let resolved = resolve(&Catalog::builtin(), &parse(text));
        let resolved = resolved.unwrap_or_else(|found| panic!("{name}: {found:#?}"));
        assert!(resolved.warnings.is_empty(), "{name}: {:#?}", resolved.warnings);
        assert!(resolved.design.note.clone().is_some_and(|note| note.contains("invented")), "{name}");
    }
}
