//! What stands on a map: nodes as signboards on posts, gateways as houses. The place itself is the foot.

use maud::{Markup, html};
use verdict::plan::Verdict;

use super::frame::px;
use super::verdict_mark;
use crate::words;

/// Something that stands on a map.
pub(crate) struct Sign<'a> {
    pub(crate) name: &'a str,
    pub(crate) at: (f64, f64),
    pub(crate) verdict: Verdict,
    /// Where the board leads, if it is a link.
    pub(crate) page: Option<&'a str>,
}

const BOARD: (f64, f64) = (30.0, 14.0);
const POST: f64 = 9.0;
/// How far a board may stand out of the map.
const OVERHANG: f64 = 14.0;
/// Width of a letter of a label, on average.
const LETTER: f64 = 6.6;

/// A house with its name at one side.
pub(crate) struct House<'a> {
    pub(crate) name: &'a str,
    pub(crate) at: (f64, f64),
    pub(crate) built: Built,
}

/// Whether a gateway stands there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Built {
    /// It does.
    Stands,
    /// One may, and would bring nodes that are not heard.
    Chosen,
    /// One may.
    MayStand,
}

impl Built {
    /// A house whose foot is the place: filled, drawn by its walls, or by dashes.
    pub(crate) fn drawn(self, (x, y): (f64, f64)) -> Markup {
        let class = match self {
            Self::Stands => "house",
            Self::Chosen => "house chosen",
            Self::MayStand => "house may-stand",
        };
        html! { path class=(class) d={ "M" (px(x - 6.0)) " " (px(y)) "v-8l6 -6l6 6v8Z" } {} }
    }

    fn words(self) -> &'static str {
        match self {
            Self::Stands => "gateway ",
            Self::Chosen => "a gateway brings nodes at ",
            Self::MayStand => "a gateway may stand at ",
        }
    }
}

/// Left, top, right and bottom of something drawn.
type Room = [f64; 4];

/// Houses, and signs with the worst first: where boards crowd the worse keeps its board and the others become dots.
pub(crate) fn standing(houses: &[House], mut signs: Vec<Sign>, right: f64) -> Markup {
    signs.sort_by_key(|sign| severity(sign.verdict));
    let mut taken: Vec<Room> = houses.iter().map(House::room).collect();
    let drawn: Vec<(Sign, Option<Side>)> = signs
        .into_iter()
        .map(|sign| {
            let sides = [Side::Right, Side::Left].into_iter().map(|side| (side, sign.room(side)));
            let free = sides
                .filter(|(_, room)| room[0] >= 0.0 && room[2] <= right + OVERHANG)
                .find(|(_, room)| !taken.iter().any(|other| overlap(*room, *other)));
            taken.extend(free.map(|(_, room)| room));
            (sign, free.map(|(side, _)| side))
        })
        .collect();
    html! {
        @for house in houses { (house.drawn()) }
        @for (sign, side) in drawn.iter().rev() {
            @let drawn = match side { Some(side) => board(sign, *side), None => dot(sign) };
            @match sign.page { Some(page) => a href=(page) { (drawn) }, None => (drawn) }
        }
    }
}

fn severity(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Fails => 0,
        Verdict::Tight => 1,
        Verdict::NotKnown => 2,
        Verdict::Holds => 3,
    }
}

/// Where a name stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Left,
    Right,
}

fn label_width(name: &str) -> f64 {
    LETTER * name.chars().count() as f64 + 4.0
}

impl Sign<'_> {
    fn room(&self, side: Side) -> Room {
        let (x, y) = self.at;
        let (half, label) = (BOARD.0 / 2.0, label_width(self.name));
        let (left, right) = match side {
            Side::Left => (x - half - label, x + half),
            Side::Right => (x - half, x + half + label),
        };
        [left, y - POST - BOARD.1, right, y]
    }
}

impl House<'_> {
    /// The name stands at the left, where no board's does, unless the edge is near.
    fn side(&self) -> Side {
        if self.at.0 - 10.0 - label_width(self.name) < 0.0 { Side::Right } else { Side::Left }
    }

    fn room(&self) -> Room {
        let (x, y) = self.at;
        let label = 6.0 + label_width(self.name);
        match self.side() {
            Side::Left => [x - label, y - 14.0, x + 6.0, y],
            Side::Right => [x - 6.0, y - 14.0, x + label, y],
        }
    }

    fn drawn(&self) -> Markup {
        let (x, y) = self.at;
        let end = self.side() == Side::Left;
        html! {
            g.sign {
                title { (self.built.words()) (self.name) }
                (self.built.drawn(self.at))
                text.halo.strong.end[end] x=(px(if end { x - 10.0 } else { x + 10.0 })) y=(px(y - 2.0)) { (self.name) }
            }
        }
    }
}

fn overlap(one: Room, other: Room) -> bool {
    one[0] < other[2] && other[0] < one[2] && one[1] < other[3] && other[1] < one[3]
}

fn said(sign: &Sign) -> String {
    format!("{}: {}", sign.name, words::verdict(sign.verdict))
}

fn board(sign: &Sign, side: Side) -> Markup {
    let (x, y) = sign.at;
    let (left, top) = (x - BOARD.0 / 2.0, y - POST - BOARD.1);
    let end = side == Side::Left;
    let label = if end { left - 4.0 } else { left + BOARD.0 + 4.0 };
    html! {
        g.sign {
            title { (said(sign)) }
            path.axis d={ "M" (px(x)) " " (px(y)) "v" (px(-POST)) } {}
            rect.board x=(px(left)) y=(px(top)) width=(px(BOARD.0)) height=(px(BOARD.1)) {}
            path.mark.(verdict_mark::class(sign.verdict)) d=(mark(sign.verdict, left + 3.0, top + BOARD.1 / 2.0)) {}
            text.halo.end[end] x=(px(label)) y=(px(top + 11.0)) { (sign.name) }
        }
    }
}

/// The stroke of a verdict, 24 wide.
fn mark(verdict: Verdict, left: f64, middle: f64) -> String {
    let start = format!("M{} {}", px(left), px(middle));
    let rest = match verdict {
        Verdict::Holds => "h24",
        Verdict::Tight => "h5.5m3.75 0h5.5m3.75 0h5.5",
        Verdict::Fails => "h8m8 0h8m-12 -4.5v9",
        Verdict::NotKnown => "h2.5m4.7 0h2.5m4.7 0h2.5m4.6 0h2.5",
    };
    start + rest
}

fn dot(sign: &Sign) -> Markup {
    html! {
        circle.dot.(verdict_mark::class(sign.verdict)) cx=(px(sign.at.0)) cy=(px(sign.at.1)) r="3.5" { title { (said(sign)) } }
    }
}

#[cfg(test)]
mod tests {
    use super::{Built, House, Sign, standing};
    use verdict::plan::Verdict;

    #[test]
    fn where_boards_crowd_the_worse_verdict_keeps_its_board() {
        let sign = |name, x, verdict| Sign { name, at: (x, 100.0), verdict, page: None };
        let drawn = standing(
            &[House { name: "roof", at: (500.0, 100.0), built: Built::Stands }],
            vec![
                sign("holding", 100.0, Verdict::Holds),
                sign("beside the roof", 530.0, Verdict::Holds),
                sign("failing", 104.0, Verdict::Fails),
                sign("apart", 300.0, Verdict::Tight),
            ],
            800.0,
        )
        .into_string();
        assert_eq!(drawn.matches("class=\"board\"").count(), 3);
        assert_eq!(drawn.matches("<circle").count(), 1);
        assert!(drawn.contains(">failing</text>") && !drawn.contains(">holding</text>"));
        assert!(drawn.contains("class=\"house\"") && drawn.contains("<title>gateway roof</title>"));
        assert!(drawn.contains("<title>holding: holds</title>"), "a dot still says its name");
    }
}
