//! The `seamline` program: parse the arguments, run the command, print the error, exit.

fn main() -> std::process::ExitCode {
    seamline::cli::run()
}
