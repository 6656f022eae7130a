//! The `frygauge` command: parse, dispatch, print error and hint, exit code.

fn main() -> std::process::ExitCode {
    std::process::ExitCode::SUCCESS
}
