//! Prints what is wrong with a machine file, and how large the machine is.
#![allow(clippy::print_stdout, missing_docs)]

fn main() {
    for path in std::env::args().skip(1) {
        let Ok(text) = std::fs::read_to_string(&path) else {
            println!("{path}: can't be read");
            continue;
        };
        let start = std::time::Instant::now();
        let reading = machine::read(machine::Source::new(path.clone(), text), &[]);
        let resolved = reading.resolve(&machine::Choice::default());
        for problem in &reading.lint() {
            println!("{}\n", problem.render(&reading.sources, false));
        }
        for alternative in &resolved.alternatives {
            println!("{:.3} {:?}", alternative.weight, alternative.choices);
        }
        if std::env::var_os("DUMP").is_some()
            && let Some(alternative) = resolved.alternatives.first()
        {
            for (_, row) in alternative.machine.deviations.iter() {
                println!("{} | {} | {:?}", row.key, row.words.english, row.effects);
            }
            for (_, row) in alternative.machine.checks.iter() {
                println!(
                    "{} | {} | {:?} | {:?}",
                    row.key,
                    row.operator.in_language("de"),
                    row.observes,
                    row.answers.iter().map(|a| a.words.in_language("de").to_string()).collect::<Vec<_>>()
                );
            }
            for (_, row) in alternative.machine.devices.iter() {
                println!("{} | {} | {}", row.name, row.words.english, row.words.in_language("de"));
            }
        }
        let first = resolved.alternatives.first().map(|alternative| &alternative.machine);
        if let Some(machine) = first {
            println!(
                "{path}: {} alternatives, {} devices, {} deviations, {} checks, {} remedies, {:?}",
                resolved.alternatives.len(),
                machine.devices.len(),
                machine.deviations.len(),
                machine.checks.len(),
                machine.remedies.len(),
                start.elapsed()
            );
        }
    }
}
