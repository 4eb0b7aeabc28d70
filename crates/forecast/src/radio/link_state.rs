//! What a link does to a node: at which data rates its messages go, and how many of them go unanswered.

use design::node::Design;
use design::quantity::Share;

/// How the uplinks of a node go, beside a design that is left as it is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LinkState {
    /// Share of uplinks at each data rate, slowest first; sums to 1, or empty without a radio.
    pub data_rates: Vec<(u8, Share)>,
    /// Share of confirmed messages to which the link brings no answer at one try, in whole percent; what the design
    /// states as lost comes on top. `None` without a link.
    pub unanswered: Option<Share>,
}

impl LinkState {
    /// As the design states it, whatever its gateways hear.
    #[must_use]
    pub fn as_designed(design: &Design) -> Self {
        let data_rates = design.radio.as_ref().map(|radio| radio.data_rates.clone()).unwrap_or_default();
        Self { data_rates, unanswered: None }
    }

    /// Everything at one data rate.
    #[must_use]
    pub fn at_rate(data_rate: u8) -> Self {
        Self { data_rates: vec![(data_rate, Share::from_fraction(1.0))], unanswered: None }
    }

    /// The same with the gateway away: no confirmed message is ever answered.
    #[must_use]
    pub fn in_vain(&self) -> Self {
        Self { unanswered: Some(Share::from_fraction(1.0)), ..self.clone() }
    }

    /// Share of confirmed messages that get no answer at one try, of which so many are lost whatever the link.
    #[must_use]
    pub fn lost(&self, stated: Share) -> Share {
        let answered = 1.0 - self.unanswered.unwrap_or(Share::ZERO).fraction();
        Share::from_fraction(1.0 - (1.0 - stated.fraction()) * answered)
    }

    /// Whether anything is sent at a data rate.
    #[must_use]
    pub fn uses(&self, data_rate: u8) -> bool {
        self.data_rates.iter().any(|(known, share)| *known == data_rate && *share > Share::ZERO)
    }
}
