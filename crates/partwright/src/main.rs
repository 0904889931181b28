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
mod played;
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
    let Some(command) = args.command else {
        return if json { ended(Err(Failure::Usage("say what is asked: partwright --help lists the commands".into()))) } else { ended(failure::print(FIRST)) };
    };
    ended(match command {
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
            let mut out = Vec::new();
            clap_complete::generate(shell, &mut Args::command(), "partwright", &mut out);
            failure::print(&String::from_utf8_lossy(&out))
        }
        Command::Manpage { of } => manpage(of.as_deref()),
    })
}

/// What is said to someone who typed the name alone.
const FIRST: &str = "\
Partwright: from one plain-text lesson to everything that a guitar teacher hands out.

  partwright open               the bench in your browser: choose a lesson, begin one, or look at a demo
  partwright new my-lesson      a lesson folder to start from
  partwright make my-lesson     handout, pupil's page, play-along audio
  partwright name \"x x 8 8 8 x\" --bass C    what a grip is called, and why

partwright --help lists all commands, partwright COMMAND --help says more, with examples.
";

/// The manual page of the program or of one command, in the typesetting language of `man`.
fn manpage(of: Option<&str>) -> Result<(), Failure> {
    let mut all = Args::command();
    all.build();
    let command = match of {
        None => all,
        Some(name) => match all.find_subcommand(name) {
            Some(c) => c.clone().name(&*format!("partwright-{name}").leak()),
            None => return Err(Failure::Usage(format!("there is no command {name}: partwright --help lists them"))),
        },
    };
    let mut out = Vec::new();
    clap_mangen::Man::new(command).render(&mut out).map_err(Failure::io("the manual page"))?;
    failure::print(&String::from_utf8_lossy(&out))
}

fn ended(done: Result<(), Failure>) -> ExitCode {
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(Failure::ClosedPipe) => ExitCode::SUCCESS,
        Err(f) => {
            f.print();
            ExitCode::from(f.code())
        }
    }
}
