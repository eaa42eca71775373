//! The command line: arguments, one call into the libraries, an exit code.

mod args;
mod commands;
mod outcome;
mod progress;
mod voice;

use std::process::ExitCode;

use clap::Parser;

use args::{Args, Command};
use voice::Voice;

fn main() -> ExitCode {
    let args = Args::parse();
    let voice = Voice::new(args.json, args.quiet);
    let outcome = match args.command {
        None => commands::welcome(&voice),
        Some(Command::Demo(args)) => commands::demo::run(&voice, &args),
        Some(Command::Intake(args)) => commands::intake::run(&voice, &args),
        Some(Command::Check(args)) => commands::check::run(&voice, &args),
        Some(Command::Print(args)) => commands::print::run(&voice, &args),
        Some(Command::Measure(args)) => commands::measure::run(&voice, &args),
        Some(Command::Compare(args)) => commands::compare::run(&voice, &args),
        Some(Command::Advise(args)) => commands::advise::run(&voice, &args),
        Some(Command::Desk(args)) => commands::desk::run(&voice, &args),
        Some(Command::History(args)) => commands::history::run(&voice, &args),
        Some(Command::Album(args)) => commands::album::run(&voice, &args),
        Some(Command::Handover(args)) => commands::handover::run(&voice, &args),
        Some(Command::Starts(args)) => commands::starts::run(&voice, &args),
        Some(Command::Listen(args)) => commands::listen::run(&voice, &args),
        Some(Command::Notes(args)) => commands::notes::run(&voice, &args),
        Some(Command::Reference(args)) => commands::reference::run(&voice, &args),
        Some(Command::Schema) => commands::schema::run(),
        Some(Command::Manual(args)) => commands::manual::run(&voice, &args),
    };
    outcome.exit_code()
}
