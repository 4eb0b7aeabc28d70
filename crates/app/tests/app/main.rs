//! The real program, as a person runs it.

mod check;
mod climate;
mod codes;
mod diagnostics;
mod explain;
mod input;
mod kit;
mod learn;
mod program;
mod reach;
mod site;
mod size;
