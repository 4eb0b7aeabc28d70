//! From hours of weather to irradiance on a tilted panel.
//!
//! What does not depend on the weather is tabulated once per hour ([`PlaneTable`]); an hour's weather then costs a
//! few products.

use design::node::{Design, MountedPanel};

use super::decompose::{Split, erbs_hourly};
use super::incidence::{DiffuseKept, glass, marion_diffuse};
use super::irradiance::{SOLAR_CONSTANT_W_M2, extraterrestrial_normal_w_m2, relative_air_mass};
use super::skyline::Skyline;
use super::sun::{self, Algorithm, DELTA_T_S, Observer, SunPosition};
use super::transpose::{DiffuseSky, LOWEST_BEAM_DEG, SkyModel, Spread, cos_incidence, from_ground_w_m2};
use super::weather::{HourStart, WeatherHours};

/// Irradiance on a panel's plane, hour by hour.
#[derive(Clone, Debug, PartialEq)]
pub struct OnPlane {
    /// Falling on the plane [W/m²].
    pub plain_w_m2: Vec<f32>,
    /// Passing its cover [W/m²].
    pub effective_w_m2: Vec<f32>,
}

/// At which moments of an hour the sun is placed, and by which algorithm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Instants {
    /// Every ten minutes by Grena's algorithm: a ridge hides a share of an hour.
    SixGrena,
    /// Mid-hour by the NREL algorithm, as reference calculations do.
    MidHourSpa,
}

/// A plane and what it faces.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    /// From the horizontal [°].
    pub tilt_deg: f64,
    /// Clockwise from north [°]; `None` faces anywhere: the mean over eight azimuths.
    pub azimuth_deg: Option<f64>,
    /// Share of light the ground throws back.
    pub albedo: f64,
    /// What hides the sun.
    pub skyline: Skyline,
    /// What hides it in the months (January first) in which leaves are out, where that is more or less.
    pub in_leaf: Option<(Skyline, [bool; 12])>,
}

/// The weather of an hour that makes light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HourSky {
    /// Global horizontal irradiance, mean of the hour [W/m²].
    pub ghi_w_m2: f64,
    /// Beam and diffuse where they were measured, means of the hour; else they are estimated.
    pub measured: Option<Split>,
}

/// Irradiance on a plane.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct InPlane {
    /// Falling on the plane [W/m²].
    pub plain_w_m2: f64,
    /// Passing its cover [W/m²].
    pub effective_w_m2: f64,
}

/// Everything about a plane under the sun that does not depend on the weather, hour by hour.
#[derive(Clone, Debug)]
pub struct PlaneTable {
    hours: Vec<HourGeometry>,
    model: SkyModel,
    tilt_deg: f64,
    albedo: f64,
    kept: DiffuseKept,
}

/// An hour's geometry: means over the instants at which the sun is up.
#[derive(Clone, Copy, Debug, Default)]
struct HourGeometry {
    /// What the skyline leaves of an even sky's light on the plane.
    open_share: f64,
    sunlit_share: f64,
    zenith_deg: f64,
    apparent_zenith_deg: f64,
    air_mass: f64,
    extraterrestrial_w_m2: f64,
    /// Beam on the plane per direct normal irradiance, where no ridge is in the way; after the cover.
    beam: f64,
    beam_kept: f64,
    /// Light from around the sun on the plane per that on the horizontal, where no ridge is in the way.
    around_sun: f64,
    /// Beam on the horizontal per direct normal irradiance that a ridge takes from the ground.
    hidden_from_ground: f64,
}

const ANY_AZIMUTH_DEG: [f64; 8] = [0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0];
/// In half an hour the sun moves by 7.5° at most; beyond this at mid-hour it stays down for the whole hour [°].
const DARK_AT_MID_HOUR_DEG: f64 = 99.0;

/// Irradiance on a node's panel for every hour of a weather record, by Perez' sky.
///
/// The sun is placed where the weather was taken, or over the node's site if the record does not say where.
pub fn on_plane(design: &Design, mounted: &MountedPanel, weather: &WeatherHours) -> OnPlane {
    let plane = facing(design, mounted);
    let observer = weather.observer().unwrap_or_else(|| site_observer(design));
    let table = PlaneTable::new(
        &observer,
        weather.utc_offset_h,
        &plane,
        SkyModel::Perez,
        Instants::SixGrena,
        weather.starts(),
    );
    table.all(weather)
}

/// The plane of a node's panel.
pub fn facing(design: &Design, mounted: &MountedPanel) -> Plane {
    Plane {
        tilt_deg: mounted.tilt.degrees(),
        azimuth_deg: mounted.azimuth.map(design::quantity::Angle::degrees),
        albedo: design.site.albedo.fraction(),
        skyline: Skyline::new(&design.site.horizon),
        in_leaf: design.site.in_leaf.as_ref().map(|leaf| (Skyline::new(&leaf.horizon), leaf.months)),
    }
}

/// A node's site as one from which the sun is seen.
pub fn site_observer(design: &Design) -> Observer {
    let site = &design.site;
    Observer::new(site.latitude.degrees(), site.longitude.degrees(), site.elevation.metres())
        .expect("the site of a resolved design lies on the earth")
}

impl PlaneTable {
    /// Tabulates a plane at a place for hours of a clock that is so many hours ahead of universal time.
    pub fn new(
        observer: &Observer,
        utc_offset_h: f64,
        plane: &Plane,
        model: SkyModel,
        instants: Instants,
        starts: &[HourStart],
    ) -> Self {
        let azimuths_deg = match &plane.azimuth_deg {
            Some(azimuth_deg) => std::slice::from_ref(azimuth_deg),
            None => &ANY_AZIMUTH_DEG,
        };
        let seen = |skyline| {
            let open = |azimuth_deg: &f64| Skyline::open_share(skyline, plane.tilt_deg, *azimuth_deg);
            let open_share = azimuths_deg.iter().map(open).sum::<f64>() / azimuths_deg.len() as f64;
            SkylineSeen { skyline, open_share }
        };
        let facing = Facing {
            plane,
            azimuths_deg,
            model,
            bare: seen(&plane.skyline),
            in_leaf: plane.in_leaf.as_ref().map(|(skyline, months)| (seen(skyline), *months)),
        };
        let hours = starts
            .iter()
            .map(|start| facing.hour(*start, &sun_up(observer, *start, utc_offset_h, instants)))
            .collect();
        Self {
            hours,
            model,
            tilt_deg: plane.tilt_deg,
            albedo: plane.albedo,
            kept: marion_diffuse(glass, plane.tilt_deg),
        }
    }

    /// Irradiance on the plane in an hour of the table; nothing beyond its end.
    pub fn in_plane(&self, hour: usize, sky: &HourSky) -> InPlane {
        match self.hours.get(hour) {
            Some(geometry) if sky.ghi_w_m2 > 0.0 => self.under(geometry, sky),
            _ => InPlane::default(),
        }
    }

    /// Irradiance on the plane in an hour of the table from global and diffuse light on the horizontal, means of the hour
    /// [W/m²]. While the sun stands too low for a beam, on the mean of the hour, all of it is diffuse.
    pub fn of_horizontal(&self, hour: usize, ghi_w_m2: f64, dhi_w_m2: f64) -> InPlane {
        let Some(geometry) = self.hours.get(hour) else { return InPlane::default() };
        let up = geometry.sunlit_share * geometry.zenith_deg.to_radians().cos();
        let largest_w_m2 = geometry.extraterrestrial_w_m2 * geometry.sunlit_share;
        let measured = if up < LOWEST_BEAM_DEG.to_radians().sin() {
            Split { dni_w_m2: 0.0, dhi_w_m2: ghi_w_m2 }
        } else {
            Split { dni_w_m2: ((ghi_w_m2 - dhi_w_m2) / up).min(largest_w_m2), dhi_w_m2 }
        };
        self.in_plane(hour, &HourSky { ghi_w_m2, measured: Some(measured) })
    }

    fn under(&self, hour: &HourGeometry, sky: &HourSky) -> InPlane {
        let dark = hour.sunlit_share <= 0.0;
        let share = if dark { 1.0 } else { hour.sunlit_share };
        let ghi_w_m2 = sky.ghi_w_m2 / share;
        let split = match sky.measured {
            _ if dark => Split { dni_w_m2: 0.0, dhi_w_m2: ghi_w_m2 },
            Some(Split { dni_w_m2, dhi_w_m2 }) => Split {
                dni_w_m2: (dni_w_m2 / share).min(hour.extraterrestrial_w_m2),
                dhi_w_m2: dhi_w_m2 / share,
            },
            None => {
                // The correlation is one of whole hours: where the sun is up for a part of one, so is its height.
                let up = share * hour.zenith_deg.to_radians().cos();
                let whole = erbs_hourly(sky.ghi_w_m2, up.acos().to_degrees(), hour.extraterrestrial_w_m2);
                Split { dhi_w_m2: whole.dhi_w_m2 / share, ..whole }
            }
        };
        let spread = if dark {
            Spread { even_w_m2: ghi_w_m2, around_sun_w_m2: 0.0, along_horizon_w_m2: 0.0 }
        } else {
            self.model.spread(&hour.sky(split))
        };
        let diffuse_w_m2 = spread.on_plane_w_m2(self.tilt_deg, hour.around_sun, hour.open_share);
        let on_ground_w_m2 = (ghi_w_m2 - split.dni_w_m2 * hour.hidden_from_ground).max(0.0);
        let ground_w_m2 = from_ground_w_m2(on_ground_w_m2, self.albedo, self.tilt_deg);
        let kept_w_m2 = diffuse_w_m2 * self.kept.sky + ground_w_m2 * self.kept.ground;
        InPlane {
            plain_w_m2: share * (split.dni_w_m2 * hour.beam + diffuse_w_m2 + ground_w_m2),
            effective_w_m2: share * (split.dni_w_m2 * hour.beam_kept + kept_w_m2),
        }
    }

    #[expect(
        clippy::cast_possible_truncation,
        reason = "seven digits are more than any irradiance is known to"
    )]
    fn all(&self, weather: &WeatherHours) -> OnPlane {
        let hours = (0..weather.starts().len()).map(|hour| self.in_plane(hour, &weather.sky(hour)));
        let (plain_w_m2, effective_w_m2) =
            hours.map(|light| (light.plain_w_m2 as f32, light.effective_w_m2 as f32)).unzip();
        OnPlane { plain_w_m2, effective_w_m2 }
    }
}

impl HourGeometry {
    fn sky(&self, split: Split) -> DiffuseSky {
        DiffuseSky {
            dni_w_m2: split.dni_w_m2,
            dhi_w_m2: split.dhi_w_m2,
            extraterrestrial_w_m2: self.extraterrestrial_w_m2,
            zenith_deg: self.apparent_zenith_deg,
            air_mass: self.air_mass,
        }
    }
}

/// Positions of the instants of an hour at which the sun is up, and the share of the hour that each stands for.
struct SunUp {
    positions: Vec<SunPosition>,
    share_each: f64,
}

fn sun_up(observer: &Observer, start: HourStart, utc_offset_h: f64, instants: Instants) -> SunUp {
    let from_h = f64::from(start.hour) - utc_offset_h;
    let at = |algorithm, minute: f64| {
        let day = sun::julian_day(start.year, start.month, start.day, from_h + minute / 60.0);
        sun::position(algorithm, day, DELTA_T_S, observer)
    };
    let up = |position: &SunPosition| position.apparent_zenith_deg < 90.0;
    match instants {
        Instants::MidHourSpa => {
            let positions = Some(at(Algorithm::Spa, 30.0)).into_iter().filter(up).collect();
            SunUp { positions, share_each: 1.0 }
        }
        Instants::SixGrena if at(Algorithm::Grena3, 30.0).zenith_deg > DARK_AT_MID_HOUR_DEG => {
            SunUp { positions: Vec::new(), share_each: 0.0 }
        }
        Instants::SixGrena => {
            let minutes = [5.0, 15.0, 25.0, 35.0, 45.0, 55.0];
            let positions =
                minutes.map(|minute| at(Algorithm::Grena3, minute)).into_iter().filter(up).collect();
            SunUp { positions, share_each: 1.0 / 6.0 }
        }
    }
}

/// A skyline and what it leaves of an even sky's light on the plane.
struct SkylineSeen<'a> {
    skyline: &'a Skyline,
    open_share: f64,
}

/// A plane with the directions it may face.
struct Facing<'a> {
    plane: &'a Plane,
    azimuths_deg: &'a [f64],
    model: SkyModel,
    bare: SkylineSeen<'a>,
    in_leaf: Option<(SkylineSeen<'a>, [bool; 12])>,
}

impl Facing<'_> {
    /// What stands around in a month, 1 to 12.
    fn seen_in(&self, month: u8) -> &SkylineSeen<'_> {
        match &self.in_leaf {
            Some((seen, months)) if months.get(usize::from(month) - 1) == Some(&true) => seen,
            _ => &self.bare,
        }
    }

    fn hour(&self, start: HourStart, sun: &SunUp) -> HourGeometry {
        let seen = self.seen_in(start.month);
        let count = sun.positions.len() as f64;
        if sun.positions.is_empty() {
            return HourGeometry { open_share: seen.open_share, ..HourGeometry::default() };
        }
        let mean = |of: &dyn Fn(&SunPosition) -> f64| sun.positions.iter().map(of).sum::<f64>() / count;
        let zenith_of = |cosine: f64| cosine.clamp(-1.0, 1.0).acos().to_degrees();
        let apparent_zenith_deg = zenith_of(mean(&|sun| sun.apparent_zenith_deg.to_radians().cos()));
        let mut hour = HourGeometry {
            open_share: seen.open_share,
            sunlit_share: count * sun.share_each,
            zenith_deg: zenith_of(mean(&|sun| sun.zenith_deg.to_radians().cos())),
            apparent_zenith_deg,
            air_mass: relative_air_mass(apparent_zenith_deg),
            extraterrestrial_w_m2: extraterrestrial_normal_w_m2(
                sun::day_of_year(start.year, start.month, start.day),
                SOLAR_CONSTANT_W_M2,
            ),
            ..HourGeometry::default()
        };
        for position in &sun.positions {
            self.add_beam(&mut hour, position, seen.skyline, 1.0 / count);
        }
        hour
    }

    fn add_beam(&self, hour: &mut HourGeometry, sun: &SunPosition, skyline: &Skyline, weight: f64) {
        let zenith_deg = sun.apparent_zenith_deg;
        if 90.0 - zenith_deg < skyline.height_deg(sun.azimuth_deg) {
            hour.hidden_from_ground += weight * zenith_deg.to_radians().cos();
            return;
        }
        let weight = weight / self.azimuths_deg.len() as f64;
        for azimuth_deg in self.azimuths_deg {
            let cosine =
                cos_incidence(zenith_deg, sun.azimuth_deg, self.plane.tilt_deg, *azimuth_deg).max(0.0);
            hour.beam += weight * cosine;
            hour.beam_kept += weight * cosine * glass(cosine);
            hour.around_sun += weight * self.model.sun_ratio(cosine, zenith_deg);
        }
    }
}
