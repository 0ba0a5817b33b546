//! The binary: everything is in the library, where tests reach it.

fn main() -> std::process::ExitCode {
    dawnslip::cli::main()
}
