//! The map as a picture that stands alone: names, a scale bar and the meaning of its fills are in it.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    clippy::cast_sign_loss,
    reason = "places of a picture are few and checked before they are drawn"
)]

use verdict::plan::Verdict;

use super::super::lettering::{Sheet, extent};
use super::super::picture::{Colour, Picture, over};
use super::super::relief::{Heights, shade};
use super::super::signboard::Built;
use super::super::wrapped;
use super::{CoverageMap, Texture, Zone, chart, measure};
use forecast::terrain::Place;

/// The hue of the map in pictures that no page colours, and the paper below.
pub(crate) const BLUE: [u8; 3] = [0x1f, 0x76, 0xc0];
pub(crate) const PAPER: Colour = [0xfb, 0xfa, 0xf5, 255];
const INK: Colour = [0x20, 0x24, 0x2f, 255];
const QUIET: Colour = [0x5c, 0x62, 0x70, 255];
/// Fewer places in a row are drawn larger, so that there is room for words.
const LEAST_WIDE: usize = 360;
/// Room around words, height of a line of them, width of a sample of a fill.
const GAP: isize = 6;
const LINE: isize = 13;
const SAMPLE: isize = 12;

/// The picture, and how it lies on the ground.
pub struct Plate {
    /// The map on top, what it means below it.
    pub picture: Picture,
    /// Pixels along each side of a place.
    pub zoom: usize,
}

impl Plate {
    /// Rows of pixels, those below the map among them.
    pub fn rows(&self) -> usize {
        self.picture.places.len() / self.picture.columns.max(1)
    }
}

/// Numbers of colours in the palette.
struct Inks {
    ink: u8,
    paper: u8,
}

impl CoverageMap<'_> {
    /// The map with names, scale bar and key.
    pub fn plate(&self) -> Plate {
        let grid = &self.coverage.grid;
        let zoom = LEAST_WIDE.div_ceil(grid.columns.max(1)).max(1);
        let (columns, map_rows) = (grid.columns * zoom, grid.rows * zoom);
        let fills = Fills::new(self);
        let letters = (columns as isize - 2 * GAP) / 6;
        let title = wrapped(&(chart(self).title + "." + &self.planned_words()), letters.max(10) as usize);
        let key = self.key_places(columns as isize, map_rows as isize + GAP + LINE * title.len() as isize);
        let below = key.last().map_or(0, |(_, _, (_, top))| top + LINE + GAP) - map_rows as isize;
        let inks = fills.inks();
        let mut sheet = Sheet::new(columns, map_rows + below.max(0) as usize, inks.paper);
        for (row, column) in (0..map_rows).flat_map(|row| (0..columns).map(move |column| (row, column))) {
            let colour =
                fills.at(self.zone(row / zoom, column / zoom), (column, row), (row / zoom, column / zoom));
            sheet.set((column as isize, row as isize), colour);
        }
        for (at, line) in title.iter().enumerate() {
            sheet.write((GAP, map_rows as isize + GAP + LINE * at as isize), line, inks.ink, None);
        }
        for (zone, words, at) in &key {
            draw_sample(&mut sheet, &fills, *zone, *at);
            sheet.write((at.0 + SAMPLE + 4, at.1 + 2), words, inks.ink, None);
        }
        self.draw_places(&mut sheet, zoom, &inks);
        self.draw_measure(&mut sheet, zoom, &inks);
        Plate { picture: Picture { columns, places: sheet.places, palette: fills.palette }, zoom }
    }

    /// What the houses without a filling are.
    fn planned_words(&self) -> String {
        let said = self.may_stand.iter().map(|one| format!(" {}: {}.", one.name, one.said()));
        said.collect()
    }

    /// What is told apart, in words, each with its place in the rows below the map.
    fn key_places(&self, columns: isize, top: isize) -> Vec<(Zone, String, (isize, isize))> {
        let mut at = (GAP, top + GAP);
        let mut placed = Vec::new();
        for (zone, share) in self.zones().into_iter().zip(self.zone_shares()) {
            let words = format!("{} {:.0} %", self.zone_words(zone), 100.0 * share);
            let wide = SAMPLE + 4 + extent(&words).0;
            if at.0 > GAP && at.0 + wide > columns - GAP {
                at = (GAP, at.1 + LINE + 2);
            }
            placed.push((zone, words, at));
            at.0 += wide + 2 * GAP;
        }
        placed
    }

    /// Gateways as houses and nodes as strokes, with their names where there is room.
    fn draw_places(&self, sheet: &mut Sheet, zoom: usize, inks: &Inks) {
        let grid = self.coverage.grid;
        let on_sheet = |place: Place| {
            let (row, column) = grid.position(place);
            let is_inside = (0.0..grid.rows as f64).contains(&(row + 0.5))
                && (0.0..grid.columns as f64).contains(&(column + 0.5));
            let pixel = |at: f64| ((at + 0.5) * zoom as f64) as isize;
            is_inside.then(|| (pixel(column), pixel(row)))
        };
        let mut taken: Vec<[isize; 4]> = Vec::new();
        let gateways = self.gateways.iter().map(|one| (&one.name, one.place, Mark::House(Built::Stands)));
        let planned = self.may_stand.iter().map(|one| (&one.name, one.place, Mark::House(one.built())));
        let nodes = self.nodes.iter().map(|one| (&one.name, one.place, Mark::Stroke(one.verdict)));
        for (name, place, mark) in gateways.chain(planned).chain(nodes) {
            let Some(at) = on_sheet(place) else { continue };
            match mark {
                Mark::House(built) => draw_house(sheet, at, built, inks),
                Mark::Stroke(verdict) => draw_stroke(sheet, at, verdict, inks),
            }
            let (wide, tall) = extent(name);
            let sides = [
                (at.0 + 10, at.1 - 3),
                (at.0 - 10 - wide, at.1 - 3),
                (at.0 - wide / 2, at.1 - 13),
                (at.0 - wide / 2, at.1 + 8),
            ];
            let room = |(left, top): (isize, isize)| [left - 1, top - 1, left + wide + 1, top + tall + 1];
            let free = sides.into_iter().find(|side| {
                let [left, top, right, bottom] = room(*side);
                let is_on_map = left >= 0
                    && top >= 0
                    && right < (grid.columns * zoom) as isize
                    && bottom < (grid.rows * zoom) as isize;
                is_on_map && !taken.iter().any(|other| overlap(room(*side), *other))
            });
            taken.push([at.0 - 8, at.1 - 6, at.0 + 8, at.1 + 6]);
            if let Some(side) = free {
                taken.push(room(side));
                sheet.write(side, name, inks.ink, Some(inks.paper));
            }
        }
    }

    /// The scale bar, in the lower left corner of the map.
    fn draw_measure(&self, sheet: &mut Sheet, zoom: usize, inks: &Inks) {
        let grid = &self.coverage.grid;
        let pixels_per_m = zoom as f64 / grid.steps_m().1;
        let (length_m, words) = measure((grid.columns * zoom) as f64 / pixels_per_m);
        let wide = (length_m * pixels_per_m).round() as isize;
        let (left, bottom) = (2 * GAP, (grid.rows * zoom) as isize - 2 * GAP);
        sheet.fill((left - 1, bottom - 5), (wide + 2, 7), inks.paper);
        sheet.fill((left, bottom - 1), (wide, 2), inks.ink);
        sheet.fill((left, bottom - 5), (1, 5), inks.ink);
        sheet.fill((left + wide - 1, bottom - 5), (1, 5), inks.ink);
        sheet.write((left + 3, bottom - 14), &words, inks.ink, Some(inks.paper));
    }
}

/// The palette, and which of its colours a place has.
struct Fills {
    palette: Vec<Colour>,
    /// Shades of every fill.
    shades: usize,
    merged: usize,
    shaded: Vec<u8>,
    columns: usize,
    /// What is even, by its number among the fills.
    textures: Vec<(Zone, Texture)>,
}

/// Fills before those of the steps: paper, level lines, slanting lines, dots.
const BEFORE_STEPS: usize = 4;

impl Fills {
    fn new(map: &CoverageMap) -> Self {
        let opaque = |step: usize| {
            let [red, green, blue] = BLUE;
            over([red, green, blue, map.opacity_byte(step)], PAPER)
        };
        let [red, green, blue] = BLUE;
        let steps = map.steps.iter().filter(|step| step.keeps_margin).count();
        let fills: Vec<Colour> =
            [PAPER, [red, green, blue, 255], INK, QUIET].into_iter().chain((0..steps).map(opaque)).collect();
        let shade = shade(&Heights::sampled(map.terrain, &map.coverage.grid, usize::MAX));
        // Few fills times few shades, with ink and paper of the words; where that is more than a byte holds, neighbouring
        // shades become one.
        let per_fill = (254 / fills.len()).max(1);
        let merged = shade.palette.len().div_ceil(per_fill).max(1);
        let shades: Vec<Colour> = shade.palette.iter().copied().step_by(merged).collect();
        let shaded = fills.iter().flat_map(|fill| shades.iter().map(|shade| over(*shade, *fill)));
        Self {
            palette: shaded.chain([INK, PAPER]).collect(),
            shades: shades.len(),
            merged,
            shaded: shade.places,
            columns: map.coverage.grid.columns,
            textures: map.zones().into_iter().map(|zone| (zone, map.texture(zone))).collect(),
        }
    }

    fn inks(&self) -> Inks {
        let byte = |from_end: usize| u8::try_from(self.palette.len() - from_end).unwrap_or(u8::MAX);
        Inks { ink: byte(2), paper: byte(1) }
    }

    /// The fill of a zone at a pixel.
    fn fill(&self, zone: Zone, (x, y): (usize, usize)) -> usize {
        let texture = self
            .textures
            .iter()
            .find(|(known, _)| *known == zone)
            .map_or(Texture::Bare, |(_, texture)| *texture);
        match (texture, zone) {
            (Texture::Even, Zone::Heard(step)) => BEFORE_STEPS + step,
            (Texture::Lines, _) if y % 4 == 1 => 1,
            (Texture::Hatched, _) if (x + y) % 7 < 2 => 2,
            (Texture::Dotted, _) if x % 6 < 2 && y % 6 < 2 => 3,
            _ => 0,
        }
    }

    /// The colour of a zone at a pixel, over the ground of a row and column of the map.
    fn at(&self, zone: Zone, pixel: (usize, usize), (row, column): (usize, usize)) -> u8 {
        let shaded = self.shaded.get(row * self.columns + column).copied().unwrap_or(0);
        let number = self.fill(zone, pixel) * self.shades + usize::from(shaded) / self.merged;
        u8::try_from(number).unwrap_or(u8::MAX)
    }

    /// The same on level ground.
    fn level(&self, zone: Zone, pixel: (usize, usize)) -> u8 {
        u8::try_from(self.fill(zone, pixel) * self.shades + self.shades / 2).unwrap_or(u8::MAX)
    }
}

fn draw_sample(sheet: &mut Sheet, fills: &Fills, zone: Zone, (left, top): (isize, isize)) {
    sheet.fill((left, top), (SAMPLE, SAMPLE - 1), fills.inks().ink);
    for (x, y) in (1..SAMPLE - 1).flat_map(|x| (1..SAMPLE - 2).map(move |y| (x, y))) {
        sheet.set((left + x, top + y), fills.level(zone, (x as usize, y as usize)));
    }
}

/// What stands at a place.
enum Mark {
    House(Built),
    Stroke(Verdict),
}

/// A house whose foot is the place: filled, drawn by its walls, or with dotted walls where a gateway may stand.
fn draw_house(sheet: &mut Sheet, (x, y): (isize, isize), built: Built, inks: &Inks) {
    sheet.fill((x - 5, y - 10), (11, 12), inks.paper);
    let inked = |(column, row): (isize, isize)| {
        let is_wall = row == 0 || column.abs() == 4.min(9 - row);
        match built {
            Built::Stands => true,
            Built::Chosen => is_wall,
            Built::MayStand => is_wall && (row > 4 || (column + row) % 2 == 0),
        }
    };
    let rows = (0..10).map(|row| (row, if row > 5 { 9 - row } else { 4 }));
    for at in rows.flat_map(|(row, half): (isize, isize)| (-half..=half).map(move |column| (column, row))) {
        if inked(at) {
            sheet.fill((x + at.0, y - at.1), (1, 1), inks.ink);
        }
    }
}

/// The stroke of a verdict on a board, as on the other maps: whole, dashed, broken or dotted.
fn draw_stroke(sheet: &mut Sheet, (x, y): (isize, isize), verdict: Verdict, inks: &Inks) {
    let stroke = match verdict {
        Verdict::Holds => "#############",
        Verdict::Tight => "###..###..###",
        Verdict::Fails => "####.....####",
        Verdict::NotKnown => "#..#..#..#..#",
    };
    sheet.fill((x - 8, y - 4), (17, 8), inks.ink);
    sheet.fill((x - 7, y - 3), (15, 6), inks.paper);
    let inked = (0..).zip(stroke.bytes()).filter(|(_, point)| *point == b'#');
    for (place, _) in inked {
        sheet.fill((x - 6 + place, y - 1), (1, 2), inks.ink);
    }
    if verdict == Verdict::Fails {
        sheet.fill((x, y - 3), (1, 6), inks.ink);
    }
}

fn overlap(one: [isize; 4], other: [isize; 4]) -> bool {
    one[0] < other[2] && other[0] < one[2] && one[1] < other[3] && other[1] < one[3]
}
