//! What pages are made with: style sheet, typefaces and scripts, all packed in.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use report::look;

use super::House;
use super::shown::{self, Wish};

/// Scripts as they are shipped.
const SCRIPTS: [(&str, &str); 7] = [
    ("live.js", include_str!("../../page/live.js")),
    ("design.js", include_str!("../../page/design.js")),
    ("map.js", include_str!("../../page/map.js")),
    ("settings.js", include_str!("../../page/settings.js")),
    ("stretch.js", include_str!("../../page/stretch.js")),
    ("visit.js", include_str!("../../page/visit.js")),
    ("vendor/openlayers.js", include_str!("../../page/vendor/openlayers.js")),
];

/// A file by its name.
pub(super) fn answer(file: &str, wish: &Wish) -> Response {
    let text = |kind: &str, text: String| {
        shown::tagged(wish, kind, &shown::tag(&[text.as_bytes()]), || text.clone())
    };
    if let Some((_, script)) = SCRIPTS.iter().find(|(name, _)| *name == file) {
        return text("text/javascript; charset=utf-8", (*script).to_owned());
    }
    match file {
        "style.css" => text("text/css; charset=utf-8", [look::STYLE, look::SERVED].concat()),
        "type.css" => text("text/css; charset=utf-8", look::linked_faces()),
        _ => match look::face_files().find(|(name, _)| name == file) {
            Some((_, bytes)) => {
                // Another edition of a typeface has another name.
                let fields = [
                    (header::CONTENT_TYPE, "font/woff2"),
                    (header::CACHE_CONTROL, "public, max-age=31536000"),
                ];
                (fields, bytes).into_response()
            }
            None => (StatusCode::NOT_FOUND, "no such file\n").into_response(),
        },
    }
}

/// The shade of the ground under the site; where that is is for those alone who are let in.
pub(super) fn ground(house: &House) -> Response {
    match house.promises.ground().and_then(|ground| ground.shade.clone()) {
        Some(picture) => {
            let fields =
                [(header::CONTENT_TYPE, "image/png"), (header::CACHE_CONTROL, "private, max-age=3600")];
            (fields, picture).into_response()
        }
        None => (StatusCode::NOT_FOUND, "no terrain is named\n").into_response(),
    }
}
