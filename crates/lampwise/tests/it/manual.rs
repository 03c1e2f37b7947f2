use crate::support::lampwise;

const COMMANDS: [&str; 21] = [
    "why",
    "call",
    "tree",
    "sheet",
    "guide",
    "review",
    "trial",
    "play",
    "procedure",
    "practice",
    "serve",
    "lint",
    "draft",
    "describe",
    "records",
    "accounts",
    "types",
    "demo",
    "schema",
    "completions",
    "man",
];

#[test]
fn the_help_begins_with_an_example_and_tells_the_exit_codes() {
    let help = lampwise(&["--help"]).good();
    assert!(help.contains("lampwise why demo:minimal") && help.contains("Exit codes:"), "{help}");
    for command in COMMANDS {
        assert!(help.contains(&format!("  {command} ")), "{command}");
    }
}

#[test]
fn every_command_has_help_with_an_example() {
    for command in COMMANDS {
        let help = lampwise(&[command, "--help"]).good();
        assert!(help.contains(&format!("lampwise {command}")) && help.contains("Example"), "{help}");
    }
}

#[test]
fn completions_know_the_commands_in_every_shell() {
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = lampwise(&["completions", shell]).good();
        for command in COMMANDS {
            assert!(script.contains(command), "{shell} {command}");
        }
    }
}

#[test]
fn there_is_a_manual_page_for_each_command() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("man1");
    lampwise(&["man", "--output", folder.to_str().unwrap()]).good();
    for command in COMMANDS {
        let page = std::fs::read_to_string(folder.join(format!("lampwise-{command}.1"))).unwrap();
        assert!(page.contains(".SH NAME") && page.contains(command), "{command}");
    }
    assert!(lampwise(&["man"]).good().contains(".TH lampwise 1"));
}

#[test]
fn every_example_on_a_demo_in_the_help_works() {
    // The slow ones, which work out all pairs of the larger demos, are left to the README's own test.
    for arguments in [
        vec!["play", "demo:minimal", "--lamps"],
        vec!["play", "demo:minimal", "--with", "I9/dead"],
        vec!["play", "demo:minimal", "--with", "I8/dead@twist"],
        vec!["describe", "demo:jar-filler", "--deviations"],
    ] {
        lampwise(&arguments).good();
    }
}
