//! What learning needs of a site: which board stands where, since when, and how its messages tell of it.

use design::message::{Direction, Field, Kind, Meaning};
use design::node::Design;
use logbook::received::Moment;
use logbook::registry::Node;
use logbook::store::StoreError;
use logbook::store::visits;
use rusqlite::Connection;

use crate::input::fleet::Site;

/// A second \[us\].
pub(crate) const SECOND: Moment = 1_000_000;
/// Without a field that says it, or with several that differ, the counter has 32 bits.
const USUAL_MODULUS: u32 = u32::MAX;

/// A node of which something can be learned.
pub(crate) struct Subject<'a> {
    /// As it stands in its place.
    pub(crate) design: &'a Design,
    /// The design of its kind, which reads its messages.
    pub(crate) kind: &'a Design,
    /// File of that design.
    pub(crate) file: &'a str,
    /// Its open row in the registry.
    pub(crate) row: &'a Node,
    /// When that began, if the board was elsewhere or somebody else before.
    moved_at: Option<Moment>,
}

impl<'a> Subject<'a> {
    /// The node of this name; none if the site does not place it or nobody is enrolled as it.
    pub(crate) fn of(site: &'a Site, rows: &'a [Node], name: &str) -> Option<Self> {
        let design = site.designs().iter().find(|design| design.name == name)?;
        let placed = site.fleet.nodes.iter().find(|node| node.name == name)?;
        let (file, kind) = site.kinds().find(|(file, _)| *file == placed.kind)?;
        let row = rows.iter().find(|row| row.name == name && row.open())?;
        let moved = rows.iter().any(|other| other.dev_eui == row.dev_eui && !other.open());
        let began = Moment::try_from(row.from.unix_seconds()).map_or(Moment::MAX, |second| second * SECOND);
        Some(Self { design, kind, file, row, moved_at: moved.then_some(began) })
    }

    /// Since when it is this node: a part or its place was changed then; none if neither was.
    pub(crate) fn since(&self, log: &Connection) -> Result<Option<Moment>, StoreError> {
        Ok(visits::epoch(log, self.row.dev_eui, Moment::MAX)?.max(self.moved_at))
    }
}

/// Where the counter of minutes begins anew: that of the field that means them, else of the only counter.
pub(crate) fn counter_modulus(design: &Design) -> u32 {
    let messages = design.messages.iter().filter(|message| message.direction == Direction::Up);
    let fields: Vec<&Field> = messages.flat_map(|message| &message.fields).collect();
    let moduli = |wanted: &dyn Fn(&Field) -> bool| {
        let counts = fields.iter().filter(|field| wanted(field)).filter_map(|field| match field.kind {
            Kind::Counter { count_bits, .. } => 1_u32.checked_shl(u32::from(count_bits)),
            _ => None,
        });
        counts.collect::<Vec<u32>>()
    };
    let mut meant = moduli(&|field| field.meaning() == Some(Meaning::Charging));
    let bought = design.givens.iter().flat_map(|given| &given.fields);
    let bought = bought.filter(|field| field.means == Some(Meaning::Charging));
    meant.extend(bought.filter_map(|field| 1_u32.checked_shl(field.bits)));
    meant.sort_unstable();
    meant.dedup();
    let known = if meant.is_empty() { moduli(&|_| true) } else { meant };
    if let [modulus] = known[..] { modulus } else { USUAL_MODULUS }
}

#[cfg(test)]
mod tests {
    use design::catalog::Catalog;

    use super::*;

    fn mast(edits: &[(&str, &str)]) -> Design {
        let mut text = include_str!("../../../examples/larkmoor/frost-mast.toml").to_owned();
        for (from, to) in edits {
            assert!(text.contains(from), "{from}");
            text = text.replacen(from, to, 1);
        }
        let file = design::file::parse(&text);
        design::resolve::resolve(&Catalog::builtin(), &file).expect("resolves").design
    }

    /// 60 an hour over two days are 2,880 counts, which 12 bits hold: anew at 4,096.
    #[test]
    fn the_minutes_begin_anew_where_their_field_does() {
        let unsaid = ("means = \"charging\", ", "");
        let another = (
            "restarted = {",
            "opened = { kind = \"counter\", per_hour = 60, longest_gap = \"1 h\" }\nrestarted = {",
        );
        let room = ("at_most = \"12 bytes\"", "at_most = \"14 bytes\"");
        assert_eq!(counter_modulus(&mast(&[])), 4096);
        assert_eq!(counter_modulus(&mast(&[another, room])), 4096, "another counter beside it");
        assert_eq!(counter_modulus(&mast(&[unsaid])), 4096, "the only counter");
        assert_eq!(counter_modulus(&mast(&[unsaid, another, room])), USUAL_MODULUS, "one of two");
    }
}
