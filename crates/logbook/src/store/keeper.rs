//! What the network makes of a frame becomes rows.
//!
//! A frame is judged once; its rows are written until they are on the disk. Only a frame that can never be kept is unjudged:
//! its device stands again where the log has it.

mod reported;

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::Arc;

use design::serve::Foreign;
use rusqlite::{Connection, params};
use sha2::{Digest as _, Sha256};
use wire::frame::{self, Direction, Frame};
use wire::identity::{DevEui, GatewayEui};

use super::answers::{self, Answers};
use super::hours::HOUR;
use super::rows::{self, Id};
use super::setup::{Addresses, Site, in_force};
use super::sheet::{FrameRow, ReceptionRow, Sheet};
use super::{StoreError, again, restore, settings, view};
use crate::clock::Belief;
use crate::digits::hex;
use crate::network::{
    DownlinkNumber, Effect, FrameNumber, Heard, Network, Refusal, SessionId, Uplink, Verdict, airtime,
};
use crate::readings::Said;
use crate::received::{Moment, Received, Report};
use crate::registry::Node;

/// A gateway's sign of life is written so often, though it gives one every few seconds.
const SIGNS_WRITTEN_EVERY: Moment = 60_000_000;
/// Strangers' frames that are removed in one transaction.
const FORGOTTEN_AT_ONCE: u32 = 5000;
/// Sessions of a node whose rows are remembered.
const SESSIONS: u32 = 6;
/// Newest frames of a session whose rows are remembered, for their copies; older ones are looked up.
const NEWEST: usize = 64;

/// A frame that is on the disk.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptFrame {
    /// Its number: counts up in the order of keeping.
    pub seq: i64,
    /// When this copy arrived.
    pub arrived_at: Moment,
    /// When it was heard, as far as that is known.
    pub at: Moment,
    /// The word for what became of it.
    pub verdict: &'static str,
    /// Why, where there is more to say.
    pub reason: Option<String>,
    /// Whose it is, where that is known.
    pub dev_eui: Option<DevEui>,
    /// What people call that node.
    pub name: Option<Arc<str>>,
    /// Its counter, if it is genuine.
    pub fcnt: Option<u32>,
    /// Its port, if it is genuine and has one.
    pub port: Option<u8>,
    /// What it says, if it could be read.
    pub message: Option<Told>,
    /// The way by which it came: `udp`, `websocket`, or the key of a source.
    pub source: Cow<'static, str>,
    /// Which gateway of ours heard this copy; its name, if it has one here.
    pub gateway: Option<(GatewayEui, Option<Arc<str>>)>,
    /// Modulation and rate, where they are known.
    pub data_rate: Option<String>,
    /// Centre of its channel, where it is known \[Hz\].
    pub frequency_hz: Option<u32>,
    /// Received power \[dBm\].
    pub rssi_dbm: Option<f64>,
    /// Signal to noise \[dB\].
    pub snr_db: Option<f64>,
    /// Bytes of the frame.
    pub length: usize,
    /// The computer's clock could not be believed when it arrived.
    pub clock_unsure: bool,
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
    pub name: Arc<str>,
    /// UCUM unit; `1` where there is none.
    pub unit: Arc<str>,
    /// As it is kept; null if absent.
    pub value: serde_json::Value,
    /// On which side it lies beyond the range, if it does: `below` or `above`.
    pub beyond: Option<&'static str>,
}

/// Turns frames into rows, and knows what the log holds of every node.
pub struct Keeper {
    site: Site,
    network: Network<Addresses>,
    answers: Answers,
    nodes: BTreeMap<DevEui, Known>,
    gateways: BTreeMap<GatewayEui, Id>,
    /// What the site file calls gateways, and the registry its nodes, row by row.
    gateway_names: BTreeMap<GatewayEui, Arc<str>>,
    node_names: Vec<Arc<str>>,
    editions: Vec<Id>,
    /// Places of a device's rows in the registry.
    registered: BTreeMap<DevEui, Vec<usize>>,
    next_frame: Id,
    runs: reported::Runs,
    /// Devices that other networks were asked to tell something.
    asked_elsewhere: BTreeSet<DevEui>,
    belief: Belief,
    /// The newest row of settings that the network knows.
    told_up_to: Id,
    /// When a gateway's sign of life was written last, and its address.
    signs: BTreeMap<GatewayEui, (Moment, Option<String>)>,
}

/// A node as the log knows it.
#[derive(Clone, Debug)]
struct Known {
    id: Id,
    /// Its newest sessions by the network's nonce.
    sessions: BTreeMap<u32, KnownSession>,
    stale_hour: Option<Moment>,
}

/// A session as the log knows it.
#[derive(Clone, Debug)]
struct KnownSession {
    id: Id,
    /// Newest counter.
    last: Option<u32>,
    /// Rows of its newest frames by counter.
    newest: BTreeMap<u32, Id>,
}

impl KnownSession {
    const fn begun(id: Id, last: Option<u32>) -> Self {
        Self { id, last, newest: BTreeMap::new() }
    }

    fn remember(&mut self, fcnt: u32, frame: Id) {
        self.newest.insert(fcnt, frame);
        if self.newest.len() > NEWEST {
            self.newest.pop_first();
        }
    }
}

/// A copy of a frame, the way by which it came, and what the network makes of it.
#[derive(Clone, Copy)]
pub(super) struct Copied<'a> {
    pub(super) received: &'a Received,
    pub(super) source: &'static str,
    pub(super) heard: &'a Heard,
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
    pub fn start(mut site: Site, log: &Connection, now: Moment, belief: Belief) -> Result<Self, StoreError> {
        for (name, eui) in &site.gateways {
            rows::gateway(log, *eui, Some(name))?;
        }
        for row in &site.registry {
            rows::node(log, row.dev_eui, row.join_eui)?;
        }
        let editions = editions(log, &site, now)?;
        let none: Addresses = Box::new(|| wire::identity::DevAddr::from_display_bytes([0; 4]));
        let addresses = std::mem::replace(&mut site.addresses, none);
        let mut network = Network::new(site.network.clone(), [], addresses);
        for (gateway, frequency_hz, at, airtime_us) in restore::transmissions(log, now)? {
            network.sent_before(gateway, frequency_hz, at, airtime_us);
        }
        let mut registered: BTreeMap<DevEui, Vec<usize>> = BTreeMap::new();
        for (place, row) in site.registry.iter().enumerate() {
            registered.entry(row.dev_eui).or_default().push(place);
        }
        let gateway_names = site.gateways.iter().map(|(name, eui)| (*eui, name.as_str().into())).collect();
        let node_names = site.registry.iter().map(|row| row.name.as_str().into()).collect();
        let mut keeper = Self {
            site,
            network,
            answers: Answers::default(),
            nodes: BTreeMap::new(),
            gateways: BTreeMap::new(),
            gateway_names,
            node_names,
            editions,
            registered,
            next_frame: 0,
            runs: reported::Runs::default(),
            asked_elsewhere: BTreeSet::new(),
            belief,
            told_up_to: 0,
            signs: BTreeMap::new(),
        };
        keeper.load(log)?;
        let devices: Vec<DevEui> = keeper.site.keys.keys().copied().collect();
        for dev_eui in devices {
            keeper.restore(log, dev_eui)?;
        }
        keeper.tell_settings(log)?;
        Ok(keeper)
    }

    /// Has the network tell nodes what people want since it was asked last.
    ///
    /// # Errors
    /// [`StoreError`] if it can't be read.
    pub fn tell_settings(&mut self, log: &Connection) -> Result<(), StoreError> {
        for (dev_eui, message) in settings::waiting(log, None, self.told_up_to)? {
            self.told_up_to = Id::try_from(message.number).unwrap_or(Id::MAX);
            // One whose key is not here waits, and is said to.
            let _unknown = self.network.tell(dev_eui, message);
        }
        Ok(())
    }

    /// What is known of the site.
    pub const fn site(&self) -> &Site {
        &self.site
    }

    /// Takes up what rows the log holds, after a transaction that did not end.
    ///
    /// # Errors
    /// [`StoreError`] if it can't be read.
    pub fn load(&mut self, log: &Connection) -> Result<(), StoreError> {
        self.next_frame =
            log.query_row("SELECT coalesce(max(id), 0) + 1 FROM frame", [], |row| row.get(0))?;
        self.gateways.clear();
        self.signs.clear();
        self.runs.clear();
        self.asked_elsewhere = settings::asked_of(log)?;
        self.nodes.clear();
        let devices: BTreeSet<DevEui> = self.site.registry.iter().map(|row| row.dev_eui).collect();
        for dev_eui in devices {
            self.nodes.extend(known(log, dev_eui)?.map(|known| (dev_eui, known)));
        }
        Ok(())
    }

    /// Puts the network's picture of a device to what the log holds.
    ///
    /// # Errors
    /// [`StoreError`] if it can't be read.
    pub fn restore(&mut self, log: &Connection, dev_eui: DevEui) -> Result<(), StoreError> {
        let Some(key) = self.site.keys.get(&dev_eui) else { return Ok(()) };
        if let Some((member, sessions)) = restore::device(log, &self.site, dev_eui, key)? {
            self.network.restore(member, sessions);
            let waiting = settings::waiting(log, Some(dev_eui), 0)?.into_iter();
            for (dev_eui, message) in
                waiting.filter(|(_, message)| message.number <= self.told_up_to.unsigned_abs())
            {
                let _told = self.network.tell(dev_eui, message);
            }
        }
        Ok(())
    }

    /// Judges one copy of a frame, once.
    pub fn judge(&mut self, received: &Received) -> Heard {
        self.network.hear(received)
    }

    /// The rows of these frames are on the disk.
    pub fn on_disk(&mut self, frames: impl IntoIterator<Item = FrameNumber>) {
        frames.into_iter().for_each(|frame| self.network.kept(frame));
    }

    /// Whether nothing is answered for now.
    pub fn be_silent(&mut self, silent: bool) {
        self.network.be_silent(silent);
    }

    /// When there is something to be answered, if nothing comes before.
    pub fn next_tick(&self) -> Option<Moment> {
        self.network.next_tick()
    }

    /// What is to be kept and then sent.
    pub fn tick(&mut self, now: Moment) -> Vec<Effect> {
        self.network.tick(now)
    }

    /// What follows from a gateway's word on an answer.
    pub fn told(&mut self, number: DownlinkNumber, refused: Option<&str>, now: Moment) -> Vec<Effect> {
        self.network.told(number, refused, now)
    }

    /// Writes the rows of effects.
    ///
    /// # Errors
    /// [`StoreError`]; none of them may be acted upon then.
    pub fn keep_effects(
        &mut self,
        log: &Connection,
        effects: &[Effect],
        now: Moment,
    ) -> Result<(), StoreError> {
        let Self { answers, gateways, .. } = self;
        for effect in effects {
            answers.keep(log, effect, |eui| gateway(gateways, log, eui), now)?;
        }
        Ok(())
    }

    /// Puts the rows of one copy of a frame on a sheet, which is then to be written in the same transaction.
    ///
    /// # Errors
    /// [`StoreError`]; then what was written in this transaction is to be undone, and the rows to be loaded.
    pub(super) fn keep<'a>(
        &mut self,
        log: &Connection,
        sheet: &mut Sheet<'a>,
        copy: Copied<'a>,
    ) -> Result<KeptFrame, StoreError> {
        let (received, heard) = (copy.received, copy.heard);
        gateway(&mut self.gateways, log, received.gateway)?;
        let original = match heard.verdict {
            Verdict::Copy => self.original(log, sheet, received, heard)?,
            _ => None,
        };
        self.change_session(log, received, heard)?;
        for news in &heard.news {
            let dev_eui = heard.dev_eui.ok_or_else(|| lost("the news of a frame without a device"))?;
            answers::keep_news(log, dev_eui, news, received.arrived_at)?;
        }
        self.put(sheet, copy, original)
    }

    /// The same without looking into the log; `None` if that is needed: then nothing was changed.
    pub(super) fn keep_by_heart<'a>(
        &mut self,
        sheet: &mut Sheet<'a>,
        copy: Copied<'a>,
    ) -> Option<Result<KeptFrame, StoreError>> {
        let heard = copy.heard;
        let original = self.remembered(heard);
        let is_known = self.gateways.contains_key(&copy.received.gateway)
            && (original.is_some() || heard.verdict != Verdict::Copy)
            && heard.joined.is_none()
            && heard.news.is_empty()
            && !heard.uplink.as_ref().is_some_and(|uplink| uplink.opens);
        is_known.then(|| self.put(sheet, copy, original))
    }

    /// Puts rows on a sheet; of a copy, beside the original.
    fn put<'a>(
        &mut self,
        sheet: &mut Sheet<'a>,
        copy: Copied<'a>,
        original: Option<Id>,
    ) -> Result<KeptFrame, StoreError> {
        let (received, heard) = (copy.received, copy.heard);
        let gateway = *self.gateways.get(&received.gateway).ok_or_else(|| lost("its gateway has no row"))?;
        let mut kept = self.about(received, copy.source, heard);
        let clock_unsure = kept.clock_unsure;
        if let Some(frame) = original {
            kept.seq = frame;
            sheet.receptions.push(ReceptionRow { frame, gateway, received, clock_unsure });
            return Ok(kept);
        }
        if heard.verdict == Verdict::Refused(Refusal::Foreign) && self.site.foreign == Foreign::Counted {
            return Ok(kept);
        }
        let belongs = self.belongs(sheet, heard)?;
        self.keep_frame(sheet, (received, copy.source), belongs, heard.uplink.as_ref(), &mut kept)?;
        sheet.receptions.push(ReceptionRow { frame: kept.seq, gateway, received, clock_unsure });
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
        source: &'static str,
        heard: &Heard,
        why: &str,
    ) -> Result<KeptFrame, StoreError> {
        let mut kept = KeptFrame {
            fcnt: None,
            port: None,
            verdict: "refused:store",
            reason: Some(why.to_owned()),
            ..self.about(received, source, heard)
        };
        let gateway = gateway(&mut self.gateways, log, received.gateway)?;
        let mut sheet = Sheet::default();
        self.keep_frame(&mut sheet, (received, source), Belongs::default(), None, &mut kept)?;
        let clock_unsure = kept.clock_unsure;
        sheet.receptions.push(ReceptionRow { frame: kept.seq, gateway, received, clock_unsure });
        sheet.write(log)?;
        Ok(kept)
    }

    /// A gateway has shown that it lives: written once a minute, and when it has another address.
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
        let is_news = self.signs.get(&eui).is_none_or(|(written, at_address)| {
            !(0..SIGNS_WRITTEN_EVERY).contains(&(at - written))
                || address.is_some_and(|address| at_address.as_deref() != Some(address))
        });
        if !is_news {
            return Ok(());
        }
        let gateway = gateway(&mut self.gateways, log, eui)?;
        rows::sign_of_life(log, gateway, at, address)?;
        let known = self.signs.remove(&eui).and_then(|(_, known)| known);
        self.signs.insert(eui, (at, address.map(str::to_owned).or(known)));
        Ok(())
    }

    /// A gateway reports on itself.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn report(
        &mut self,
        log: &Connection,
        eui: GatewayEui,
        at: Moment,
        report: &Report,
    ) -> Result<(), StoreError> {
        let gateway = gateway(&mut self.gateways, log, eui)?;
        rows::sign_of_life(log, gateway, at, None)?;
        rows::keep_report(log, gateway, at, report)
    }

    /// Stale hours of these nodes were worked off: a reading makes them stale again.
    pub(super) fn worked_off(&mut self, nodes: &[Id]) {
        for known in self.nodes.values_mut().filter(|known| nodes.contains(&known.id)) {
            known.stale_hour = None;
        }
    }

    /// Removes strangers' frames whose time is over, a stretch of them; nothing else is ever removed.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn forget_strangers(&self, log: &Connection, now: Moment) -> Result<usize, StoreError> {
        let Foreign::Kept(time) = self.site.foreign else { return Ok(0) };
        #[expect(clippy::cast_possible_truncation, reason = "days of a site file")]
        let before = now - (time.seconds() * 1e6) as Moment;
        // The newest frame stays, so that no number is given twice.
        let sql = "DELETE FROM frame WHERE id IN (SELECT id FROM frame WHERE verdict = 'refused:foreign' AND at < ? \
                   AND id < (SELECT max(id) FROM frame) ORDER BY at LIMIT ?)";
        Ok(log.prepare_cached(sql)?.execute(params![before, FORGOTTEN_AT_ONCE])?)
    }

    fn row_at(&self, dev_eui: DevEui, at: Moment) -> Option<&Node> {
        self.named_row_at(dev_eui, at).map(|(row, _)| row)
    }

    /// The row of a device that was in force at a moment, and what it calls the node.
    fn named_row_at(&self, dev_eui: DevEui, at: Moment) -> Option<(&Node, &Arc<str>)> {
        let places = self.registered.get(&dev_eui)?.iter();
        let rows =
            places.filter_map(|place| Some((self.site.registry.get(*place)?, self.node_names.get(*place)?)));
        in_force(rows, |(row, _)| row, at)
    }

    fn about(&self, received: &Received, source: &'static str, heard: &Heard) -> KeptFrame {
        let clock_unsure = !self.belief.holds(received.arrived_at);
        let at = received.heard_at().filter(|_| !clock_unsure).unwrap_or(received.arrived_at);
        let row = heard.dev_eui.and_then(|dev_eui| self.named_row_at(dev_eui, at));
        KeptFrame {
            seq: 0,
            arrived_at: received.arrived_at,
            at,
            verdict: heard.verdict.word(),
            reason: reason(heard),
            dev_eui: heard.dev_eui,
            name: row.map(|(_, name)| Arc::clone(name)),
            fcnt: heard.uplink.as_ref().map(|uplink| uplink.fcnt),
            port: heard.uplink.as_ref().and_then(|uplink| Some(uplink.application.as_ref()?.0)),
            message: None,
            source: Cow::Borrowed(source),
            gateway: Some((received.gateway, self.gateway_names.get(&received.gateway).cloned())),
            data_rate: Some(received.radio.data_rate.clone()),
            frequency_hz: Some(received.radio.frequency_hz),
            rssi_dbm: received.radio.rssi_dbm,
            snr_db: received.radio.snr_db,
            length: received.bytes.len(),
            clock_unsure,
        }
    }

    /// The frame that was kept already, of which this is a copy.
    fn original(
        &self,
        log: &Connection,
        sheet: &mut Sheet<'_>,
        received: &Received,
        heard: &Heard,
    ) -> Result<Option<Id>, StoreError> {
        if let Some(frame) = self.remembered(heard) {
            return Ok(Some(frame));
        }
        sheet.write(log)?;
        if let (Some(fcnt), Some(session)) = (heard.copies, heard.session) {
            let Some(known) = self.known_session(session) else { return Ok(None) };
            return rows::frame_of_copy(log, known.id, fcnt);
        }
        let known = heard.dev_eui.and_then(|dev_eui| self.nodes.get(&dev_eui));
        for session in known.iter().flat_map(|known| known.sessions.values().rev()) {
            let found = rows::frame_of_join(log, session.id, &received.bytes)?;
            if found.is_some() {
                return Ok(found);
            }
        }
        Ok(None)
    }

    /// The same, if it is one of the newest frames of its session.
    fn remembered(&self, heard: &Heard) -> Option<Id> {
        self.known_session(heard.session?)?.newest.get(&heard.copies?).copied()
    }

    fn known_session(&self, session: SessionId) -> Option<&KnownSession> {
        self.nodes.get(&session.dev_eui)?.sessions.get(&session.join_nonce)
    }

    /// Begins the session that a frame asks for, or opens the one that it is the first of.
    fn change_session(
        &mut self,
        log: &Connection,
        received: &Received,
        heard: &Heard,
    ) -> Result<(), StoreError> {
        let Some(session) = heard.session else { return Ok(()) };
        let known = self.nodes.get_mut(&session.dev_eui).ok_or_else(|| lost("its device has no row"))?;
        if let Some(joined) = &heard.joined {
            rows::join(log, known.id, joined)?;
            let row = rows::begin_session(log, known.id, joined, received.arrived_at)?;
            known.sessions.insert(joined.join_nonce, KnownSession::begun(row, None));
        } else if heard.uplink.as_ref().is_some_and(|uplink| uplink.opens) {
            let opened = known.sessions.get(&session.join_nonce);
            let opened = opened.ok_or_else(|| lost("its session has no row"))?.id;
            rows::open_session(log, known.id, opened, received.arrived_at)?;
        }
        Ok(())
    }

    /// The session to which a frame belongs, whose counter it may move.
    fn belongs(&mut self, sheet: &mut Sheet<'_>, heard: &Heard) -> Result<Belongs, StoreError> {
        let Some(session) = heard.session else { return Ok(Belongs::default()) };
        let known = self.nodes.get_mut(&session.dev_eui).ok_or_else(|| lost("its device has no row"))?;
        let known =
            known.sessions.get_mut(&session.join_nonce).ok_or_else(|| lost("its session has no row"))?;
        let Some(uplink) = &heard.uplink else { return Ok(Belongs { session: Some(known.id), lost: 0 }) };
        let expected = known.last.map_or(uplink.fcnt, |last| last.saturating_add(1));
        let newer = known.last.is_none_or(|last| last < uplink.fcnt);
        if newer {
            sheet.counters.insert(known.id, uplink.fcnt);
            known.last = Some(uplink.fcnt);
        }
        known.remember(uplink.fcnt, self.next_frame);
        let lost = usize::try_from(uplink.fcnt.saturating_sub(expected)).unwrap_or(usize::MAX);
        Ok(Belongs { session: Some(known.id), lost: if newer { lost } else { 0 } })
    }

    fn keep_frame<'a>(
        &mut self,
        sheet: &mut Sheet<'a>,
        (received, source): (&'a Received, &'static str),
        belongs: Belongs,
        uplink: Option<&'a Uplink>,
        kept: &mut KeptFrame,
    ) -> Result<(), StoreError> {
        kept.seq = self.next_frame;
        let payload = uplink.and_then(|uplink| uplink.application.as_ref());
        if let (Some((port, payload)), Some(dev_eui)) = (payload, kept.dev_eui)
            && *port > 0
        {
            let before = sheet.readings.len();
            match self.said(dev_eui, kept.at, Some(*port), payload, belongs.lost) {
                Ok((edition, said)) => {
                    let node = self.nodes.get(&dev_eui).ok_or_else(|| lost("its device has no row"))?.id;
                    let late = kept.verdict == "late";
                    sheet.put_readings((node, kept.seq, kept.at), edition, &said, late);
                    kept.reason = said.note().or_else(|| kept.reason.take());
                    kept.message = Some(told(said));
                    self.note_stale(dev_eui, sheet, before);
                }
                Err(unreadable) => kept.reason = Some(unreadable),
            }
        }
        sheet.frames.push(FrameRow {
            id: kept.seq,
            at: kept.at,
            received,
            source,
            kind: kind(&received.bytes),
            verdict: kept.verdict,
            reason: kept.reason.clone(),
            session: belongs.session,
            fcnt: kept.fcnt,
            port: kept.port,
            flags: uplink.map(|uplink| (uplink.confirmed, uplink.control.adr())),
            payload: payload.map(|(_, payload)| payload.as_slice()),
            options: uplink.map(|uplink| uplink.commands.as_slice()).filter(|commands| !commands.is_empty()),
            airtime_us: airtime(&received.radio.data_rate, received.bytes.len()),
            clock_unsure: kept.clock_unsure,
        });
        self.next_frame += 1;
        Ok(())
    }

    /// What a payload says by the design of the row in force, or why it says nothing; with what rode along of so many
    /// messages that were lost. Without a port it is a text of values that were decoded already.
    pub(super) fn said(
        &self,
        dev_eui: DevEui,
        at: Moment,
        port: Option<u8>,
        payload: &[u8],
        lost: usize,
    ) -> Result<(Id, Said<'_>), String> {
        let row = self.row_at(dev_eui, at).ok_or("the registry has no row for it")?;
        let place = self.site.kind(&row.kind);
        let place = place.ok_or_else(|| format!("no node of the site file is of kind `{}`", row.kind))?;
        let ((kind, _), edition) = (&self.site.kinds[place], self.editions[place]);
        kind.read_carried(port, payload, lost).map(|said| (edition, said)).map_err(|error| error.to_string())
    }

    /// The kind of a device at a moment, by the registry.
    pub(super) fn kind_at(&self, dev_eui: DevEui, at: Moment) -> Option<&str> {
        self.row_at(dev_eui, at).map(|row| row.kind.as_str())
    }

    /// Notes that the hours of a sheet's readings from a place on must be worked out again; once for the hour that runs.
    fn note_stale(&mut self, dev_eui: DevEui, sheet: &mut Sheet<'_>, from: usize) {
        let Some(known) = self.nodes.get_mut(&dev_eui) else { return };
        for reading in sheet.readings.iter().skip(from) {
            let hour = reading.at.div_euclid(HOUR);
            if known.stale_hour != Some(hour) {
                sheet.stale.insert((known.id, hour));
                if !reading.rebuilt {
                    known.stale_hour = Some(hour);
                }
            }
        }
    }
}

/// What a message says, for those who are told of it.
fn told(said: Said<'_>) -> Told {
    let named = said.message.columns.iter().zip(said.values);
    let values = named.map(|(column, value)| ToldValue {
        name: Arc::clone(&column.name),
        unit: Arc::clone(&column.unit),
        value,
        beyond: said.marks.get(&*column.name).copied(),
    });
    Told { message: said.message.name.clone(), values: values.collect() }
}

fn lost(why: &str) -> StoreError {
    StoreError::Row { why: why.to_owned() }
}

fn gateway(
    known: &mut BTreeMap<GatewayEui, Id>,
    log: &Connection,
    eui: GatewayEui,
) -> Result<Id, StoreError> {
    if let Some(id) = known.get(&eui) {
        return Ok(*id);
    }
    let id = rows::gateway(log, eui, None)?;
    known.insert(eui, id);
    Ok(id)
}

/// What the log says of a node and its newest sessions.
fn known(log: &Connection, dev_eui: DevEui) -> Result<Option<Known>, StoreError> {
    let Some(id) = rows::node_id(log, dev_eui)? else { return Ok(None) };
    let mut statement = log.prepare_cached(
        "SELECT join_nonce, id, last_up FROM session WHERE node = ? AND source IS NULL ORDER BY id DESC LIMIT ?",
    )?;
    let found = statement.query_map(params![id, SESSIONS], |row| {
        Ok((row.get(0)?, KnownSession::begun(row.get(1)?, row.get(2)?)))
    })?;
    Ok(Some(Known { id, sessions: found.collect::<Result<_, _>>()?, stale_hour: None }))
}

/// Why a frame has no effect, and what may be the matter.
fn reason(heard: &Heard) -> Option<String> {
    let refusal = match &heard.verdict {
        Verdict::Refused(refusal) => Some(refusal.to_string()),
        _ => None,
    };
    let parts: Vec<String> = refusal.into_iter().chain(heard.hint.map(|hint| hint.to_string())).collect();
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// The editions of the kinds as they are now, each with its view; those of other texts end, and what they read is read anew.
fn editions(log: &Connection, site: &Site, now: Moment) -> Result<Vec<Id>, StoreError> {
    let mut ids = Vec::new();
    for (kind, _) in &site.kinds {
        let digest = hex(&Sha256::digest(&kind.design));
        let ended = log.execute(
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
        if ended > 0 {
            again::ask(log, &kind.name, None)?;
        }
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
