//! The pictures of one pair: every size as SVG and PNG, the first of them also step by step.

use crate::jobs::Remarks;
use crate::{Material, Picture};
use fairtake_files::FolderInMaking;
use fairtake_report::figure::{Corridor, png, reveal, svg};

/// Writes them; remarks name letters that the fonts lack.
pub(crate) fn pictures(
    m: &Material<'_>,
    place: usize,
    name: &str,
    wanted: &[Picture],
    into: &FolderInMaking,
) -> Remarks {
    let c = &m.findings.comparisons[place];
    let corridor = Corridor::new(m.findings, c);
    let mut lacking = Vec::new();
    for (n, Picture { name: size, still }) in wanted.iter().enumerate() {
        let stem = format!("figures/{name}-{size}");
        into.put(&format!("{stem}.svg"), svg(&corridor, still)?.as_bytes())?;
        if n > 0 {
            let picture = png(&corridor, still)?;
            into.put(&format!("{stem}.png"), &picture.bytes)?;
            continue;
        }
        // The last step of the series is the whole picture.
        for (i, step) in reveal(still).iter().enumerate() {
            let picture = png(&corridor, step)?;
            into.put(&format!("{stem}-step-{}.png", i + 1), &picture.bytes)?;
            lacking = picture.replaced;
        }
    }
    let letters: String = lacking.iter().collect();
    let remark = || format!("{}: the pictures' font lacks {letters}, written as numbers", m.pair_name(c));
    Ok(if lacking.is_empty() { Vec::new() } else { vec![remark()] })
}
