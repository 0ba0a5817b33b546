//! The overview, grouped by who needs a command.

use super::Cli;
use clap::CommandFactory;

/// Who needs which commands, in the order in which the overview shows them.
pub const GROUPS: [(&str, &[&str]); 3] = [
    (
        "For the bench",
        &["status", "picklist", "order", "packed", "unpack", "reprint", "label", "start-packing", "mode"],
    ),
    (
        "For the owner",
        &[
            "orders",
            "decide",
            "hold",
            "release",
            "apart",
            "cancel",
            "ready",
            "replan",
            "nosuch",
            "handed-over",
            "forget",
            "quote",
            "fit",
            "compare",
        ],
    ),
    (
        "For the machine",
        &[
            "run",
            "rehearse",
            "check",
            "repair",
            "try",
            "intake",
            "remap",
            "reload",
            "test-page",
            "probe",
            "backup",
            "backups",
            "export",
            "import",
            "galley",
        ],
    ),
];

const FOOT: &str = "\
An order is named by the shortest ending that is unique among open orders (417),
by its whole number (S-417), or with its shop (shop/S-417); a parcel likewise
(417, 417/2 for the second of several). `dawnslip COMMAND --help` teaches each.
Exit codes: 0 done, 1 refused or found a problem, 2 wrong usage.
";

/// The command line with its grouped overview.
pub fn command() -> clap::Command {
    let plain = Cli::command();
    let mut overview = String::new();
    for (who, names) in GROUPS {
        overview.push_str(&format!("{who}\n"));
        for name in names {
            let about = plain.find_subcommand(name).and_then(|command| command.get_about());
            let about = about.map(ToString::to_string).unwrap_or_default();
            overview.push_str(&format!("  {name:<14} {about}\n"));
        }
        overview.push('\n');
    }
    plain.help_template(format!(
        "{{about-with-newline}}\n{{usage-heading}} {{usage}}\n\n{overview}Options\n{{options}}\n\n{FOOT}"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_command_stands_in_one_group_and_is_explained() {
        let command = command();
        let grouped: Vec<&str> = GROUPS.iter().flat_map(|(_, names)| names.iter().copied()).collect();
        let known: BTreeSet<&str> = command.get_subcommands().map(clap::Command::get_name).collect();
        assert_eq!(grouped.len(), known.len(), "each once");
        assert_eq!(grouped.into_iter().collect::<BTreeSet<_>>(), known);
        for sub in command.get_subcommands() {
            assert!(sub.get_about().is_some(), "{} says nothing", sub.get_name());
            let examples = sub.get_after_help().map(ToString::to_string).unwrap_or_default();
            assert!(examples.contains("dawnslip "), "{} shows no example", sub.get_name());
        }
    }

    #[test]
    fn the_definition_is_sound() {
        command().debug_assert();
    }
}
