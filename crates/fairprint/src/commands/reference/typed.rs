//! Every command as a page in Markdown, from the definitions that `--help` is made from.

use std::fmt::Write as _;

use clap::{Arg, Command, CommandFactory};

use crate::args::Args;

/// Name of the page in the reference.
pub const NAME: &str = "commands.md";

/// The page.
pub fn page() -> String {
    let mut program = Args::command();
    program.build();
    let mut text = format!("{}\n# The commands\n\n{}.\n", reference::MARK, about(&program));
    text.push_str("\nEvery command takes these:\n\n");
    table(&mut text, program.get_arguments().filter(|arg| arg.is_global_set()));
    text.push_str(
        "\nExit codes: 0 done; 1 done, but a check failed; 2 the input or the call is wrong; 3 the machine failed.\n",
    );
    section(&mut text, &mut program);
    text
}

fn section(text: &mut String, command: &mut Command) {
    for command in command.get_subcommands_mut() {
        let name = command.get_bin_name().unwrap_or(command.get_name()).to_owned();
        let usage = command.render_usage().to_string();
        let usage = usage.strip_prefix("Usage: ").unwrap_or(&usage).replace("\n       ", "\n");
        let _ = write!(text, "\n## `{name}`\n\n{}.\n\n```text\n{usage}\n```\n", about(command));
        let own = |arg: &&Arg| !arg.is_global_set() && arg.get_id() != "help";
        if command.get_arguments().any(|arg| own(&arg)) {
            text.push('\n');
            table(text, command.get_arguments().filter(own));
        }
        section(text, command);
    }
}

fn table<'a>(text: &mut String, args: impl Iterator<Item = &'a Arg>) {
    text.push_str("| | |\n| --- | --- |\n");
    for arg in args {
        let mut help = arg.get_help().map(ToString::to_string).unwrap_or_default().replace('|', "\\|");
        let usual: Vec<_> = arg.get_default_values().iter().map(|value| value.to_string_lossy()).collect();
        if !usual.is_empty() && arg.get_action().takes_values() {
            let _ = write!(help, "; `{}` when not given", usual.join(" "));
        }
        let _ = writeln!(text, "| `{}` | {help}. |", shape(arg));
    }
}

/// How an argument is typed: `SHEET`, `--only NAME`, `--quiet`, `--device[=NAME]`.
fn shape(arg: &Arg) -> String {
    let names = arg.get_value_names().unwrap_or_default().iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
    match arg.get_long() {
        None => names,
        Some(long) if arg.is_require_equals_set() => format!("--{long}[={names}]"),
        Some(long) if arg.get_action().takes_values() => format!("--{long} {names}"),
        Some(long) => format!("--{long}"),
    }
}

fn about(command: &Command) -> String {
    let about = command.get_long_about().or(command.get_about());
    about.map(ToString::to_string).unwrap_or_default().trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn the_page_of_the_commands_is_fresh() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/reference").join(NAME);
        let kept = std::fs::read_to_string(path).unwrap_or_default();
        assert!(kept == page(), "run `sh scripts/reference` and look at what it changes");
    }
}
