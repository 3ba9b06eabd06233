use obelus::{
    collate, findings,
    musicxml::{Input, Tree, read},
};
fn main() {
    let a: Vec<String> = std::env::args().skip(1).collect();
    let i1 = Input::open(a[0].as_ref()).unwrap();
    let i2 = Input::open(a[1].as_ref()).unwrap();
    let t1 = Tree::parse(&i1).unwrap();
    let t2 = Tree::parse(&i2).unwrap();
    let e = read(&t1).unwrap().score;
    let s = read(&t2).unwrap().score;
    let c = collate::collate(&e, &s, Default::default());
    for (a, f) in c.parts.iter().zip(findings::find(&e, &s, &c)) {
        println!(
            "part {} {} {:?} matched {}",
            a.edition,
            a.source,
            a.interval,
            a.matched()
        );
        for p in &f.passages {
            println!(
                "  {:?} {:?} {:?}..{:?} n={}",
                p.kind,
                p.octaves,
                p.from,
                p.to,
                p.edition.len()
            );
        }
        if a.edition == 0 && std::env::var("V").is_ok() {
            for x in &f.findings {
                println!(
                    "  {}/{} {} {} {:?} {:?} {:?} {:?}",
                    e.parts[a.edition].bars[x.at.bar].number,
                    x.at.offset,
                    x.category,
                    x.status.name(),
                    x.edition_reading,
                    x.source_reading,
                    x.end.map(|e| (e.bar, e.offset.to_string())),
                    x.passage
                );
            }
        }
        println!("{:?}", f.totals());
    }
}
