//! What would make a node hold, as JSON.

use serde_json::{Value, json};
use verdict::remedy::{Lever, Moved, Proof, Remedies, Remedy, Useless};

use super::{number, verdict};
use crate::{ReportedDesign, sentences, words};

/// What would make it hold, and what could be left out.
pub(super) fn remedies(subject: &ReportedDesign, found: &Remedies) -> Value {
    let list = |remedies: &[Remedy]| remedies.iter().map(|one| remedy(subject, one)).collect::<Vec<_>>();
    json!({
        "would_hold_with": list(&found.holds),
        "could_be_left_out": list(&found.spare),
        "of_no_use": found.useless.iter().map(|(lever, why)| of_no_use(lever, why)).collect::<Vec<_>>(),
        "lives_searched": found.searched,
        "lives_confirmed": found.confirmed,
        "stopped": found.stopped,
    })
}

fn of_no_use(lever: &Lever, why: &Useless) -> Value {
    let (word, share, refused) = match why {
        Useless::NotEnough(share) => ("not_enough", Some(share), None),
        Useless::OnlyWithPerfectGauge(share) => ("only_with_perfect_gauge", Some(share), None),
        Useless::BestAlready => ("best_already", None, None),
        Useless::Refused(message) => ("refused", None, Some(message)),
    };
    json!({
        "lever": sentences::remedy::lever(lever),
        "why": word,
        "without_outage_percent": share.map_or(Value::Null, |share| number(share.percent())),
        "refused": refused,
    })
}

fn remedy(subject: &ReportedDesign, remedy: &Remedy) -> Value {
    let (proof, judged, share) = match &remedy.proof {
        Proof::Heard(_, judged) => ("links_and_fresh_lives", Some(judged), Some(judged.without_outage)),
        Proof::Fresh(judged) => ("fresh_lives", Some(judged), Some(judged.without_outage)),
        Proof::Searched(share) => ("searched_lives", None, Some(*share)),
        Proof::Reckoned => ("reckoned", None, None),
    };
    json!({
        "question": words::question(remedy.question),
        "changes": remedy.moved.iter().map(|one| moved(subject, one)).collect::<Vec<_>>(),
        "known_from": proof,
        "usually_heard_at": if let Proof::Heard(rate, _) = &remedy.proof { json!(rate) } else { Value::Null },
        "verdict": judged.map(|judged| verdict(judged.verdict)),
        "without_outage_percent": share.map(|share| number(share.percent())),
        "interval_percent": judged.map(|judged| {
            [number(judged.interval.0.percent()), number(judged.interval.1.percent())]
        }),
        "worst_fifth_percent": judged.map(|judged| number(judged.worst_fifth.percent())),
        "reports_per_year": judged.map(|judged| number(judged.reports_per_year)),
    })
}

fn moved(subject: &ReportedDesign, moved: &Moved) -> Value {
    let field = sentences::remedy::field(moved);
    json!({
        "lever": sentences::remedy::lever(&moved.lever),
        "field": field,
        "line": field.as_ref().and_then(|field| subject.lines.get(field)),
        "now": moved.now,
        "then": moved.then,
    })
}
