//! `overwinter`: plans solar LoRaWAN nodes that live outdoors for years.

mod chart;
mod command;
mod drawings;
mod enrolment;
mod explanation;
mod geojson;
mod input;
mod kit;
mod output;
mod problem;
mod progress;
mod report;

fn main() -> std::process::ExitCode {
    command::run()
}
