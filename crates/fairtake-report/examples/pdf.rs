//! Sets the report of findings (JSON of `fairtake compare DIR --json`) as PDF and says how long it took:
//! `cargo run --example pdf --release -- findings.json report.pdf`.

use fairtake_compare::Findings;
use std::error::Error;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let (Some(from), Some(to)) = (arguments.next(), arguments.next()) else {
        return Err("give the findings (JSON) and the PDF to write".into());
    };
    let findings: Findings = serde_json::from_slice(&std::fs::read(&from)?)?;
    let start = Instant::now();
    let report = fairtake_report::pdf::pdf(&findings)?;
    let took = start.elapsed();
    // Nothing is overwritten.
    std::io::Write::write_all(&mut std::fs::File::create_new(&to)?, &report.bytes)?;
    println!(
        "{to}: {} pages, {} bytes, {:.0} ms",
        report.pages,
        report.bytes.len(),
        took.as_secs_f64() * 1e3
    );
    if !report.replaced.is_empty() {
        println!("letters shown by number: {:?}", report.replaced);
    }
    Ok(())
}
