#![allow(missing_docs, clippy::unwrap_used)]
fn main() {
    for name in ["minimal", "jar-filler", "parts-washer", "lidding-line"] {
        let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let reading = machine::read(machine::Source::new(name, std::fs::read_to_string(path).unwrap()), &[]);
        let alternatives = reading.resolve(&machine::Choice::default()).alternatives;
        let t = std::time::Instant::now();
        let d = diagnose::Diagnoser::new(alternatives, &Default::default(), &sim::Options::default());
        let t1 = t.elapsed();
        let t = std::time::Instant::now();
        let g = diagnose::digest::digest(&d);
        println!(
            "{name}: diagnoser {t1:?}, digest {:?}, asked {}, causes {}, left out {:.2e}",
            t.elapsed(),
            g.asked.len(),
            g.causes.len(),
            g.left_out
        );
        for one in &g.grounds {
            let singles = one.rows.iter().filter(|r| r.set[1].is_none()).count();
            println!(
                "  alt {} routine {:?} classes {} truths {} vectors {} looks {} latent {} changes {} lists {} entries {} signs {} rows {} (singles {singles}) stages {}",
                one.alternative,
                one.routine,
                one.classes.len(),
                one.truths.len(),
                one.vectors.len(),
                one.looks.len(),
                one.latent.len(),
                one.changes.len(),
                one.change_lists.len(),
                one.change_lists.iter().map(Vec::len).sum::<usize>(),
                one.signs.len(),
                one.rows.len(),
                one.actions
            );
        }
    }
}
