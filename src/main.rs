use obelus::musicxml::{Input, Tree, read};
fn main() {
    for path in std::env::args().skip(1) {
        let input = match Input::open(path.as_ref()) { Ok(i) => i, Err(e) => { println!("{e}"); continue } };
        match Tree::parse(&input).and_then(|t| read(&t)) {
            Ok(r) => {
                let n: usize = r.score.parts.iter().map(|p| p.notes.len()).sum();
                let m: usize = r.score.parts.iter().map(|p| p.marks.len()).sum();
                println!("{path}: {} parts {n} notes {m} marks {} warnings {:?}", r.score.parts.len(), r.warnings.len(), r.warnings.first());
            }
            Err(e) => println!("{e}"),
        }
    }
}
