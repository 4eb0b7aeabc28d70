//! Questions that look.

use std::collections::BTreeSet;

use api::shape;
use logbook::people::{Sight, Word};
use logbook::readings::Kind;
use logbook::received::Moment;
use logbook::registry::Node;
use logbook::store::alarms::{self, KeptAlarm};
use logbook::store::columns::{self, Borders, Of};
use logbook::store::{settings, since, visits};
use logbook::watch::About;
use rusqlite::{Connection, OptionalExtension as _};

use crate::web::shown::day_in_utc;

use super::ask::{Asked, Refused, text, time, time_if};

pub(super) fn me(asked: &Asked, _: &Connection) -> Result<String, Refused> {
    text(&shape::Me {
        name: asked.asker.name().to_owned(),
        may: asked.asker.may().word().to_owned(),
        form: asked.asker.form_word().map(Word::reveal).map(str::to_owned),
    })
}

pub(super) fn nodes(asked: &Asked, log: &Connection) -> Result<String, Refused> {
    let names: BTreeSet<&str> = asked.house.known.rows.iter().map(|row| row.name.as_str()).collect();
    let nodes = names.into_iter().map(|name| of_name(asked, log, name));
    text(&shape::Nodes { nodes: nodes.collect::<Result<_, _>>()? })
}

pub(super) fn node(asked: &Asked, log: &Connection) -> Result<String, Refused> {
    text(&of_name(asked, log, asked.part("name"))?)
}

fn nobody(name: &str) -> Refused {
    Refused::Nothing(format!("no node is called {name:?}"))
}

fn of_name(asked: &Asked, log: &Connection, name: &str) -> Result<shape::Node, Refused> {
    let known = &asked.house.known;
    let Some((row, ..)) = known.boards(name).pop() else { return Err(nobody(name)) };
    let dev_eui = row.dev_eui.to_string();
    let place = asked.house.labels().places.get(&dev_eui).copied();
    let kind = known.kinds.iter().find(|kind| kind.name == row.kind);
    Ok(shape::Node {
        name: row.name.clone(),
        kind: row.kind.clone(),
        place: place.map(|(latitude_deg, longitude_deg)| shape::Place { latitude_deg, longitude_deg }),
        last_heard_at: time_if(last_heard(log, &dev_eui)?)?,
        dev_eui,
        messages: kind.map(messages).unwrap_or_default(),
    })
}

fn messages(kind: &Kind) -> Vec<shape::Message> {
    let message = |message: &logbook::readings::Uplinked| shape::Message {
        name: message.name.clone(),
        fields: message.columns.iter().map(field).collect(),
    };
    kind.messages.iter().map(message).collect()
}

fn field(column: &logbook::readings::Column) -> shape::Field {
    shape::Field { name: column.name.to_string(), title: column.title.clone(), unit: column.unit.to_string() }
}

/// When the newest genuine uplink of a board was heard.
fn last_heard(log: &Connection, dev_eui: &str) -> Result<Option<Moment>, Refused> {
    let sql = "SELECT max(newest) FROM (SELECT (SELECT max(at) FROM frame WHERE session = session.id AND verdict = 'new') \
               AS newest FROM session JOIN node ON node.id = session.node WHERE node.dev_eui = ?)";
    Ok(log.prepare_cached(sql)?.query_row([dev_eui], |row| row.get(0)).optional()?.flatten())
}

pub(super) fn series(asked: &Asked, log: &Connection) -> Result<String, Refused> {
    let (name, message, field) = (asked.part("name"), asked.needed("message")?, asked.needed("field")?);
    let boards = asked.house.known.boards(name);
    let Some((row, ..)) = boards.last() else { return Err(nobody(name)) };
    let unit = unit(asked, row, message, field)?;
    if asked.is_cut() && Sight::is_of_position(field) {
        let why =
            "positions over time are for people who may act; those who may read see them cut, in `frames`";
        return Err(Refused::NotForYou(why.to_owned()));
    }
    let (from, to) = asked.span()?;
    let count = asked.number("columns", 1000, (1, 5000))?;
    let borders = Borders::new(from, to, u32::try_from(count).unwrap_or(u32::MAX));
    let mut columns = Vec::new();
    for (row, since, until) in boards {
        let dev_eui = row.dev_eui.to_string();
        let found = columns::columns(log, Of { dev_eui: &dev_eui, message, field }, borders)?;
        columns.extend(found.into_iter().filter(|column| (since..until).contains(&column.from)));
    }
    let column = |column: columns::Column| {
        Ok(shape::Column {
            from: time(column.from)?,
            n: column.n,
            least: column.least,
            mean: column.mean,
            greatest: column.greatest,
            beyond_range: column.beyond_range,
        })
    };
    text(&shape::Series {
        node: name.to_owned(),
        message: message.to_owned(),
        field: field.to_owned(),
        unit,
        from: time(borders.from)?,
        to: time(borders.to)?,
        column_s: borders.width as f64 / 1e6,
        columns: columns.into_iter().map(column).collect::<Result<_, Refused>>()?,
    })
}

/// The unit of a field, if the design has it.
fn unit(asked: &Asked, row: &Node, message: &str, field: &str) -> Result<String, Refused> {
    let key = (row.kind.clone(), message.to_owned(), field.to_owned());
    let unit = asked.house.known.labels.units.get(&key);
    unit.cloned().ok_or_else(|| {
        Refused::Nothing(format!("the design `{}` has no field {field:?} in a message {message:?}", row.kind))
    })
}

pub(super) fn frames(asked: &Asked, log: &Connection) -> Result<String, Refused> {
    let after = asked.number("after", 0, (0, i64::MAX))?;
    let limit = usize::try_from(asked.number("limit", 100, (1, 1000))?).unwrap_or(1000);
    let verdict = asked.query.get("verdict").map(String::as_str);
    let wanted = u32::try_from(limit + 1).unwrap_or(u32::MAX);
    let newest = since::newest(log)?;
    let mut rows = since::frames_of(log, after, verdict, wanted)?;
    let more = rows.len() > limit;
    rows.truncate(limit);
    // Of others none need be looked through again.
    let next_after = if more { rows.last().map_or(after, |row| row.seq) } else { newest.max(after) };
    let frames = rows.into_iter().map(|row| frame(asked, row)).collect::<Result<_, _>>()?;
    text(&shape::Frames { frames, next_after, more })
}

fn frame(asked: &Asked, row: since::Row) -> Result<shape::Frame, Refused> {
    let dev_eui = row.dev_eui.unwrap_or_default();
    let readings = row.readings.into_iter().map(|mut said| {
        asked.cut(&dev_eui, said.at, &mut said.values);
        Ok(shape::Reading {
            at: time(said.at)?,
            message: said.message,
            values: said.values.into_iter().collect(),
            beyond_range: said.marks,
            late: said.late,
            rebuilt: said.rebuilt,
        })
    });
    Ok(shape::Frame {
        id: row.seq,
        readings: readings.collect::<Result<_, Refused>>()?,
        node: (!dev_eui.is_empty()).then(|| asked.house.known.labels.name(&dev_eui).to_owned()),
        verdict: row.verdict,
        reason: row.reason,
        arrived_at: time(row.arrived_at)?,
        at: time(row.at)?,
        fcnt: row.fcnt,
        port: row.port,
        source: row.source,
        data_rate: row.data_rate,
        rssi_dbm: row.rssi_dbm,
        snr_db: row.snr_db,
    })
}

pub(super) fn gateways(_: &Asked, log: &Connection) -> Result<String, Refused> {
    let sql =
        "SELECT name, eui, last_sign_of_life, last_report FROM gateway ORDER BY name IS NULL, name, eui";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut gateways = Vec::new();
    while let Some(row) = rows.next()? {
        gateways.push(shape::Gateway {
            name: row.get(0)?,
            eui: row.get(1)?,
            last_sign_of_life_at: time_if(row.get(2)?)?,
            last_report_at: time_if(row.get(3)?)?,
        });
    }
    text(&shape::Gateways { gateways })
}

/// Closed alarms of one answer.
const PAST: u32 = 100;

pub(super) fn alarms(asked: &Asked, log: &Connection) -> Result<String, Refused> {
    let before = asked.number("before", i64::MAX, (1, i64::MAX))?;
    let past = alarms::past_alarms(log, Some(before), PAST)?;
    let oldest = past.last().map(|kept| kept.alarm.id).filter(|_| past.len() == PAST as usize);
    let shown =
        |all: Vec<KeptAlarm>| all.into_iter().map(|kept| alarm(asked, kept)).collect::<Result<_, _>>();
    text(&shape::Alarms { open: shown(alarms::open_alarms(log)?)?, past: shown(past)?, next_before: oldest })
}

pub(super) fn alarm(asked: &Asked, kept: KeptAlarm) -> Result<shape::Alarm, Refused> {
    let (alarm, known) = (kept.alarm, &asked.house.known);
    let (node, gateway) = match alarm.key.about {
        About::Node(dev_eui) => (Some(known.labels.name(&dev_eui.to_string()).to_owned()), None),
        About::Gateway(eui) => (None, Some(known.gateway(eui))),
        About::Log => (None, None),
    };
    let seen = kept.seen.map(|seen| Ok(shape::Seen { at: time(seen.at)?, by: seen.by, word: seen.word }));
    Ok(shape::Alarm {
        id: alarm.id,
        rule: alarm.key.rule.word().to_owned(),
        node,
        gateway,
        opened_at: time(alarm.opened_at)?,
        closed_at: time_if(alarm.closed_at)?,
        cause: alarm.cause,
        evidence: alarm.evidence.into_iter().collect(),
        seen: seen.transpose().map_err(|error: Refused| error)?,
    })
}

pub(super) fn settings(asked: &Asked, log: &Connection) -> Result<String, Refused> {
    let known = &asked.house.known;
    let of = asked.query.get("node").map(|name| known.board(name).ok_or_else(|| nobody(name)));
    let of = of.transpose()?.map(|dev_eui| dev_eui.to_string());
    let settings = settings::settings(log, of.as_deref(), 1000)?.into_iter().map(|setting| {
        let values = setting.values.as_object().cloned().unwrap_or_default();
        Ok(shape::Setting {
            id: setting.id,
            node: known.labels.name(&setting.dev_eui).to_owned(),
            message: setting.message,
            values: values.into_iter().collect(),
            asked_by: setting.asked_by,
            asked_at: time(setting.asked_at)?,
            state: setting.state.word().to_owned(),
        })
    });
    text(&shape::Settings { settings: settings.collect::<Result<_, Refused>>()? })
}

pub(super) fn visits(asked: &Asked, log: &Connection) -> Result<String, Refused> {
    let known = &asked.house.known;
    let of = asked.query.get("node").map(|name| known.board(name).ok_or_else(|| nobody(name)));
    let of = of.transpose()?.map(|dev_eui| dev_eui.to_string());
    let visits = visits::visits(log, of.as_deref(), 1000)?.into_iter().map(|visit| {
        Ok(shape::Visit {
            id: visit.id,
            node: known.labels.name(&visit.dev_eui).to_owned(),
            at: time(visit.at)?,
            by: visit.by,
            what: visit.what,
            parts: visit.parts,
            has_photo: visit.photo_file.is_some(),
            certificate: visit.certificate,
            due: visit.due.and_then(day_in_utc),
        })
    });
    text(&shape::Visits { visits: visits.collect::<Result<_, Refused>>()? })
}
