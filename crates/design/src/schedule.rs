//! How often something happens, by month and by state of charge.
//!
//! The node reads its charge from the battery's voltage and stands on one step of the table, the same for all its tables. It
//! goes down at once when the charge falls, and up by one step only where the charge lies [`RISE_MARGIN`] above that step,
//! [`RISE_AFTER`] after it last moved: a battery that swings with the sun of a day does not make it hop. The month only
//! chooses the column.

use crate::quantity::{Duration, Quantity as _, Share};

/// How far the charge must lie above a step before the node goes up to it; 100 % is always enough (own choice).
pub const RISE_MARGIN: Share = Share::from_percent(5.0);
/// How long a node stays on a step before it goes up from it (own choice: a day's swing has then passed).
pub const RISE_AFTER: Duration = Duration::from_days(1.0);

/// Intervals of the twelve months, January first; `None`: not at all.
pub type Months = [Option<Duration>; 12];

/// The key of such rows as it stands in a design file, one row a line.
#[must_use]
pub fn written(rows: &[(Share, Months)]) -> String {
    let interval =
        |every: &Option<Duration>| every.map_or("\"never\"".to_owned(), |one| format!("\"{}\"", one.text()));
    let row = |(charge, months): &(Share, Months)| {
        let months: Vec<String> = months.iter().map(interval).collect();
        format!("    [\"{}\", [{}]],\n", charge.text(), months.join(", "))
    };
    format!("every_by_month_and_charge = [\n{}]", rows.iter().map(row).collect::<String>())
}

/// How often something happens: rows of charge, each with an interval for every month.
#[derive(Clone, Debug, PartialEq)]
pub struct Schedule {
    rows: Vec<(Share, Months)>,
}

impl Schedule {
    /// The same interval always.
    #[must_use]
    pub fn fixed(every: Duration) -> Self {
        Self { rows: vec![(Share::ZERO, [Some(every); 12])] }
    }

    /// Of rows that descend from the highest charge to one at 0 %. A row that says what the one below it says is left out.
    #[must_use]
    pub fn of_rows(rows: Vec<(Share, Months)>) -> Self {
        let mut kept: Vec<(Share, Months)> = Vec::with_capacity(rows.len());
        for row in rows {
            match kept.last_mut() {
                Some(above) if above.1 == row.1 => *above = row,
                _ => kept.push(row),
            }
        }
        Self { rows: kept }
    }

    /// Charge at or above which a row holds, and its intervals; highest first, the last at 0 %, no two neighbours alike.
    #[must_use]
    pub fn rows(&self) -> &[(Share, Months)] {
        &self.rows
    }

    /// The interval in a month, 1 to 12, on the step that begins at this charge; `None`: not at all.
    #[must_use]
    pub fn at(&self, month: u8, charge: Share) -> Option<Duration> {
        let (_, months) = self.rows.iter().find(|(from, _)| charge >= *from)?;
        months[usize::from(month).clamp(1, 12) - 1]
    }

    /// The shortest interval with a full battery, in whichever month that is; `None`: not at all.
    #[must_use]
    pub fn at_full_charge(&self) -> Option<Duration> {
        self.shortest_at(Share::from_percent(100.0))
    }

    /// The shortest interval at this charge, in whichever month that is; `None`: not at all.
    #[must_use]
    pub fn shortest_at(&self, charge: Share) -> Option<Duration> {
        let (_, months) = self.rows.iter().find(|(from, _)| charge >= *from)?;
        months.iter().flatten().copied().reduce(|one, other| if other < one { other } else { one })
    }

    /// The interval, if it is always the same.
    #[must_use]
    pub fn fixed_interval(&self) -> Option<Duration> {
        self.rows.first()?.1[0].filter(|_| !self.by_charge() && !self.by_month())
    }

    /// Every interval that occurs.
    pub fn intervals(&self) -> impl Iterator<Item = Duration> {
        self.rows.iter().flat_map(|(_, months)| months.iter().flatten().copied())
    }

    /// The rows of a node that was told to wait at least this long: what is longer already stays.
    #[must_use]
    pub fn at_least(&self, least: Duration) -> Vec<(Share, Months)> {
        let longer = |every: Duration| if every < least { least } else { every };
        self.rows.iter().map(|(from, months)| (*from, months.map(|every| every.map(longer)))).collect()
    }

    /// Whether it depends on the charge.
    #[must_use]
    pub fn by_charge(&self) -> bool {
        self.rows.len() > 1
    }

    /// Whether it depends on the month.
    #[must_use]
    pub fn by_month(&self) -> bool {
        self.rows.iter().any(|(_, months)| months.iter().any(|every| *every != months[0]))
    }
}
