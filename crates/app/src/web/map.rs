//! What the map is drawn from, and the ground in tiles.

use std::sync::Arc;

use axum::Extension;
use axum::Router;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use forecast::terrain::Place;
use logbook::people::May;
use logbook::store::StoreError;
use logbook::watch::{Area, Fix};
use report::chart::ground::{FINEST, Tile};
use report::page::map::{Board, Border, Found, House as Roof, Map, Tiles, Way};
use report::page::node_page;
use report::page::site::SiteNode;
use report::words;

use super::shown::{self, Look, Wish};
use super::who::Asker;
use super::{House, alarms, nodes, track};

type Asked = (State<Arc<House>>, Extension<Asker>);

/// The routes of it.
pub(super) fn routes() -> Router<Arc<House>> {
    Router::new().route("/map.json", get(map)).route("/ground/{level}/{column}/{row}", get(tile))
}

async fn map((State(house), Extension(asker)): Asked, wish: Wish) -> Response {
    shown::data(house, wish, move |look| state(look, asker.may() >= May::Act)).await
}

fn state(look: &Look<'_>, may_move: bool) -> Result<Option<Map>, StoreError> {
    let Some(ground) = look.house.promises.ground() else { return Ok(None) };
    let site = &look.house.site;
    let (mut boards, mut tracks) = (Vec::new(), Vec::new());
    for node in nodes::all(look, &alarms::open(look)?)? {
        let found = track::found(look, &node.name)?;
        boards.extend(board(look, &node, found.as_ref()));
        tracks.extend(found.and_then(|found| way(look, &node.name, &found)));
    }
    let roof = |at: &design::surroundings::Gateway| Roof {
        name: at.name.clone(),
        latitude_deg: at.latitude.degrees(),
        longitude_deg: at.longitude.degrees(),
    };
    let tiles = Tiles { address: "/ground/{z}/{x}/{y}".to_owned(), finest: FINEST, credit: None };
    Ok(Some(Map {
        edges_deg: ground.edges_deg(),
        ground: ground.shade.as_ref().map(|_| tiles),
        basemap: look.house.page.basemap.as_ref().map(|basemap| Tiles {
            address: basemap.tiles.clone(),
            finest: basemap.finest,
            credit: basemap.credit.clone(),
        }),
        nodes: boards,
        gateways: site.fleet.surroundings.gateways.iter().map(roof).collect(),
        tracks,
        areas: look.house.areas.iter().map(border).collect(),
        may_move,
    }))
}

/// Positions of a node that moves, the oldest first, and whether the newest is too old.
type Tracked = (Vec<Fix>, bool);

/// The way of a node that moves; `None` where it was found nowhere.
fn way(look: &Look<'_>, name: &str, (fixes, is_stale): &Tracked) -> Option<Way> {
    let found = |fix: &Fix| Found {
        latitude_deg: fix.place.0,
        longitude_deg: fix.place.1,
        accuracy_m: fix.accuracy_m,
    };
    let ago = look.when(fixes.last()?.at).ago;
    let fixes = fixes.iter().map(found).collect();
    Some(Way { name: name.to_owned(), fixes, is_stale: *is_stale, ago })
}

fn border(area: &Area) -> Border {
    let outlined = track::outlined(area);
    let corners = |ring: &Vec<Place>| ring.iter().map(|at| [at.longitude_deg, at.latitude_deg]).collect();
    Border { name: outlined.name, rings: outlined.rings.iter().map(corners).collect() }
}

/// Where a node stands, or said last that it is; `None` where nobody knows. `found`: of one that says where it is.
fn board(look: &Look<'_>, node: &SiteNode, found: Option<&Tracked>) -> Option<Board> {
    let said = found.and_then(|(fixes, _)| fixes.last()).map(|fix| fix.place);
    let place = said.or_else(|| look.house.stands(&node.name).map(|(place, _)| place));
    place.map(|(latitude_deg, longitude_deg)| Board {
        page: node_page(&node.name),
        verdict: words::verdict(node.worst()),
        is_enrolled: node.is_enrolled,
        name: node.name.clone(),
        latitude_deg,
        longitude_deg,
        moves: found.is_some(),
    })
}

/// The ground on a tile; where that is is for those alone who are let in.
async fn tile(State(house): State<Arc<House>>, Path((level, column, row)): Path<(u8, u32, u32)>) -> Response {
    let drawn = tokio::task::spawn_blocking(move || {
        let tile = Tile::new(level, column, row)?;
        house.promises.ground()?.tile(house.site.terrain.as_ref()?, tile)
    });
    match drawn.await {
        Ok(Some(picture)) => {
            let fields =
                [(header::CONTENT_TYPE, "image/png"), (header::CACHE_CONTROL, "private, max-age=86400")];
            (fields, picture).into_response()
        }
        // A tile on which nothing is known is no error of the map.
        Ok(None) => StatusCode::NO_CONTENT.into_response(),
        Err(_gone) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}
