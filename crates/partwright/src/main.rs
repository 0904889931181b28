//! The command line: files, clock, caches and JSON stand here; everything else is in the crates below.

mod args;
mod audio;
mod chapters;
mod check;
mod failure;
mod film;
mod folder;
mod hear;
mod heard;
mod json_file;
mod letters;
mod lock;
mod make;
mod name;
mod new;
mod open;
mod pages;
mod place;
mod replace;
mod shelf;
mod store;
mod take;

use args::{Args, Command};
use clap::{CommandFactory, Parser};
use failure::Failure;
use std::process::ExitCode;

fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(a) => a,
        Err(e) => {
            // Help and version are answers, not faults; a closed pipe is nobody's fault.
            let code = if e.use_stderr() { failure::CALLED_WRONGLY } else { 0 };
            let _ = e.print();
            return ExitCode::from(code);
        }
    };
    let json = args.json;
    let done = match args.command {
        Command::New(a) => new::run(&a, json),
        Command::Open(a) => open::run(a, json),
        Command::Make(a) => make::run(&a, json),
        Command::Film(a) => film::run(&a, json),
        Command::Chapters(a) => chapters::run(&a, json),
        Command::Name(a) => name::run(&a, json),
        Command::Place(a) => place::run(&a, json),
        Command::Hear(a) => hear::run(&a, json),
        Command::Take(a) => take::run(&a, json),
        Command::Check(a) => check::run(&a, json),
        Command::Lock(a) => lock::run(&a, json),
        Command::Find(a) => shelf::find(&a, json),
        Command::Requests(a) => shelf::requests(&a, json),
        Command::Course(a) => shelf::course(&a, json),
        Command::Completions { shell } => {
            clap_complete::generate(shell, &mut Args::command(), "partwright", &mut std::io::stdout());
            Ok(())
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(Failure::ClosedPipe) => ExitCode::SUCCESS,
        Err(f) => {
            f.print();
            ExitCode::from(f.code())
        }
    }
}
