//! What would make a node hold, in sentences and rows that text and page share.

use verdict::Question;
use verdict::plan::{Plan, Verdict};
use verdict::remedy::{Lever, Moved, Proof, Remedies, Remedy, Useless};

use super::share;
use crate::{ReportedDesign, words};

/// Changes named in the sentence under the verdict.
const NAMED: usize = 3;
/// Changes shown as rows.
const SHOWN: usize = 8;

/// One change as a row of the table.
pub struct RemedyRow {
    /// What changes, with its line in the design file.
    pub what: String,
    /// Share of lives without an outage; empty where no life was lived for it.
    pub lives: String,
    /// What the design says.
    pub now: String,
    /// What it would say.
    pub then: String,
    /// Whether it is tight, or not confirmed, or at which rate it is heard.
    pub remark: String,
}

/// "It would hold with a report every 40 min, or a panel of 2 W."; nothing where it holds or nothing is known to help.
pub fn sentence(remedies: &Remedies, plan: &Plan) -> Option<String> {
    let of_life: Vec<&Remedy> =
        remedies.holds.iter().filter(|remedy| remedy.question == Question::Life).collect();
    let firm: Vec<&Remedy> = of_life.iter().copied().filter(|remedy| remedy.is_firm()).collect();
    let said = |remedies: &[&Remedy]| {
        let named: Vec<String> = remedies.iter().take(NAMED).map(|remedy| phrase(remedy)).collect();
        named.join(", or ")
    };
    if !firm.is_empty() {
        return Some(format!("It would hold with {}.", said(&firm)));
    }
    if !of_life.is_empty() {
        return Some(format!("It would be tight with {}, and nothing alone makes it hold.", said(&of_life)));
    }
    if !remedies.spare.is_empty() && plan.verdict == Verdict::Holds {
        let spare: Vec<&Remedy> = remedies.spare.iter().collect();
        return Some(format!("Room to spare: it would still hold with {}.", said(&spare)));
    }
    let tried = remedies.searched > 0 && matches!(plan.verdict, Verdict::Fails | Verdict::Tight);
    let none = "No single change of its parts or its reports would make it hold, nor any two of them.";
    (tried && !remedies.stopped && !remedies.useless.is_empty()).then(|| none.to_owned())
}

/// A change as words that follow "with".
fn phrase(remedy: &Remedy) -> String {
    remedy.moved.iter().map(one).collect::<Vec<_>>().join(" and ")
}

fn one(moved: &Moved) -> String {
    let then = &moved.then;
    match &moved.lever {
        Lever::Interval { activity, .. } if activity == "report" => format!("a report every {then}"),
        Lever::Interval { activity, .. } => format!("`{activity}` every {then}"),
        Lever::Table { .. } => format!("a table by month and charge ({then}; `overwinter table` writes it)"),
        Lever::DataRate => format!("data rate {then}"),
        Lever::Panel => format!("a panel of {then}"),
        Lever::LeavePanelOut => "no panel at all".to_owned(),
        Lever::Tilt => format!("the panel tilted {then}"),
        Lever::Azimuth => format!("the panel facing {then}"),
        Lever::Capacity => format!("a battery of {then}"),
        Lever::BatteryKind => format!("another battery, {then}"),
        Lever::Charger => format!("charger {then}"),
        Lever::SleepCurrent { .. } => format!("a sleep current of {then}"),
        Lever::CutOff => format!("a stop at {then}"),
        Lever::PrimaryCell => format!("a primary cell, {then}, in place of the panel"),
        Lever::NodeMast => format!("the antenna {then} above the ground"),
        Lever::GatewayMast { gateway } => format!("the antenna of {gateway} {then} above the ground"),
        Lever::GatewayPlace { gateway } => format!("the antenna of {gateway} {then}"),
        Lever::GatewayAntenna { gateway } => format!("an antenna of {then} at {gateway}"),
        Lever::NodePlace => format!("the node at {then}"),
        Lever::SecondGateway { place } => format!("a second gateway at {place}"),
        Lever::AnotherGateway => "another gateway, or another place".to_owned(),
    }
}

/// What a lever is called in a table.
pub fn lever(lever: &Lever) -> String {
    match lever {
        Lever::Interval { activity, .. } => format!("interval of {activity}"),
        Lever::Table { activity, .. } => format!("{activity} by month and charge"),
        Lever::DataRate => "data rate".to_owned(),
        Lever::Panel => "panel".to_owned(),
        Lever::LeavePanelOut => "leave the panel out".to_owned(),
        Lever::Tilt => "tilt of the panel".to_owned(),
        Lever::Azimuth => "direction of the panel".to_owned(),
        Lever::Capacity => "battery capacity".to_owned(),
        Lever::BatteryKind => "another battery".to_owned(),
        Lever::Charger => "charger".to_owned(),
        Lever::SleepCurrent { load } => format!("sleep current, {load}"),
        Lever::CutOff => "stop voltage".to_owned(),
        Lever::PrimaryCell => "primary cell, no panel".to_owned(),
        Lever::NodeMast => "antenna height".to_owned(),
        Lever::GatewayMast { gateway } => format!("mast of {gateway}"),
        Lever::GatewayPlace { gateway } => format!("place of {gateway}"),
        Lever::GatewayAntenna { gateway } => format!("antenna of {gateway}"),
        Lever::NodePlace => "place of the node".to_owned(),
        Lever::SecondGateway { .. } => "second gateway".to_owned(),
        Lever::AnotherGateway => "another gateway".to_owned(),
    }
}

/// The key in the design file that a moved lever changes.
pub fn field(moved: &Moved) -> Option<String> {
    moved.change.as_ref().map(design::change::Change::key)
}

/// The tables, each with its title; a pair takes two rows.
pub fn tables(subject: &ReportedDesign, remedies: &Remedies) -> Vec<(&'static str, Vec<RemedyRow>)> {
    let rows = |shown: &[Remedy]| -> Vec<RemedyRow> {
        shown.iter().take(SHOWN).flat_map(|remedy| rows_of(subject, remedy)).collect()
    };
    let all = [("What would make it hold", &remedies.holds), ("Room to spare", &remedies.spare)];
    all.into_iter()
        .filter(|(_, shown)| !shown.is_empty())
        .map(|(title, shown)| (title, rows(shown)))
        .collect()
}

fn rows_of(subject: &ReportedDesign, remedy: &Remedy) -> Vec<RemedyRow> {
    let (lives, remark) = match &remedy.proof {
        Proof::Heard(rate, judged) => (share(judged.without_outage), format!("(at {rate})")),
        Proof::Fresh(judged) if judged.verdict == Verdict::Holds => {
            (share(judged.without_outage), String::new())
        }
        Proof::Fresh(judged) => (share(judged.without_outage), "tight".to_owned()),
        Proof::Searched(found) => (share(*found), "about".to_owned()),
        Proof::Reckoned => (words::question(remedy.question).to_owned(), String::new()),
    };
    let row = |(index, moved): (usize, &Moved)| {
        let name = lever(&moved.lever);
        let line = field(moved).and_then(|field| subject.lines.get(&field).copied());
        let what = line.map_or_else(|| name.clone(), |line| format!("{name} (line {line})"));
        RemedyRow {
            what: if index == 0 { what } else { format!("and {what}") },
            lives: if index == 0 { lives.clone() } else { String::new() },
            now: moved.now.clone(),
            then: moved.then.clone(),
            remark: if index == 0 { remark.clone() } else { String::new() },
        }
    };
    remedy.moved.iter().enumerate().map(row).collect()
}

/// What is of no use, and on how many lives all this rests.
pub fn remarks(remedies: &Remedies) -> Vec<String> {
    let of = |wanted: fn(&Useless) -> bool| {
        let levers = remedies.useless.iter().filter(move |(_, why)| wanted(why));
        levers.map(|(one, _)| lever(one)).collect::<Vec<_>>()
    };
    let mut said = Vec::new();
    let not_enough = of(|why| matches!(why, Useless::NotEnough(_)));
    if !not_enough.is_empty() {
        said.push(format!("Not enough alone, however far: {}.", not_enough.join("; ")));
    }
    let best = of(|why| matches!(why, Useless::BestAlready));
    if !best.is_empty() {
        said.push(format!("Already the best of its kind: {}.", best.join("; ")));
    }
    for (one, why) in &remedies.useless {
        match why {
            Useless::OnlyWithPerfectGauge(share) => said.push(format!(
                "Only if the node knew its charge: {} ({:.1} % of the lives pass with the error of its gauge).",
                lever(one),
                share.percent()
            )),
            Useless::Refused(message) => said.push(format!("Not possible here: {} ({message}).", lever(one))),
            Useless::NotEnough(_) | Useless::BestAlready => {}
        }
    }
    let lived = remedies
        .holds
        .iter()
        .chain(&remedies.spare)
        .any(|one| matches!(one.proof, Proof::Fresh(_) | Proof::Heard(..)));
    if lived {
        let (searched, confirmed) = (words::grouped(remedies.searched), words::grouped(remedies.confirmed));
        let about = remedies.holds.iter().any(|one| matches!(one.proof, Proof::Searched(_)));
        let but = if about { "; those marked about were not" } else { "" };
        said.push(format!("Found on {searched} lives and confirmed on {confirmed} others{but}."));
    }
    if remedies.stopped {
        said.push("The search was stopped early.".to_owned());
    }
    said
}
