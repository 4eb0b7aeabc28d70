//! The real program, as a person runs it.

mod check;
mod diagnostics;
mod input;
mod program;
