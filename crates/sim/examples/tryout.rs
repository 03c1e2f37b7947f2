use machine::id::*;
use sim::*;
use std::time::Instant;
struct Print<'a>(&'a machine::Machine, Layout);
impl Watch for Print<'_> {
    fn changed(&mut self, now: u64, s: Signal, v: bool) {
        for (i, st) in self.0.steps.iter() {
            if self.1.step(i) == s && v {
                println!("{now:>8} step {}", st.name)
            }
        }
        for (i, st) in self.0.inputs.iter() {
            if self.1.input(i) == s {
                println!("{now:>8}    {} {} {}", st.label, st.words.english, v)
            }
        }
        for (i, st) in self.0.outputs.iter() {
            if self.1.command(i) == s {
                println!("{now:>8}       out {} {}", st.tag, v)
            }
        }
    }
}
fn main() {
    let path = std::env::args().nth(1).unwrap();
    let text = std::fs::read_to_string(&path).unwrap();
    let m = match machine::load_str(&path, &text) {
        Ok(m) => m,
        Err(p) => {
            for p in p {
                println!("{p:?}")
            }
            return;
        }
    };
    println!(
        "inputs {} outputs {} deviations {} steps {}",
        m.inputs.len(),
        m.outputs.len(),
        m.deviations.len(),
        m.steps.len()
    );
    let plant = Plant::new(&m);
    let mut e = Engine::watched(&plant, Print(&m, plant.layout().clone()));
    println!("{:?}", e.power_on());
    println!("{:?}", e.run_to_standing(Limits::default()));
    let r = RoutineId::new(0);
    for a in &m.routines[r].actions {
        println!("--- {} {:?}", a.words.english, a.movement);
        e.act(a.movement).unwrap();
        println!("{:?}", e.run_to_standing(Limits::default()));
    }
    for r in m.routines.ids() {
        let t = Instant::now();
        let x = explore(&m, &plant, r, &Options { pairs: false, ..Options::default() });
        println!(
            "SINGLES {} {:?} behaviours {} slots {} records {} situations {} runs {} events {} cut {} latents {}",
            m.routines[r].name,
            t.elapsed(),
            x.behaviours.len(),
            x.slots.len(),
            x.records.len(),
            x.situations.len(),
            x.runs,
            x.events,
            x.cut,
            x.latent.len()
        );
        let mut stops = std::collections::BTreeMap::new();
        for rec in &x.records {
            let s = &x.situations[rec.situation as usize];
            *stops
                .entry((
                    s.stop,
                    rec.first
                        .map(|f| format!("{:?}", x.behaviours[f as usize].effects))
                        .filter(|_| s.stop != Stop::Standing),
                ))
                .or_insert(0) += 1;
        }
        println!("{stops:?}");
        if std::env::args().nth(2).is_some() {
            continue;
        }
        let x = explore(&m, &plant, r, &Options::default());
        println!(
            "{} {:?} behaviours {} slots {} records {} situations {} runs {} events {} cut {} latents {}",
            m.routines[r].name,
            t.elapsed(),
            x.behaviours.len(),
            x.slots.len(),
            x.records.len(),
            x.situations.len(),
            x.runs,
            x.events,
            x.cut,
            x.latent.len()
        );
    }
}
