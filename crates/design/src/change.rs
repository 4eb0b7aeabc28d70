//! One key of a design changed, and everything resolved again: the only road to a variant of a design.

use std::ops::Range;

use crate::diagnostic::{Diagnostic, Diagnostics, Severity};
use crate::file::message::{FieldSection, MessageSection};
use crate::file::node::{ActivitySection, LoadSection, RootSection};
use crate::file::part::{BatterySection, ChargerSection, GateSection, PanelSection, RadioSection};
use crate::file::surroundings::GatewaySection;
use crate::file::value::{DataRate, Facing, IntervalRows, MonthRows, Named};
use crate::node::Design;
use crate::part::GateBand;
use crate::quantity::{Angle, Charge, Current, Dbm, Decibels, Duration, Length, Share, Uncertain, Voltage};
use crate::resolve::resolve;
use crate::schedule::Months;
use crate::section::rule::INTERVAL;
use crate::section::{At, Field, PartSection, Section, defaults};
use crate::surroundings::Place;
use toml::de::DeValue;

/// Writes a value under a key of a section, if it keeps the key's range.
macro_rules! put {
    ($section:ident . $key:ident = $value:expr, $span:expr) => {
        in_range($section, stringify!($key), $value, $span).map(|at| $section.$key = Some(at))
    };
    ($section:expr => $key:ident = $value:expr, $span:expr) => {{
        let section = $section;
        in_range(section, stringify!($key), $value, $span).map(|at| section.$key = Some(at))
    }};
}

/// One key of a design file and its new value. Loads, activities and gateways are named as in the file.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// How often an activity happens, whatever the charge.
    Interval {
        /// The load.
        load: String,
        /// Its activity.
        activity: String,
        /// Above zero.
        every: Duration,
    },
    /// How often an activity happens by state of charge: rows of (charge at or above which it holds, interval), highest
    /// first, the last at 0 %; `None`: not at all.
    IntervalByCharge {
        /// The load.
        load: String,
        /// Its activity.
        activity: String,
        /// At least one row.
        rows: Vec<(Share, Option<Duration>)>,
    },
    /// How often an activity happens by month and state of charge: rows of (charge at or above which it holds, intervals of
    /// the months), highest first, the last at 0 %; none shorter than the one above it.
    IntervalByMonthAndCharge {
        /// The load.
        load: String,
        /// Its activity.
        activity: String,
        /// At least one row.
        rows: Vec<(Share, Months)>,
    },
    /// What a load draws asleep, with its spread.
    SleepCurrent {
        /// The load.
        load: String,
        /// Above zero.
        floor: Uncertain<Current>,
    },
    /// Share of the confirmed messages of an activity that get no acknowledgement at one try.
    Loss {
        /// The load.
        load: String,
        /// Its activity.
        activity: String,
        /// 0 to 1.
        loss: Share,
    },
    /// Data rate of every uplink.
    DataRate(u8),
    /// Transmit power, within the radio's table.
    TransmitPower(Dbm),
    /// Height of the node's antenna above the ground, not negative.
    AntennaHeight(Length),
    /// Height of a gateway's antenna above the ground.
    GatewayHeight {
        /// The gateway.
        gateway: String,
        /// Not negative.
        height: Length,
    },
    /// What a gateway's antenna gains over an isotropic one.
    GatewayGain {
        /// The gateway.
        gateway: String,
        /// -30 to 30 dB.
        gain: Decibels,
    },
    /// Another panel of the catalogue or a part file already read; its mounting stays.
    Panel(String),
    /// Angle of the panel from the horizontal, 0 to 90 degrees.
    Tilt(Angle),
    /// Where the panel faces, clockwise from north, 0 to below 360 degrees; `None`: anywhere.
    Azimuth(Option<Angle>),
    /// No panel and no charger: the battery alone.
    NoPanel,
    /// A primary cell of the catalogue or a part file already read, without panel and charger.
    PrimaryCell(String),
    /// Another battery of the catalogue or a part file already read.
    Battery(String),
    /// What the label of one cell says, with its spread.
    Capacity(Uncertain<Charge>),
    /// Another charger of the catalogue or a part file already read.
    Charger(String),
    /// Bands of battery temperature in which the charger charges, ascending; none: no gate.
    TemperatureGate(Vec<GateBand>),
    /// Battery voltage under the largest pulse below which the node stops.
    StopsBelow(Voltage),
    /// State of charge on the day it goes out.
    ChargeAtInstallation(Share),
    /// How long it must live without a visit.
    Unattended(Duration),
    /// Share of lives that must pass without an outage.
    WithoutOutage(Share),
    /// A field more in a message, as it would be written in the file.
    Field {
        /// The message.
        message: String,
        /// Name of the field.
        name: String,
        /// Its keys, such as `{ kind = "flag" }`.
        text: String,
    },
    /// Where it stands: latitude, longitude and height above the sea. What a survey found where it stood is gone.
    Position(Angle, Angle, Length),
    /// What people call it.
    Name(String),
    /// A gateway more, where one may stand: the name of that place.
    AnotherGateway(String),
    /// On which side of a wall a gateway's antenna is; what a survey found on the other side is gone.
    GatewayPlace {
        /// The gateway.
        gateway: String,
        /// The side.
        place: Place,
    },
    /// No gateway was ever surveyed.
    Unsurveyed,
}

/// Why a change can't be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{key}`: {message}")]
pub struct Refused {
    /// The key that was to be changed, such as `panel.tilt`.
    pub key: String,
    /// What is wrong with the new value, or with what it would lead to.
    pub message: String,
    /// What to take instead.
    pub help: String,
}

impl Design {
    /// This design with one key changed and everything else as it was written: parts are looked up and every range and
    /// contradiction is checked as in [`resolve`]; what followed from the old value follows from the new one.
    ///
    /// # Errors
    /// The key is not there to be changed, or the first thing that `resolve` finds wrong.
    ///
    /// # Example
    /// ```
    /// use design::{catalog::Catalog, change::Change, file::parse, manual, quantity::Angle, resolve::resolve};
    /// let design = resolve(&Catalog::builtin(), &parse(&manual::commented_example())).expect("resolves").design;
    /// let steep = design.with(Change::Tilt(Angle::from_degrees(75.0))).expect("is a tilt");
    /// assert_eq!(steep.panel.as_ref().map(|panel| panel.tilt.degrees().round()), Some(75.0));
    /// assert!(design.with(Change::Tilt(Angle::from_degrees(120.0))).is_err());
    /// ```
    pub fn with(&self, change: Change) -> Result<Self, Refused> {
        let key = change.key();
        let refused = |(message, help)| Refused { key: key.clone(), message, help };
        let mut file = self.written.file.clone();
        let span = file.span_of(&key);
        let root = file.root.as_mut().ok_or_else(|| absent("design file")).map_err(&refused)?;
        change.write(root, &span).map_err(&refused)?;
        file.places.insert(key.clone(), span);
        let resolved = resolve(&self.written.catalog, &file);
        resolved.map(|resolved| resolved.design).map_err(|found| refused(first_error(found)))
    }
}

/// What is wrong, and what to do instead.
type Wrong = (String, String);

/// The first error among the problems of a file.
pub(crate) fn first_error(found: Vec<Diagnostic>) -> Wrong {
    let error = found.into_iter().find(|one| one.severity == Severity::Error);
    error.map_or_else(|| ("can't be changed".to_owned(), String::new()), |one| (one.message, one.help))
}

fn absent(what: &str) -> Wrong {
    (format!("there is no {what} to change"), "change what the design has".to_owned())
}

impl Change {
    /// The key that it changes, such as `panel.tilt`.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::Interval { load, activity, .. } => format!("load.{load}.activity.{activity}.every"),
            Self::IntervalByCharge { load, activity, .. } => {
                format!("load.{load}.activity.{activity}.every_by_charge")
            }
            Self::IntervalByMonthAndCharge { load, activity, .. } => {
                format!("load.{load}.activity.{activity}.every_by_month_and_charge")
            }
            Self::SleepCurrent { load, .. } => format!("load.{load}.floor"),
            Self::Loss { load, activity, .. } => format!("load.{load}.activity.{activity}.steps"),
            Self::GatewayHeight { gateway, .. } => format!("gateway.{gateway}.antenna_height"),
            Self::GatewayGain { gateway, .. } => format!("gateway.{gateway}.antenna_gain"),
            Self::DataRate(_) => "radio.data_rate".to_owned(),
            Self::TransmitPower(_) => "radio.power".to_owned(),
            Self::AntennaHeight(_) => "radio.antenna_height".to_owned(),
            Self::Panel(_) => "panel.part".to_owned(),
            Self::NoPanel => "panel".to_owned(),
            Self::Tilt(_) => "panel.tilt".to_owned(),
            Self::Azimuth(_) => "panel.azimuth".to_owned(),
            Self::Battery(_) | Self::PrimaryCell(_) => "battery.part".to_owned(),
            Self::Capacity(_) => "battery.capacity".to_owned(),
            Self::Charger(_) => "charger.part".to_owned(),
            Self::TemperatureGate(_) => "charger.temperature_gate".to_owned(),
            Self::StopsBelow(_) => "cutoff.stops_below".to_owned(),
            Self::ChargeAtInstallation(_) => "promise.charge_at_installation".to_owned(),
            Self::Unattended(_) => "promise.unattended".to_owned(),
            Self::WithoutOutage(_) => "promise.without_outage".to_owned(),
            Self::Field { message, name, .. } => format!("message.{message}.field.{name}"),
            Self::Position(..) => "site.latitude".to_owned(),
            Self::Name(_) => "name".to_owned(),
            Self::GatewayPlace { gateway, .. } => format!("gateway.{gateway}.place"),
            Self::Unsurveyed => "gateway".to_owned(),
            Self::AnotherGateway(place) => format!("gateway.{place}"),
        }
    }

    fn write(self, root: &mut RootSection, span: &Range<usize>) -> Result<(), Wrong> {
        match self {
            Self::Interval { load, activity, every } => {
                let section = activity_of(root, &load, &activity)?;
                section.every_by_charge = None;
                section.every_by_month_and_charge = None;
                put!(section.every = every, span)
            }
            Self::IntervalByCharge { load, activity, rows } => {
                let section = activity_of(root, &load, &activity)?;
                section.every = None;
                section.every_by_month_and_charge = None;
                let rows = IntervalRows(rows);
                sound(&rows.numbers(), rows.wrong())?;
                put!(section.every_by_charge = rows, span)
            }
            Self::IntervalByMonthAndCharge { load, activity, rows } => {
                let section = activity_of(root, &load, &activity)?;
                section.every = None;
                section.every_by_charge = None;
                let rows = MonthRows(rows);
                sound(&rows.numbers(), rows.wrong())?;
                put!(section.every_by_month_and_charge = rows, span)
            }
            Self::SleepCurrent { load, floor } => put!(load_of(root, &load)? => floor = floor, span),
            Self::Loss { load, activity, loss } => lose(activity_of(root, &load, &activity)?, loss, span),
            Self::DataRate(rate) => {
                let radio: &mut RadioSection = inside(&mut root.radio)?;
                radio.data_rates = None;
                put!(radio.data_rate = DataRate(rate), span)
            }
            Self::TransmitPower(power) => put!(inside(&mut root.radio)? => power = power, span),
            Self::AntennaHeight(height) => put!(inside(&mut root.radio)? => antenna_height = height, span),
            Self::GatewayHeight { gateway, height } => {
                put!(gateway_of(root, &gateway)? => antenna_height = height, span)
            }
            Self::GatewayGain { gateway, gain } => {
                put!(gateway_of(root, &gateway)? => antenna_gain = gain, span)
            }
            Self::Panel(part) => inside(&mut root.panel).map(|panel| replace_panel(panel, part, span)),
            Self::NoPanel => {
                (root.panel, root.charger) = (None, None);
                Ok(())
            }
            Self::PrimaryCell(part) => {
                (root.panel, root.charger) = (None, None);
                replace::<BatterySection>(&mut root.battery, part, span)
            }
            Self::Tilt(tilt) => put!(inside(&mut root.panel)? => tilt = tilt, span),
            Self::Azimuth(azimuth) => put!(inside(&mut root.panel)? => azimuth = facing(azimuth)?, span),
            Self::Battery(part) => replace::<BatterySection>(&mut root.battery, part, span),
            Self::Capacity(capacity) => put!(inside(&mut root.battery)? => capacity = capacity, span),
            Self::Charger(part) => replace::<ChargerSection>(&mut root.charger, part, span),
            Self::TemperatureGate(bands) => {
                let bands = bands.into_iter().map(|band| gate(band, span)).collect::<Result<_, _>>()?;
                put!(inside(&mut root.charger)? => temperature_gate = bands, span)
            }
            Self::StopsBelow(voltage) => {
                let cutoff = root.cutoff.get_or_insert_with(|| defaults(span));
                put!(&mut cutoff.value => stops_below = voltage, span)
            }
            Self::ChargeAtInstallation(share) => {
                put!(inside(&mut root.promise)? => charge_at_installation = share, span)
            }
            Self::Unattended(time) => put!(inside(&mut root.promise)? => unattended = time, span),
            Self::WithoutOutage(share) => put!(inside(&mut root.promise)? => without_outage = share, span),
            Self::Field { message, name, text } => add_field(root, &message, (name, &text), span),
            Self::Position(latitude, longitude, elevation) => {
                position(root, [latitude, longitude], elevation, span)
            }
            Self::Name(name) => {
                root.name = Some(At { value: name, span: span.clone() });
                Ok(())
            }
            Self::AnotherGateway(place) => {
                let planned = named(&mut root.may_stand, &place, "place for a gateway")?.gateway(span);
                let gateways =
                    root.gateway.get_or_insert_with(|| At { value: Named(Vec::new()), span: span.clone() });
                gateways.value.0.push((At { value: place.clone(), span: span.clone() }, planned));
                let places = root.may_stand.iter_mut().map(|at| &mut at.value.0);
                places.for_each(|places| places.retain(|(known, _)| known.value != place));
                Ok(())
            }
            Self::GatewayPlace { gateway, place } => {
                let gateway = gateway_of(root, &gateway)?;
                gateway.survey = None;
                put!(gateway => place = place, span)
            }
            Self::Unsurveyed => {
                let gateways = root.gateway.iter_mut().flat_map(|at| &mut at.value.0);
                gateways.for_each(|(_, gateway)| gateway.survey = None);
                Ok(())
            }
        }
    }
}

/// Puts a node elsewhere: what surveys found where it stood is gone.
fn position(
    root: &mut RootSection,
    [latitude, longitude]: [Angle; 2],
    elevation: Length,
    span: &Range<usize>,
) -> Result<(), Wrong> {
    let site = inside(&mut root.site)?;
    let stood = [&site.latitude, &site.longitude].map(|at| at.as_ref().map(|at| at.value));
    put!(site.latitude = latitude, span)?;
    put!(site.longitude = longitude, span)?;
    put!(site.elevation = elevation, span)?;
    let (true, Some(name)) = (stood != [Some(latitude), Some(longitude)], &root.name) else { return Ok(()) };
    let gateways = root.gateway.iter_mut().flat_map(|at| &mut at.value.0);
    let surveys = gateways.filter_map(|(_, gateway)| gateway.survey.as_mut());
    for rows in surveys.filter_map(|survey| survey.value.nodes.as_mut()) {
        rows.value.0.retain(|(known, _)| known.value != name.value);
    }
    Ok(())
}

/// The value of a key, if every number in it keeps the range that the key's declaration states.
fn in_range<S: Section, T: Field>(_: &S, key: &str, value: T, span: &Range<usize>) -> Result<At<T>, Wrong> {
    let rule = (S::DOC.fields)().into_iter().find(|field| field.key == key).and_then(|field| field.rule);
    match rule.filter(|rule| !value.numbers().iter().all(|number| rule.allows::<T>(*number))) {
        Some(rule) => Err((rule.wanted(), rule.help().to_owned())),
        None => Ok(At { value, span: span.clone() }),
    }
}

fn inside<S>(section: &mut Option<At<S>>) -> Result<&mut S, Wrong> {
    section.as_mut().map(|at| &mut at.value).ok_or_else(|| absent("such section"))
}

fn named<'r, S>(sections: &'r mut Option<At<Named<S>>>, name: &str, noun: &str) -> Result<&'r mut S, Wrong> {
    let sections = sections.iter_mut().flat_map(|at| &mut at.value.0);
    let section = sections.into_iter().find(|(known, _)| known.value == name).map(|(_, section)| section);
    section.ok_or_else(|| absent(&format!("{noun} `{name}`")))
}

fn load_of<'r>(root: &'r mut RootSection, name: &str) -> Result<&'r mut LoadSection, Wrong> {
    named(&mut root.load, name, "load")
}

fn activity_of<'r>(
    root: &'r mut RootSection,
    load: &str,
    name: &str,
) -> Result<&'r mut ActivitySection, Wrong> {
    named(&mut load_of(root, load)?.activity, name, "activity")
}

fn gateway_of<'r>(root: &'r mut RootSection, name: &str) -> Result<&'r mut GatewaySection, Wrong> {
    named(&mut root.gateway, name, "gateway")
}

fn add_field(
    root: &mut RootSection,
    message: &str,
    (name, text): (String, &str),
    span: &Range<usize>,
) -> Result<(), Wrong> {
    let section: &mut MessageSection = named(&mut root.message, message, "message")?;
    let not_toml = |error: toml::de::Error| {
        (error.message().to_owned(), "write keys such as `{ kind = \"flag\" }`".to_owned())
    };
    let value = DeValue::parse(text).map_err(not_toml)?;
    let mut found = Diagnostics::default();
    let read = FieldSection::read(&value, &mut found);
    let field = read.ok_or_else(|| first_error(found.into_sorted()))?;
    let fields = section.field.as_mut().ok_or_else(|| absent("field beside which it could stand"))?;
    fields.value.0.push((At { value: name, span: span.clone() }, field));
    Ok(())
}

fn lose(section: &mut ActivitySection, loss: Share, span: &Range<usize>) -> Result<(), Wrong> {
    let steps = section.steps.iter_mut().flat_map(|at| &mut at.value);
    let mut uplinks = steps.filter_map(|step| Some(&mut step.uplink.as_mut()?.value)).peekable();
    if uplinks.peek().is_none() {
        return Err(absent("message"));
    }
    uplinks.try_for_each(|uplink| put!(uplink.loss = loss, span))
}

fn replace<S: PartSection>(
    section: &mut Option<At<S>>,
    part: String,
    span: &Range<usize>,
) -> Result<(), Wrong> {
    *inside(section)? = S::naming(At { value: part, span: span.clone() });
    Ok(())
}

/// The electrical keys go with the panel, those of its mounting stay.
fn replace_panel(section: &mut PanelSection, part: String, span: &Range<usize>) {
    let mounting = section.clone();
    *section = PanelSection {
        tilt: mounting.tilt,
        azimuth: mounting.azimuth,
        soiling: mounting.soiling,
        shade: mounting.shade,
        shade_months: mounting.shade_months,
        ..PanelSection::naming(At { value: part, span: span.clone() })
    };
}

/// Whether intervals \[s\] keep their range, and nothing else is wrong with their table.
fn sound(intervals_s: &[f64], wrong: Option<Wrong>) -> Result<(), Wrong> {
    if !intervals_s.iter().all(|seconds| INTERVAL.allows::<Duration>(*seconds)) {
        return Err((INTERVAL.wanted(), INTERVAL.help().to_owned()));
    }
    wrong.map_or(Ok(()), Err)
}

fn facing(azimuth: Option<Angle>) -> Result<Facing, Wrong> {
    let facing = Facing(azimuth);
    let wrong =
        || ("must lie between 0 deg and below 360 deg".to_owned(), "turn it into that range".to_owned());
    if facing.is_sound() { Ok(facing) } else { Err(wrong()) }
}

fn gate(band: GateBand, span: &Range<usize>) -> Result<GateSection, Wrong> {
    let mut owned = GateSection::empty(span.clone());
    let section = &mut owned;
    put!(section.from = band.from, span)?;
    put!(section.to = band.to, span)?;
    put!(section.current = band.current, span)?;
    put!(section.voltage_reduction = band.voltage_reduction, span)?;
    Ok(owned)
}
