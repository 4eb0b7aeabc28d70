//! Design files.

use design::catalog::Catalog;
use design::diagnostic::{CODES, Diagnostic};
use design::file::parse;
use design::resolve::resolve;

/// Every problem points into the text and says what to write. A file without problems has none either with the other ends
/// of lines or a remark at its end.
pub fn holds(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let Ok(warnings) = problems(&text) else { return };
    for other in [format!("{text}\n# a remark\n"), text.replace("\r\n", "\n").replace('\n', "\r\n")] {
        assert_eq!(problems(&other).map(|found| found.len()), Ok(warnings.len()), "{other}");
    }
}

/// The warnings, or all problems.
fn problems(text: &str) -> Result<Vec<Diagnostic>, Vec<Diagnostic>> {
    let found = resolve(&Catalog::builtin(), &parse(text)).map(|resolved| resolved.warnings);
    for one in found.as_ref().unwrap_or_else(|errors| errors) {
        assert!(one.file.is_some() || text.get(one.span.clone()).is_some(), "{one:?} points beside the text");
        assert!(CODES.iter().any(|code| code.name == one.code), "{one:?} has no entry");
        assert!(!one.message.is_empty() && !one.help.is_empty(), "{one:?} says nothing");
    }
    assert!(found.as_ref().err().is_none_or(|errors| !errors.is_empty()), "refused without a reason");
    found
}

/// The examples.
pub fn seeds() -> Vec<Vec<u8>> {
    let texts = [
        include_str!("../../../examples/larkmoor/frost-mast.toml"),
        include_str!("../../../examples/larkmoor/spray-trailer.toml"),
        include_str!("../../../examples/larkmoor/tank-level.toml"),
        include_str!("../../../examples/larkmoor/bought-probe.toml"),
    ];
    texts.map(|text| text.as_bytes().to_vec()).into()
}
