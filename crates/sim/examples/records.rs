use machine::id::*;
use sim::*;
fn main() {
    let path = std::env::args().nth(1).unwrap();
    let key = std::env::args().nth(2).unwrap();
    let m = machine::load_str(&path, &std::fs::read_to_string(&path).unwrap()).unwrap();
    let plant = Plant::new(&m);
    let x = explore(&m, &plant, RoutineId::new(0), &Options { pairs: false, ..Options::default() });
    println!("{:?}", x.slots);
    for (i, b) in x.behaviours.iter().enumerate() {
        if b.members.iter().any(|d| m.deviations[*d].key == key) {
            println!(
                "{:?} {:?}",
                b.effects,
                b.members.iter().map(|d| (&m.deviations[*d].key, m.deviations[*d].rate.chance)).collect::<Vec<_>>()
            );
            for r in &x.records {
                if r.first == Some(i as u32) {
                    let s = &x.situations[r.situation as usize];
                    let st: Vec<_> = m
                        .steps
                        .iter()
                        .filter(|(id, _)| s.on(plant.layout().step(*id)))
                        .map(|(_, st)| st.name.clone())
                        .collect();
                    let lit: Vec<_> = m
                        .inputs
                        .iter()
                        .filter(|(id, _)| s.on(plant.layout().input(*id)))
                        .map(|(_, r)| r.label.clone())
                        .collect();
                    println!("stage {} w {:.4} {:?} {:?}", r.stage, r.weight, st, lit);
                } else if r.first.is_none() {
                    println!(
                        "nominal stage {} w {:.5} latent {:.4}",
                        r.stage,
                        r.weight,
                        x.latent[r.latent.unwrap() as usize][i]
                    );
                }
            }
        }
    }
}
