//! What the network makes of a frame becomes rows.
//!
//! The network moves on as it judges, before its rows are on the disk. If they can't be committed, the keeper is loaded anew
//! from the log, and nothing that was judged in between has happened.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

use rusqlite::{Connection, params};
use sha2::{Digest as _, Sha256};
use wire::frame::{self, Direction, Frame};
use wire::identity::{DevEui, GatewayEui};

use super::rows::{self, FrameRow, Id, ReadingRow};
use super::setup::{Addresses, Setup};
use super::{StoreError, view};
use crate::digits::hex;
use crate::network::{Heard, Joined, Member, Network, Refusal, Uplink, Verdict};
use crate::readings::Said;
use crate::received::{Checksum, Moment, Radio, Received};

/// Sessions of a node that are loaded again at a start: the open one, one that waits, and those that tell a recording.
const SESSIONS: u32 = 6;
/// Seconds of an hour in the unit of the log.
const HOUR: Moment = 3_600_000_000;

/// A frame that is on the disk.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// Its number: counts up in the order of keeping.
    pub seq: i64,
    /// When this copy arrived.
    pub arrived_at: Moment,
    /// The word for what became of it.
    pub verdict: String,
    /// Why, where there is more to say.
    pub reason: Option<String>,
    /// Whose it is, where that is known.
    pub dev_eui: Option<DevEui>,
    /// What people call that node.
    pub name: Option<String>,
    /// Its counter, if it is genuine.
    pub fcnt: Option<u32>,
    /// Its port, if it is genuine and has one.
    pub port: Option<u8>,
    /// What it says, if it could be read.
    pub message: Option<Told>,
    /// Which gateway heard this copy; its name, if it has one here.
    pub gateway: (GatewayEui, Option<String>),
    /// How it was heard.
    pub radio: Radio,
    /// Bytes of the frame.
    pub length: usize,
}

/// What a message says, value by value.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Its key in the design.
    pub message: String,
    /// Its values as they are kept, in the order of the design.
    pub values: Vec<ToldValue>,
}

/// One value of a message.
#[derive(Clone, Debug, PartialEq)]
pub struct ToldValue {
    /// Its column.
    pub name: String,
    /// UCUM unit; `1` where there is none.
    pub unit: String,
    /// As it is kept; null if absent.
    pub value: serde_json::Value,
}

/// Turns frames into rows, and knows what the log holds of every node.
pub struct Keeper {
    setup: Setup,
    addresses: Arc<Mutex<Addresses>>,
    network: Network<Addresses>,
    nodes: BTreeMap<DevEui, Known>,
    gateways: BTreeMap<GatewayEui, Id>,
    editions: Vec<Id>,
    next_frame: Id,
}

/// A node as the log knows it.
#[derive(Clone, Debug)]
struct Known {
    id: Id,
    open: Option<Running>,
    pending: Option<Id>,
    stale_hour: Option<Moment>,
}

#[derive(Clone, Copy, Debug)]
struct Running {
    session: Id,
    last: Option<u32>,
}

/// Where a frame stands in what came before.
#[derive(Clone, Copy, Debug, Default)]
struct Belongs {
    session: Option<Id>,
    /// Messages between it and the one before that did not come.
    lost: usize,
}

impl fmt::Debug for Keeper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Keeper").field("nodes", &self.nodes.len()).finish_non_exhaustive()
    }
}

impl Keeper {
    /// Brings the log up to the site, and the network up to the log.
    ///
    /// # Errors
    /// [`StoreError`]; what was begun is to be rolled back.
    pub fn start(mut setup: Setup, log: &Connection, now: Moment) -> Result<Self, StoreError> {
        let none: Addresses = Box::new(|| wire::identity::DevAddr::from_display_bytes([0; 4]));
        let addresses = Arc::new(Mutex::new(std::mem::replace(&mut setup.addresses, none)));
        for (name, eui) in &setup.gateways {
            rows::gateway(log, *eui, Some(name))?;
        }
        for row in &setup.registry {
            rows::node(log, row.dev_eui, row.join_eui)?;
        }
        let editions = editions(log, &setup, now)?;
        let network = Network::new([], [], setup.windows, source(&addresses));
        let mut keeper = Self {
            setup,
            addresses,
            network,
            nodes: BTreeMap::new(),
            gateways: BTreeMap::new(),
            editions,
            next_frame: 0,
        };
        keeper.load(log)?;
        Ok(keeper)
    }

    /// What is known of the site.
    pub const fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Forgets what was judged since, and takes up what the log holds.
    ///
    /// # Errors
    /// [`StoreError`] if it can't be read.
    pub fn load(&mut self, log: &Connection) -> Result<(), StoreError> {
        self.next_frame =
            log.query_row("SELECT coalesce(max(id), 0) + 1 FROM frame", [], |row| row.get(0))?;
        self.gateways.clear();
        self.nodes.clear();
        let mut members = Vec::new();
        for row in &self.setup.registry {
            let Some(kept) = rows::node_row(log, row.dev_eui)? else { continue };
            self.nodes.insert(row.dev_eui, known(log, kept.id)?);
            let Some(key) = self.setup.keys.get(&row.dev_eui) else { continue };
            let first = first_join(log, kept.id)?;
            members.push(Member {
                dev_eui: row.dev_eui,
                join_eui: row.join_eui,
                app_key: key.clone(),
                dev_nonce: if first.is_some() { None } else { kept.dev_nonce },
                join_nonce: first.map_or(kept.join_nonce, |first| first - 1),
                dev_addr: kept.dev_addr,
            });
        }
        let gateways = self.setup.gateways.iter().map(|(_, eui)| *eui);
        self.network = Network::new(gateways, members, self.setup.windows, source(&self.addresses));
        self.hear_again(log)
    }

    /// The network judges once more what it had accepted, and stands where it stood.
    fn hear_again(&mut self, log: &Connection) -> Result<(), StoreError> {
        let Some((_, gateway)) = self.setup.gateways.first() else { return Ok(()) };
        let mut statement = log.prepare_cached(
            "SELECT frame.bytes, frame.arrived_at FROM frame WHERE verdict IN ('join', 'new', 'late') AND session IN \
             (SELECT id FROM session WHERE node = ?1 AND source IS NULL ORDER BY id DESC LIMIT ?2) ORDER BY frame.id",
        )?;
        for known in self.nodes.values() {
            let mut found = statement.query(params![known.id, SESSIONS])?;
            while let Some(row) = found.next()? {
                self.network.hear(&Received {
                    arrived_at: row.get(1)?,
                    gateway: *gateway,
                    bytes: row.get(0)?,
                    checksum: Checksum::Good,
                    radio: Radio {
                        frequency_hz: 0,
                        data_rate: String::new(),
                        rssi_dbm: None,
                        snr_db: None,
                        clock_us: None,
                    },
                });
            }
        }
        Ok(())
    }

    /// Judges one copy of a frame and writes its rows.
    ///
    /// # Errors
    /// [`StoreError`]; then the keeper is to be loaded again.
    pub fn hear(&mut self, log: &Connection, received: &Received, source: &str) -> Result<Kept, StoreError> {
        let heard = self.network.hear(received);
        let gateway = self.gateway(log, received.gateway)?;
        let reason = reason(&heard.verdict);
        let mut kept = self.about(received, &heard, reason);
        if heard.verdict == Verdict::Copy
            && let Some(frame) = self.copied(log, received, &heard)?
        {
            kept.seq = frame;
            rows::keep_reception(log, frame, gateway, received)?;
            return Ok(kept);
        }
        let belongs = self.session(log, received, &heard)?;
        self.keep_frame(log, received, source, belongs, heard.uplink.as_ref(), &mut kept)?;
        rows::keep_reception(log, kept.seq, gateway, received)?;
        Ok(kept)
    }

    /// Keeps a frame that made the log refuse its rows: its bytes, and why.
    ///
    /// # Errors
    /// [`StoreError`] if even that can't be kept.
    pub fn keep_bytes(
        &mut self,
        log: &Connection,
        received: &Received,
        source: &str,
        why: &str,
    ) -> Result<Kept, StoreError> {
        let refused =
            Heard { verdict: Verdict::Refused(Refusal::Foreign), dev_eui: None, uplink: None, joined: None };
        let mut kept = self.about(received, &refused, Some(why.to_owned()));
        "refused:store".clone_into(&mut kept.verdict);
        let gateway = self.gateway(log, received.gateway)?;
        self.keep_frame(log, received, source, Belongs::default(), None, &mut kept)?;
        rows::keep_reception(log, kept.seq, gateway, received)?;
        Ok(kept)
    }

    /// A gateway has shown that it lives.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn sign_of_life(
        &mut self,
        log: &Connection,
        eui: GatewayEui,
        at: Moment,
        address: Option<&str>,
    ) -> Result<(), StoreError> {
        let gateway = self.gateway(log, eui)?;
        rows::sign_of_life(log, gateway, at, address)
    }

    fn about(&self, received: &Received, heard: &Heard, reason: Option<String>) -> Kept {
        let row = heard.dev_eui.and_then(|dev_eui| self.setup.row_at(dev_eui, received.arrived_at));
        let named = self.setup.gateways.iter().find(|(_, eui)| *eui == received.gateway);
        Kept {
            seq: 0,
            arrived_at: received.arrived_at,
            verdict: heard.verdict.to_string(),
            reason,
            dev_eui: heard.dev_eui,
            name: row.map(|row| row.name.clone()),
            fcnt: heard.uplink.as_ref().map(|uplink| uplink.fcnt),
            port: heard.uplink.as_ref().and_then(|uplink| Some(uplink.application.as_ref()?.0)),
            message: None,
            gateway: (received.gateway, named.map(|(name, _)| name.clone())),
            radio: received.radio.clone(),
            length: received.bytes.len(),
        }
    }

    fn gateway(&mut self, log: &Connection, eui: GatewayEui) -> Result<Id, StoreError> {
        if let Some(id) = self.gateways.get(&eui) {
            return Ok(*id);
        }
        let id = rows::gateway(log, eui, None)?;
        self.gateways.insert(eui, id);
        Ok(id)
    }

    /// The frame that was kept already, of which this is a copy.
    fn copied(&self, log: &Connection, received: &Received, heard: &Heard) -> Result<Option<Id>, StoreError> {
        let Some(known) = heard.dev_eui.and_then(|dev_eui| self.nodes.get(&dev_eui)) else { return Ok(None) };
        if let Ok(Frame::Data(data)) = frame::parse(&received.bytes) {
            let Some(open) = known.open else { return Ok(None) };
            let last = open.last.unwrap_or_default();
            return rows::frame_of_copy(log, open.session, data.carried_fcnt(), last, &received.bytes);
        }
        for session in known.pending.into_iter().chain(known.open.map(|open| open.session)) {
            let found = rows::frame_of_join(log, session, &received.bytes)?;
            if found.is_some() {
                return Ok(found);
            }
        }
        Ok(None)
    }

    /// The session to which a frame belongs, begun or opened by it if need be.
    fn session(
        &mut self,
        log: &Connection,
        received: &Received,
        heard: &Heard,
    ) -> Result<Belongs, StoreError> {
        let Some(known) = heard.dev_eui.and_then(|dev_eui| self.nodes.get_mut(&dev_eui)) else {
            return Ok(Belongs::default());
        };
        match (&heard.joined, &heard.uplink) {
            (Some(joined), _) => known.join(log, joined, received.arrived_at),
            (None, Some(uplink)) => known.take(log, uplink, received.arrived_at),
            // Genuine, but of no effect.
            (None, None) => {
                let genuine = matches!(heard.verdict, Verdict::Refused(Refusal::Counter { .. }));
                let session = known.open.filter(|_| genuine).map(|open| open.session);
                Ok(Belongs { session, lost: 0 })
            }
        }
    }

    fn keep_frame(
        &mut self,
        log: &Connection,
        received: &Received,
        source: &str,
        belongs: Belongs,
        uplink: Option<&Uplink>,
        kept: &mut Kept,
    ) -> Result<(), StoreError> {
        kept.seq = self.next_frame;
        let payload = uplink.and_then(|uplink| uplink.application.as_ref());
        let said = match (payload, kept.dev_eui) {
            (Some((port, payload)), Some(dev_eui)) if *port > 0 => {
                Some(self.said(dev_eui, received.arrived_at, *port, payload))
            }
            _ => None,
        };
        if let Some(Err(unreadable)) = &said {
            kept.reason = Some(unreadable.clone());
        }
        FrameRow {
            id: kept.seq,
            received,
            source,
            kind: kind(&received.bytes),
            verdict: &kept.verdict,
            reason: kept.reason.as_deref(),
            session: belongs.session,
            fcnt: kept.fcnt,
            port: kept.port,
            flags: uplink.map(|uplink| (uplink.confirmed, uplink.control.adr())),
            payload: payload.map(|(_, payload)| payload.as_slice()),
            options: uplink.map(|uplink| uplink.commands.as_slice()).filter(|commands| !commands.is_empty()),
        }
        .keep(log)?;
        if let Some(Ok((edition, said))) = said {
            self.keep_readings(log, edition, &said, belongs.lost, kept)?;
            let named = said.message.columns.iter().zip(said.values);
            let values = named.map(|(column, value)| ToldValue {
                name: column.name.clone(),
                unit: column.unit.clone(),
                value,
            });
            kept.message = Some(Told { message: said.message.name.clone(), values: values.collect() });
            self.note_stale(log, kept)?;
        }
        self.next_frame += 1;
        Ok(())
    }

    /// What a payload says by the design of the row in force, or why it says nothing.
    fn said(&self, dev_eui: DevEui, at: Moment, port: u8, payload: &[u8]) -> Result<(Id, Said<'_>), String> {
        let row = self.setup.row_at(dev_eui, at).ok_or("the registry has no row for it")?;
        let place = self.setup.kind(&row.kind);
        let place = place.ok_or_else(|| format!("no node of the site file is of kind `{}`", row.kind))?;
        let (kind, edition) = (&self.setup.kinds[place], self.editions[place]);
        kind.read(port, payload).map(|said| (edition, said)).map_err(|error| error.to_string())
    }

    fn keep_readings(
        &self,
        log: &Connection,
        edition: Id,
        said: &Said<'_>,
        lost: usize,
        kept: &Kept,
    ) -> Result<(), StoreError> {
        let Some(known) = kept.dev_eui.and_then(|dev_eui| self.nodes.get(&dev_eui)) else { return Ok(()) };
        let marks = (!said.marks.is_empty()).then(|| serde_json::json!(said.marks).to_string());
        let row = ReadingRow {
            node: known.id,
            at: kept.arrived_at,
            message: &said.message.name,
            frame: kept.seq,
            edition,
            values: &said.values,
            marks,
            rebuilt: false,
            late: kept.verdict == "late",
        };
        row.keep(log)?;
        // Readings that rode along are kept where the messages that had brought them were lost.
        for (before, values) in said.earlier.iter().take(lost) {
            let at = kept.arrived_at - before;
            ReadingRow { at, values, marks: None, rebuilt: true, ..row }.keep(log)?;
        }
        Ok(())
    }

    /// Notes that the hour of this node must be worked out again; once for the hour that runs.
    fn note_stale(&mut self, log: &Connection, kept: &Kept) -> Result<(), StoreError> {
        let known = kept.dev_eui.and_then(|dev_eui| self.nodes.get_mut(&dev_eui));
        let Some(known) = known else { return Ok(()) };
        let hour = kept.arrived_at.div_euclid(HOUR);
        if known.stale_hour != Some(hour) {
            known.stale_hour = Some(hour);
            log.prepare_cached("INSERT OR IGNORE INTO stale_hour (node, hour) VALUES (?, ?)")?
                .execute(params![known.id, hour])?;
        }
        Ok(())
    }
}

impl Known {
    fn join(&mut self, log: &Connection, joined: &Joined, at: Moment) -> Result<Belongs, StoreError> {
        rows::join(log, self.id, joined)?;
        let session = rows::begin_session(log, self.id, joined, at)?;
        self.pending = Some(session);
        Ok(Belongs { session: Some(session), lost: 0 })
    }

    fn take(&mut self, log: &Connection, uplink: &Uplink, at: Moment) -> Result<Belongs, StoreError> {
        if uplink.opens
            && let Some(pending) = self.pending.take()
        {
            rows::open_session(log, pending, self.open.map(|open| open.session), at)?;
            self.open = Some(Running { session: pending, last: None });
        }
        let missing = || StoreError::Row { why: "its session is not in the log".to_owned() };
        let open = self.open.as_mut().ok_or_else(missing)?;
        let newer = open.last.is_none_or(|last| last < uplink.fcnt);
        let expected = open.last.map_or(uplink.fcnt, |last| last.saturating_add(1));
        if newer {
            rows::counter_up(log, open.session, uplink.fcnt)?;
            open.last = Some(uplink.fcnt);
        }
        let lost = usize::try_from(uplink.fcnt.saturating_sub(expected)).unwrap_or(usize::MAX);
        Ok(Belongs { session: Some(open.session), lost: if newer { lost } else { 0 } })
    }
}

fn source(addresses: &Arc<Mutex<Addresses>>) -> Addresses {
    let addresses = Arc::clone(addresses);
    Box::new(move || (addresses.lock().unwrap_or_else(PoisonError::into_inner))())
}

/// What the log says of a node's sessions.
fn known(log: &Connection, node: Id) -> Result<Known, StoreError> {
    let mut known = Known { id: node, open: None, pending: None, stale_hour: None };
    let mut statement = log.prepare_cached(
        "SELECT id, state, last_up FROM session WHERE node = ? AND source IS NULL AND state <> 'closed' ORDER BY id",
    )?;
    let mut found = statement.query([node])?;
    while let Some(row) = found.next()? {
        let session = row.get(0)?;
        match row.get_ref(1)?.as_str().unwrap_or_default() {
            "open" => known.open = Some(Running { session, last: row.get(2)? }),
            _ => known.pending = Some(session),
        }
    }
    Ok(known)
}

/// The nonce with which the oldest session was answered that is heard again.
fn first_join(log: &Connection, node: Id) -> Result<Option<u32>, StoreError> {
    Ok(log.query_row(
        "SELECT min(join_nonce) FROM (SELECT join_nonce FROM session WHERE node = ? AND source IS NULL \
         ORDER BY id DESC LIMIT ?)",
        params![node, SESSIONS],
        |row| row.get(0),
    )?)
}

/// The editions of the kinds as they are now, each with its view; those of other texts end.
fn editions(log: &Connection, setup: &Setup, now: Moment) -> Result<Vec<Id>, StoreError> {
    let mut ids = Vec::new();
    for kind in &setup.kinds {
        let digest = hex(&Sha256::digest(&kind.design));
        log.execute(
            "UPDATE edition SET until = ?3 WHERE kind = ?1 AND digest <> ?2 AND until IS NULL",
            params![kind.name, digest, now],
        )?;
        ids.push(log.query_row(
            "INSERT INTO edition (kind, digest, design, since, fields) VALUES (?, ?, ?, ?, ?) \
             ON CONFLICT (digest) DO UPDATE SET until = NULL RETURNING id",
            params![kind.name, digest, kind.design, now, kind.fields().to_string()],
            |row| row.get(0),
        )?);
        view::make(log, &kind.name)?;
    }
    Ok(ids)
}

/// What kind of frame the bytes are, as the column says it.
fn kind(bytes: &[u8]) -> &'static str {
    match frame::parse(bytes) {
        Ok(Frame::JoinRequest(_)) => "join",
        Ok(Frame::Data(data)) if data.direction() == Direction::Up => "up",
        _ => "other",
    }
}

/// Why a frame has no effect, where its verdict does not say it all.
fn reason(verdict: &Verdict) -> Option<String> {
    let Verdict::Refused(refusal) = verdict else { return None };
    match refusal {
        Refusal::Shape(error) => Some(error.to_string()),
        Refusal::Nonce { found, last } => Some(format!("nonce {found} is not above {last}")),
        Refusal::Counter { found, last, used: true } => Some(format!(
            "counter {found} was used with other bytes, the newest is {last}: the node lost its memory; let it join again"
        )),
        Refusal::Counter { found, last, used: false } => {
            Some(format!("counter {found} is far below the newest, {last}"))
        }
        _ => None,
    }
}
