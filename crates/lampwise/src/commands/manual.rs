//! `lampwise completions` and `lampwise man`: made from the same definitions as the help.

use std::path::Path;

use clap::CommandFactory;
use serde_json::json;

use crate::arguments::{Arguments, Completions, Man};
use crate::failure::Failure;
use crate::screen::Screen;

/// Prints a completion script.
pub fn completions(arguments: &Completions, screen: &Screen) -> Result<(), Failure> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "lampwise", &mut script);
    let script = String::from_utf8_lossy(&script);
    if screen.json {
        let shell = arguments.shell.to_string();
        return screen.print_json(&json!({ "schema": "lampwise.completions/1", "shell": shell, "text": script }));
    }
    screen.print(&script)
}

/// Prints the manual page of the program, or saves all pages.
pub fn pages(arguments: &Man, screen: &Screen) -> Result<(), Failure> {
    let mut command = Arguments::command();
    command.build();
    let Some(folder) = &arguments.output else {
        let page = page(&command)?;
        return if screen.json {
            screen.print_json(&json!({ "schema": "lampwise.man/1", "pages": [], "text": page }))
        } else {
            screen.print(&page)
        };
    };
    std::fs::create_dir_all(folder).map_err(|error| Failure::write(folder, &error))?;
    let mut saved = vec![save(folder, "lampwise", &command)?];
    for sub in command.get_subcommands() {
        let name = format!("lampwise-{}", sub.get_name());
        // A manual page is asked for by one word; `name` of a command must live as long as the program.
        let titled = sub.clone().name(name.clone().leak() as &'static str);
        saved.push(save(folder, &name, &titled)?);
    }
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.man/1", "pages": saved, "text": null }));
    }
    screen.print(&format!("{} pages saved in {}\n", saved.len(), folder.display()))
}

fn page(command: &clap::Command) -> Result<String, Failure> {
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut page).map_err(|error| Failure::output(&error))?;
    Ok(String::from_utf8_lossy(&page).into_owned())
}

fn save(folder: &Path, name: &str, command: &clap::Command) -> Result<String, Failure> {
    let path = folder.join(format!("{name}.1"));
    std::fs::write(&path, page(command)?).map_err(|error| Failure::write(&path, &error))?;
    Ok(path.display().to_string())
}
