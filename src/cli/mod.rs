//! Arguments to validated options, one file a command, the one printer.
//!
//! A command is a struct of arguments with `run(&self, &Context) -> Result<Exit, Failure>`: results go to
//! stdout, everything else through the [`Printer`] to stderr, and what a person must put right is a
//! [`Failure`] that says where and how.

mod card;
mod compare;
mod completions;
mod config;
mod decided;
mod demo;
mod failure;
mod grade;
mod growth;
mod measured;
mod plan;
mod printer;
mod report;
mod scale;
mod score;
mod screen;
mod season;
mod validation;
mod watch;

pub use config::Config;
pub use failure::{Failure, Place};
pub use printer::{ColorChoice, Printer, columns};
pub use season::{Recorder, Season};

use clap::{CommandFactory, Parser, Subcommand};
use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

/// Scores photographs of larval fish: every fry found, measured and its gas bladder called.
#[derive(Debug, Parser)]
#[command(name = "frygauge", version, max_term_width = 80, disable_help_subcommand = true)]
#[command(after_help = "Exit codes: 0 all done, 1 usage or configuration error and nothing written, \
2 finished but some photographs could not be scored, 3 stopped and what was finished is kept.")]
pub struct Cli {
    #[command(flatten)]
    global: Global,
    #[command(subcommand)]
    command: Command,
}

/// Options every command takes.
#[derive(Debug, clap::Args)]
struct Global {
    /// Print no progress and no notes; errors and warnings stay
    #[arg(long, global = true)]
    quiet: bool,
    /// Write results to stdout as JSON
    #[arg(long, global = true)]
    json: bool,
    /// Photographs worked on at once; all processors by default
    #[arg(long, global = true, value_name = "N")]
    jobs: Option<std::num::NonZeroUsize>,
    /// Colour in messages; never their only meaning
    #[arg(long, global = true, value_enum, default_value_t = ColorChoice::Auto, value_name = "WHEN")]
    color: ColorChoice,
    /// Settings file; `frygauge.toml` in the current folder when there is one
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Score photographs: find, measure and call every fish
    Score(score::Score),
    /// Score photographs as they arrive in a folder
    Watch(watch::Watch),
    /// Keep a season: register, ledger, its health and copies
    Season(season::Command),
    /// Store a microscope's or camera's scale under a name
    Scale(scale::ScaleCommand),
    /// Print scale cards to lie under or beside the dish
    Card(card::Card),
    /// Draw an invented season of rendered photographs and score it
    Demo(demo::Demo),
    /// Compare arms of tanks: did a change help
    Compare(Box<compare::Compare>),
    /// How many fry to dip and how many tanks to use
    Plan(plan::PlanCommand),
    /// Write the season so far: where to walk first, every tank, treatments, data quality
    Report(report::Report),
    /// Say where to set the grader and how many fish go each way
    Grade(grade::Grade),
    /// Say which outlet screen is safe, and when the next one will be
    Screen(screen::Screen),
    /// Say how fast fish grow, how uneven they are and what they weigh
    Growth(growth::Growth),
    /// Print a script that completes commands and options in a shell
    Completions(completions::Completions),
    /// Write manual pages to a folder
    Manual(completions::Manual),
}

/// What a command knows besides its own arguments.
#[derive(Debug)]
pub struct Context {
    /// Where messages and results go.
    pub printer: Printer,
    /// Write results to stdout as JSON.
    pub json: bool,
    /// Photographs worked on at once.
    pub jobs: usize,
    /// Settings from the file.
    pub config: Config,
}

/// How a command ended, as its exit code says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// All done.
    Done,
    /// Usage or configuration error; nothing written.
    Usage,
    /// Finished, but some photographs could not be scored.
    SomeRefused,
    /// Stopped; what was finished is kept.
    Stopped,
}

impl Exit {
    /// The process's exit code.
    pub fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Usage => 1,
            Self::SomeRefused => 2,
            Self::Stopped => 3,
        }
    }
}

/// Runs the command line `args` (the first is the program's name) and gives the process's exit code.
pub fn run(args: impl IntoIterator<Item = impl Into<OsString> + Clone>) -> ExitCode {
    let exit = match Cli::try_parse_from(args) {
        Ok(cli) => dispatch(&cli),
        Err(error) => usage(&error),
    };
    ExitCode::from(exit.code())
}

fn dispatch(cli: &Cli) -> Exit {
    let global = &cli.global;
    let printer = Printer::new(global.color, global.quiet);
    let result = Config::load(global.config.as_deref()).and_then(|config| {
        let all = std::thread::available_parallelism().map_or(1, std::num::NonZeroUsize::get);
        let jobs = global.jobs.map(std::num::NonZeroUsize::get).or(config.jobs).unwrap_or(all);
        let context = Context { printer: printer.clone(), json: global.json, jobs, config };
        match &cli.command {
            Command::Score(command) => command.run(&context),
            Command::Watch(command) => command.run(&context),
            Command::Season(command) => command.run(&context),
            Command::Demo(command) => command.run(&context),
            Command::Compare(command) => command.run(&context),
            Command::Plan(command) => command.run(&context),
            Command::Report(command) => command.run(&context),
            Command::Scale(command) => command.run(&context),
            Command::Card(command) => command.run(&context),
            Command::Grade(command) => command.run(&context),
            Command::Screen(command) => command.run(&context),
            Command::Growth(command) => command.run(&context),
            Command::Completions(command) => Ok(command.run(&context)),
            Command::Manual(command) => command.run(&context),
        }
    });
    result.unwrap_or_else(|failure| {
        printer.failure(&failure);
        failure.exit
    })
}

/// The level of intervals asked for, 95 % when none is.
fn level_of(asked: Option<f64>) -> Result<crate::stats::Level, Failure> {
    let Some(level) = asked else { return Ok(crate::stats::Level::P95) };
    crate::stats::Level::new(level).filter(|l| (0.5..=0.999).contains(&l.get())).ok_or_else(|| {
        Failure::usage(format!("{level} is no level for intervals")).hint("give 0.5 to 0.999, such as 0.95")
    })
}

/// Writes files into a folder, making it when needed; each file whole or not at all.
fn write_files(folder: &std::path::Path, files: &[(impl AsRef<str>, Vec<u8>)]) -> Result<(), Failure> {
    let failed = |path: &std::path::Path, e: &std::io::Error| {
        Failure::stopped(format!("cannot be written: {e}"))
            .at(Place::file(path))
            .hint("check that the folder may be written to and the disk has room")
    };
    std::fs::create_dir_all(folder).map_err(|e| failed(folder, &e))?;
    for (name, bytes) in files {
        let name = name.as_ref();
        let path = folder.join(name);
        write_whole(&path, bytes).map_err(|e| failed(&path, &e))?;
    }
    Ok(())
}

/// Writes a file whole or not at all: what was at `path` stays until the new file is complete.
fn write_whole(path: &std::path::Path, bytes: &[u8]) -> std::io::Result<()> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let aside = path.with_file_name(format!(".{name}.{}.unfinished", std::process::id()));
    let write = || {
        let mut file = std::fs::File::create(&aside)?;
        std::io::Write::write_all(&mut file, bytes)?;
        file.sync_all()?;
        std::fs::rename(&aside, path)
    };
    let done = write();
    if done.is_err() {
        let _ = std::fs::remove_file(&aside);
    }
    done
}

/// Help and version go to stdout; anything else is an error in the house's form.
fn usage(error: &clap::Error) -> Exit {
    if !error.use_stderr() {
        let _ = error.print();
        return Exit::Done;
    }
    let text = error.render().to_string();
    if error.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        eprintln!("{text}");
        return Exit::Usage;
    }
    let mut lines = text.lines().map(str::trim).filter(|l| !l.is_empty());
    let mut what = lines.next().unwrap_or_default().trim_start_matches("error: ").to_owned();
    let mut hint = String::new();
    for line in lines.take_while(|l| !l.starts_with("For more information")) {
        if let Some(tip) = line.strip_prefix("tip: ") {
            hint.push_str(tip);
            hint.push_str("; ");
        } else if let Some(form) = line.strip_prefix("Usage: ") {
            hint.push_str("the form is: ");
            hint.push_str(form);
        } else {
            what.push(' ');
            what.push_str(line);
        }
    }
    if hint.is_empty() {
        "see frygauge --help".clone_into(&mut hint);
    }
    let hint = hint.trim_end_matches("; ");
    Printer::new(ColorChoice::Auto, false).failure(&Failure::usage(what).hint(hint));
    Exit::Usage
}

/// The command line as data, for completions and manual pages.
fn definition() -> clap::Command {
    Cli::command()
}
