//! The table of what would make a node hold.

use verdict::remedy::Remedies;

use super::lay::{paint, wrap_indented};
use super::{BOLD, ReportedDesign, WIDTH, sentences};

/// Columns of the table.
const WHAT: usize = 32;
const LIVES: usize = 8;
const NOW: usize = 15;

/// The table; nothing where there is nothing to say.
pub(super) fn lines(subject: &ReportedDesign, remedies: &Remedies) -> Vec<String> {
    let tables = sentences::remedy::tables(subject, remedies);
    let remarks = sentences::remedy::remarks(remedies);
    if tables.is_empty() && remarks.is_empty() {
        return Vec::new();
    }
    let line = |what: &str, lives: &str, now: &str, rest: &str| {
        format!("{what:<WHAT$}{lives:>LIVES$}  {now:<NOW$}  {rest}").trim_end().to_owned()
    };
    let mut lines = vec![String::new()];
    for (title, rows) in tables {
        lines.push(paint(BOLD, &line(title, "lives", "now", "then")));
        for row in rows {
            let rest = format!("{} {}", row.then, row.remark);
            if row.what.chars().count() <= WHAT {
                lines.push(line(&row.what, &row.lives, &row.now, &rest));
            } else {
                lines.extend(wrap_indented(&row.what, WIDTH, "  "));
                lines.push(line("", &row.lives, &row.now, &rest));
            }
        }
    }
    lines.extend(remarks.iter().flat_map(|said| wrap_indented(said, WIDTH, "  ")));
    lines
}
