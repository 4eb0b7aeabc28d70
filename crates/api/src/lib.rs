//! What programs ask of a log that is served, and the shapes of the answers: pure.
//!
//! - [`shape`]: what is sent and answered, with named fields and units in the names.
//! - [`endpoint`]: each question once; the server makes its routes from them, and [`openapi`] its description.
//!
//! # References
//! `OpenAPI` Specification 3.1; RFC 3339 for times, always with `Z`; RFC 9457 for what is wrong.

pub mod endpoint;
pub mod openapi;
pub mod shape;
