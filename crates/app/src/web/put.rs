//! Where nodes stand: as the registry says, else as they are planned; and how a person says that one stands elsewhere.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{PoisonError, RwLock};

use design::quantity::Angle;
use logbook::clock::now;
use logbook::export::Labels;
use logbook::folder::{self, FolderError, REGISTRY};
use logbook::registry::{Date, Place, Registry, RegistryError};
use logbook::store::StoreError;
use logbook::store::people::People;
use report::page::{act, node_page};
use wire::identity::DevEui;

use super::House;
use super::act::{Act, Form};
use super::parts::Sent;
use super::shown::Look;
use super::who::Doer;

/// Where nodes stand since this program was started, by what people have said meanwhile.
#[derive(Debug)]
pub(crate) struct Places {
    folder: Option<PathBuf>,
    since: RwLock<BTreeMap<DevEui, Place>>,
}

impl Places {
    /// Those of a registry; `None` where the site file names none.
    pub(crate) fn of(folder: Option<PathBuf>) -> Self {
        Self { folder, since: RwLock::default() }
    }

    /// Where a board was put meanwhile.
    pub(super) fn meanwhile(&self, dev_eui: DevEui) -> Option<Place> {
        self.since.read().unwrap_or_else(PoisonError::into_inner).get(&dev_eui).copied()
    }

    /// Writes a place into the registry, and only then knows it.
    fn write(&self, dev_eui: DevEui, place: Place, on: Date) -> Result<(), Refused> {
        let folder = self.folder.as_ref().ok_or(Refused::NoRegistry)?;
        let mut since = self.since.write().unwrap_or_else(PoisonError::into_inner);
        let _held = folder::lock(folder)?;
        let mut registry = Registry::open(&folder.join(REGISTRY))?;
        registry.stand(dev_eui, place, on)?;
        registry.save()?;
        since.insert(dev_eui, place);
        Ok(())
    }
}

impl House {
    /// Names, units and places as they are now.
    pub(super) fn labels(&self) -> Labels {
        let mut labels = self.known.labels.clone();
        let since = self.places.since.read().unwrap_or_else(PoisonError::into_inner);
        labels.places.extend(since.iter().map(|(dev_eui, place)| {
            (dev_eui.to_string(), (place.latitude.degrees(), place.longitude.degrees()))
        }));
        labels
    }

    /// Where a node stands, north and east positive \[°\], and whether the registry says so.
    pub(super) fn stands(&self, name: &str) -> Option<((f64, f64), bool)> {
        let row = self.registry.iter().find(|row| row.open() && row.name == name);
        let registered = row
            .and_then(|row| self.places.meanwhile(row.dev_eui).or(row.place))
            .map(|at| (at.latitude, at.longitude));
        let planned = || {
            let design = self.site.designs().iter().find(|design| design.name == name)?;
            Some((design.site.latitude, design.site.longitude))
        };
        let (north, east) = registered.or_else(planned)?;
        Some(((north.degrees(), east.degrees()), registered.is_some()))
    }
}

/// Why a node is not put somewhere.
#[derive(Debug, thiserror::Error)]
pub(super) enum Refused {
    #[error("{name} is not enrolled: its place stands in the site file")]
    Nobody { name: String },
    #[error("the site file names no registry; write `registry = \"enrolled\"` into it")]
    NoRegistry,
    #[error("{text:?} is no number of degrees; write it as 46.98765")]
    Degrees { text: String },
    #[error("the clock shows no day that a row could begin on")]
    Clock,
    #[error(transparent)]
    Folder(#[from] FolderError),
    #[error(transparent)]
    Registry(#[from] RegistryError),
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A node is put somewhere.
pub(super) struct Put;

impl Act for Put {
    type On = String;
    type Shown = act::PutNode;
    type Refused = Refused;

    fn shown(look: &Look<'_>, node: &String, form: Form) -> Result<Option<act::PutNode>, StoreError> {
        if look.node(node).is_none() {
            return Ok(None);
        }
        let stands = look.house.stands(node);
        Ok(Some(act::PutNode {
            node: node.clone(),
            place: stands.map(|(place, _)| place),
            is_registered: stands.is_some_and(|(_, is_registered)| is_registered),
            why: form.why,
            form: form.word,
        }))
    }

    fn does(house: &House, node: &String, sent: &Sent, doer: &Doer) -> Result<(), Refused> {
        let row = house.registry.iter().find(|row| row.open() && row.name == *node);
        let row = row.ok_or_else(|| Refused::Nobody { name: node.clone() })?;
        let (latitude, longitude) = (degrees(sent.field("latitude"))?, degrees(sent.field("longitude"))?);
        let before = house.stands(node).map(|(place, _)| place);
        // The height is that of the ground there, which the registry does not know.
        let place = Place { latitude, longitude, elevation: None };
        let seconds = u64::try_from(now().div_euclid(1_000_000)).map_err(|_before_1970| Refused::Clock)?;
        house.places.write(row.dev_eui, place, Date::of_unix(seconds).ok_or(Refused::Clock)?)?;
        let after = (latitude.degrees(), longitude.degrees());
        Ok(People::of(&house.log)?.note_put(&row.dev_eui.to_string(), before, after, doer.by())?)
    }

    fn then(node: &String) -> String {
        node_page(node) + "/place"
    }
}

fn degrees(text: &str) -> Result<Angle, Refused> {
    let text = text.trim();
    let wrong = || Refused::Degrees { text: text.to_owned() };
    text.parse().ok().map(Angle::from_degrees).ok_or_else(wrong)
}
