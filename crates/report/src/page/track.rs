//! Where something that moves has been, by its own word.

use maud::{Markup, html};
use serde::Serialize;

use super::{Page, Way, When, node_page, plain};

/// A track.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Track {
    /// The node.
    pub name: String,
    /// Positions, the newest first.
    pub fixes: Vec<Fix>,
    /// Whether the newest is too old to say where it is now.
    pub is_stale: bool,
}

/// A position as it was sent.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fix {
    /// When it was sent.
    pub at: When,
    /// North positive \[°\]; `None` where the receiver found nothing.
    pub latitude_deg: Option<f64>,
    /// East positive \[°\].
    pub longitude_deg: Option<f64>,
}

impl Page for Track {
    const WAY: Option<Way> = Some(Way::Site);

    fn title(&self) -> String {
        let name = plain(&self.name);
        match self.fixes.iter().find(|fix| fix.latitude_deg.is_some()) {
            None => format!("{name} has not said where it is"),
            Some(fix) if self.is_stale => {
                format!("{name} said where it was {}; since then nothing", fix.at.ago)
            }
            Some(fix) => format!("{name} said where it is {}", fix.at.ago),
        }
    }

    fn main(&self) -> Markup {
        html! {
            div data-part="fixes" {
                table { thead { tr { th { "said" } th.figure { "north, °" } th.figure { "east, °" } } } tbody {
                    @for fix in &self.fixes {
                        tr {
                            th scope="row" { (fix.at.shown()) " " span.quiet { (fix.at.ago()) } }
                            @match (fix.latitude_deg, fix.longitude_deg) {
                                (Some(latitude), Some(longitude)) => {
                                    td.figure { (format!("{latitude:.5}")) } td.figure { (format!("{longitude:.5}")) }
                                }
                                _ => td colspan="2" { span.doubt { "no position found" } },
                            }
                        }
                    }
                } }
            }
            p { a href=(node_page(&self.name)) { "All of " (plain(&self.name)) } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::alarms::tests::at;
    use super::*;

    #[test]
    fn an_old_position_is_never_said_as_if_it_were_new() {
        let fix = |latitude_deg: Option<f64>| Fix { at: at(), latitude_deg, longitude_deg: latitude_deg };
        let track = |fixes, is_stale| Track { name: "trailer".into(), fixes, is_stale };
        assert_eq!(track(vec![fix(None)], true).title(), "trailer has not said where it is");
        assert_eq!(
            track(vec![fix(None), fix(Some(47.0))], true).title(),
            "trailer said where it was 6 days ago; since then nothing"
        );
        assert_eq!(track(vec![fix(Some(47.0))], false).title(), "trailer said where it is 6 days ago");
    }
}
