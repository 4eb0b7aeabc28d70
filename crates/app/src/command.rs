//! The command line.

mod check;
mod check_site;
mod climate;
mod compare;
mod demo;
mod enrol;
mod explain;
mod export;
mod kit;
mod learn;
mod people;
mod reach;
mod reach_map;
mod reach_survey;
mod retire;
mod serve;
mod size;
mod table;

use std::process::ExitCode;

use clap::{CommandFactory as _, Parser, Subcommand};
use clap_complete::Shell;

use crate::output;

/// Plans solar LoRaWAN nodes that live outdoors for years.
#[derive(Parser)]
#[command(name = "overwinter", version, propagate_version = true, arg_required_else_help = true)]
#[command(after_help = EXIT_CODES)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

const EXIT_CODES: &str = "Exit code: 0 all verdicts hold (or are tight or not known), 1 a verdict fails, \
2 something is wrong with the input, or the output could not be written.";

#[derive(Subcommand)]
enum Command {
    /// Says whether a node lives, how likely that is, and why
    #[command(after_help = check::EXAMPLE)]
    Check(check::Check),
    /// Finds the cheapest, smallest or most talkative node that keeps its promise
    #[command(after_help = size::EXAMPLE)]
    Size(size::SizeOf),
    /// Says what weather is assumed at a node, from where, and how sure it is
    #[command(after_help = climate::EXAMPLE)]
    Climate(climate::ClimateOf),
    /// Writes the firmware kit: C header, decoders, field table, test vectors
    #[command(after_help = kit::EXAMPLE)]
    Kit(kit::KitOf),
    /// Draws where the nodes of a site would be heard, and what stands in the way of each
    #[command(after_help = reach::EXAMPLE)]
    Reach(reach::ReachOf),
    /// Finds the reporting interval by month and charge that keeps a promise
    #[command(after_help = table::EXAMPLE)]
    Table(table::TableOf),
    /// Gives nodes their identities and keys, and prints labels and sheets
    #[command(after_help = enrol::EXAMPLE)]
    Enrol(enrol::Enrol),
    /// Explains a captured radio frame, field by field
    #[command(after_help = explain::EXAMPLE)]
    Explain(explain::Explain),
    /// Hears the nodes of a site through its gateways, and keeps what they say
    #[command(after_help = serve::EXAMPLE)]
    Serve(serve::Serve),
    /// Says who may read, act, and enrol; adds and removes people and the words of their programs
    #[command(after_help = people::EXAMPLE)]
    People(people::PeopleOf),
    /// Takes a node in for good: closes its row, revokes its key, and prints its life
    #[command(after_help = retire::EXAMPLE)]
    Retire(retire::Retire),
    /// Writes readings in the forms of others, or a copy of the log
    #[command(after_help = export::EXAMPLE)]
    Export(export::Export),
    /// Says what a node's messages tell: its parts, what changed, how long it goes on
    #[command(after_help = learn::EXAMPLE)]
    Learn(learn::LearnOf),
    /// Lets an invented site live, with everything that `serve` does, and no hardware
    #[command(after_help = demo::EXAMPLE)]
    Demo(demo::Demo),
    /// Prints the completions of a shell
    Completions {
        /// Which shell
        shell: Shell,
    },
}

fn completions(shell: Shell) -> ExitCode {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut CommandLine::command(), "overwinter", &mut text);
    match crate::output::print(&String::from_utf8_lossy(&text)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            crate::output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}

/// Runs the program.
pub(crate) fn run() -> ExitCode {
    let command = match CommandLine::try_parse() {
        Ok(line) => line.command,
        Err(refused) => return answer(&refused),
    };
    match command {
        Command::Check(arguments) => check::run(&arguments),
        Command::Size(arguments) => size::run(&arguments),
        Command::Climate(arguments) => climate::run(&arguments),
        Command::Kit(arguments) => kit::run(&arguments),
        Command::Reach(arguments) => reach::run(&arguments),
        Command::Table(arguments) => table::run(&arguments),
        Command::Enrol(arguments) => enrol::run(&arguments),
        Command::Explain(arguments) => explain::run(&arguments),
        Command::Serve(arguments) => serve::run(&arguments),
        Command::People(arguments) => people::run(&arguments),
        Command::Retire(arguments) => retire::run(&arguments),
        Command::Export(arguments) => export::run(&arguments),
        Command::Learn(arguments) => learn::run(&arguments),
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Completions { shell } => completions(shell),
    }
}

/// Prints help, version, or what is wrong with the command line.
fn answer(refused: &clap::Error) -> ExitCode {
    let text = refused.render().ansi().to_string();
    if refused.use_stderr() {
        output::complain(&text);
        return ExitCode::from(2);
    }
    match output::print(&text) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => check::refuse(&failure, false),
    }
}
