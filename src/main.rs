//! The `frygauge` command.

fn main() -> std::process::ExitCode {
    frygauge::cli::run(std::env::args_os())
}
