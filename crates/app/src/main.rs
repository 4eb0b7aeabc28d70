//! `overwinter`: plans solar LoRaWAN nodes that live outdoors for years.

mod command;
mod demo;
mod described;
mod drawings;
mod edited;
mod enrolment;
mod explanation;
mod input;
mod kit;
mod known;
mod learning;
mod output;
mod progress;
mod proposal;
mod service;
mod web;

fn main() -> std::process::ExitCode {
    command::run()
}
