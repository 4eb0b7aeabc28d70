//! What it means: life, law, reach and message judged, with findings that say what to change.
//!
//! No I/O, no clock. Figures come from `forecast`; here they are held against what was promised and what is allowed.

pub mod adaptive;
pub mod answer;
pub mod expected;
pub mod finding;
pub mod law;
pub mod message;
pub mod placing;
pub mod plan;
mod quota;
pub mod reach;
pub mod remedy;
pub mod setting;
pub mod site;
pub mod size;
pub mod survey;
pub mod truth;
pub mod winter;

pub use answer::{Answer, BeforeLife, Environment, Question, answer};
pub use finding::{Finding, Severity, Verdict};
pub use truth::{Truth, truth};
pub use winter::{Winter, winter};
