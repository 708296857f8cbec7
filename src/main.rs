//! The program: hands what was typed to the library and ends with its exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    recheck::cli::main()
}
