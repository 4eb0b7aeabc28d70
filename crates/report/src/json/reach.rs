//! Being heard, as data.

use design::quantity::Share;
use forecast::radio::link::{Answer, Link, RateMargin};
use serde_json::{Value, json};
use verdict::reach::{Errand, Reach, Remedy, Unknown, cheapest};

use super::{ReportedDesign, finding, number, verdict};
use crate::sentences;

/// Everything that is said of being heard.
pub(crate) fn of(subject: &ReportedDesign) -> Value {
    let reach = &subject.reach;
    let mut value = summary(reach);
    if let Some(object) = value.as_object_mut() {
        let findings: Vec<Value> = reach.findings.iter().map(|one| finding(subject, one)).collect();
        object.insert("findings".to_owned(), json!(findings));
    }
    value
}

/// The same without what points into the design file.
pub fn summary(reach: &Reach) -> Value {
    json!({
        "verdict": verdict(reach.verdict),
        "heard": sentences::reach::heard(reach),
        "reason": reach.reason,
        "not_known": reach.unknowns.iter().map(unknown).collect::<Vec<_>>(),
        "cheapest_to_know": cheapest(&reach.unknowns).map(unknown),
        "remedies": reach.remedies.iter().map(remedy).collect::<Vec<_>>(),
        "spots_heard_percent": number(reach.spots_heard.percent()),
        "delivered_on_middle_spot_percent": number(reach.middle.percent()),
        "delivered_on_worst_fifth_percent": number(reach.worst_fifth.percent()),
        "data_rates_on_middle_spot": mix(&reach.middle_rates),
        "data_rates_over_all_spots": mix(&reach.all_rates),
        "adapts_faster_after_days": reach.settling.map(|settling| number(settling.faster.days())),
        "falls_back_after_days": reach.settling.map(|settling| number(settling.slower.days())),
        "bench_at_10_m_dbm": reach.bench.map(|bench| number(bench.received.dbm())),
        "bench_band_db": reach.bench.map(|bench| number(bench.band.decibels())),
        "links": reach.links.iter().map(link).collect::<Vec<_>>(),
    })
}

fn mix(rates: &[(u8, Share)]) -> Value {
    let row = |(rate, share): &(u8, Share)| json!({ "data_rate": rate, "percent": number(share.percent()) });
    rates.iter().map(row).collect()
}

fn unknown(one: &Unknown) -> Value {
    json!({
        "what": one.what,
        "off_db": number(one.off_db),
        "worth_db": number(one.worth_db),
        "errand": match one.errand {
            Errand::Look => "look",
            Errand::Bench => "bench",
            Errand::WalkOut => "walk_out",
        },
        "settled_by": one.settled_by,
    })
}

fn remedy(remedy: &Remedy) -> Value {
    match remedy {
        Remedy::TallerNode(by) => json!({ "taller_at_node_m": number(by.metres()) }),
        Remedy::TallerGateway(by) => json!({ "taller_at_gateway_m": number(by.metres()) }),
        Remedy::BetterAntenna(by) => json!({ "more_antenna_at_gateway_db": number(by.decibels()) }),
        Remedy::TallerBoth(at_node, at_gateway) => json!({
            "taller_at_node_m": number(at_node.metres()),
            "taller_at_gateway_m": number(at_gateway.metres()),
        }),
        Remedy::MovedNode { by, latitude, longitude, .. } => json!({
            "node_moved_m": number(by.metres()),
            "latitude_deg": latitude.degrees(),
            "longitude_deg": longitude.degrees(),
        }),
        Remedy::SecondGateway(place) => json!({ "second_gateway": place }),
        Remedy::GatewayOutside => json!({ "gateway_outside": true }),
        Remedy::AnotherGateway => json!({ "another_gateway": true }),
    }
}

fn link(link: &Link) -> Value {
    let obstacle = link.path.trail.as_ref().and_then(|trail| trail.obstacle());
    json!({
        "gateway": link.gateway,
        "distance_m": number(link.distance.metres()),
        "azimuth_deg": number(link.azimuth_deg),
        "loss_db": number(link.path.median.decibels()),
        "over_terrain": link.path.trail.is_some(),
        "lost_besides_db": number(link.obstructed.decibels()),
        "surveyed": link.surveyed.map(|found| json!({
            "correction_db": number(found.correction.mean_db),
            "standard_deviation_db": number(found.correction.sd_db),
            "at_this_position": found.is_here,
        })),
        "received_dbm": number(link.received.dbm()),
        "snr_db": number(link.snr.decibels()),
        "margins": link.rates.iter().map(margin).collect::<Vec<_>>(),
        "answer_in_first_window": link.answers[0].as_ref().map(answer),
        "answer_in_second_window": link.answers[1].as_ref().map(answer),
        "obstacle": obstacle.map(|at| json!({
            "distance_m": number(1000.0 * at.distance_km),
            "latitude_deg": number(at.place.latitude_deg),
            "longitude_deg": number(at.place.longitude_deg),
            "room_m": number(at.room_m()),
            "room_fresnel_radii": number(at.room_zones()),
        })),
    })
}

fn margin(rate: &RateMargin) -> Value {
    json!({
        "data_rate": rate.data_rate,
        "weakest_dbm": number(rate.weakest.dbm()),
        "margin_db": number(rate.margin.decibels()),
    })
}

fn answer(answer: &Answer) -> Value {
    json!({
        "data_rate": answer.data_rate,
        "margin_db": number(answer.margin.decibels()),
        "airtime_ms": number(answer.airtime.milliseconds()),
        "most_per_hour_by_law": answer.per_hour.map(number),
    })
}
