//! A gateway shows no sign of life.
//!
//! # References
//! The gateways' UDP protocol: they ask for answers every 5 s.

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::gateway::Gateway;
use super::{Setup, seconds};
use crate::received::Moment;

/// Of a gateway, in a program that began to listen at a moment; a gateway that never asked is not missed.
pub(super) fn find(gateway: &Gateway, setup: &Setup, began: Moment, now: Moment) -> Finding {
    let (Some(asked), Some(since)) = (gateway.asked, gateway.asking_since) else { return Finding::Between };
    if now - asked > setup.gateway_patience {
        let away = evidence([("away_s", json!(seconds(now - asked)))]);
        return if now - began < setup.gateway_settles { Finding::Between } else { Finding::Wrong(away) };
    }
    if now - since >= setup.gateway_settles { Finding::Right } else { Finding::Between }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    const SECOND: Moment = 1_000_000;

    fn asking(from: Moment, to: Moment) -> Gateway {
        let (mut gateway, mut at) = (Gateway::default(), from);
        while at <= to {
            gateway.ask(at, MINUTE);
            at += 5 * SECOND;
        }
        gateway
    }

    #[test]
    fn sixty_seconds_without_a_sign_are_too_long_and_five_minutes_with_signs_end_it() {
        let setup = Setup::default();
        let gateway = asking(0, 30 * MINUTE);
        let find = |gateway: &Gateway, at| find(gateway, &setup, 0, at);
        assert_eq!(find(&gateway, 31 * MINUTE), Finding::Right);
        assert!(matches!(find(&gateway, 31 * MINUTE + 1), Finding::Wrong(_)));
        let mut back = gateway;
        back.ask(40 * MINUTE, MINUTE);
        assert_eq!(find(&back, 40 * MINUTE), Finding::Between);
        let mut at = 40 * MINUTE;
        while at < 45 * MINUTE {
            at += 5 * SECOND;
            back.ask(at, MINUTE);
        }
        assert_eq!(find(&back, 45 * MINUTE - 1), Finding::Between);
        assert_eq!(find(&back, 45 * MINUTE), Finding::Right);
    }

    #[test]
    fn a_program_that_has_just_begun_waits_for_five_minutes() {
        let (setup, gateway) = (Setup::default(), asking(0, 10 * MINUTE));
        let began = 100 * MINUTE;
        assert_eq!(find(&gateway, &setup, began, began + 5 * MINUTE - 1), Finding::Between);
        assert!(matches!(find(&gateway, &setup, began, began + 5 * MINUTE), Finding::Wrong(_)));
        assert_eq!(find(&Gateway::default(), &setup, 0, 100 * MINUTE), Finding::Between, "never there");
    }
}
