//! The pictures of one pair: every size as SVG and PNG, the first of them also step by step; and those of all microphones of a
//! source at once.

use crate::jobs::Remarks;
use crate::{Material, Picture};
use fairtake_files::FolderInMaking;
use fairtake_report::figure::{Corridor, FigureError, Many, png, png_of_many, reveal, svg, svg_of_many};

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
    Ok(told_lacking(&lacking, &m.pair_name(c)).into_iter().collect())
}

fn told_lacking(lacking: &[char], of: &str) -> Option<String> {
    let letters: String = lacking.iter().collect();
    (!lacking.is_empty()).then(|| format!("{of}: the pictures' font lacks {letters}, written as numbers"))
}

/// All microphones of a source in one picture, where there are three or more. A size at which they cannot be read is named.
pub(crate) fn together(
    m: &Material<'_>,
    many: &Many,
    name: &str,
    wanted: &[Picture],
    into: &FolderInMaking,
) -> Remarks {
    let mut remarks = Vec::new();
    if !m.gone.is_empty() {
        remarks.push(format!(
            "the picture of all microphones on {} is without the table of pairs, which needs every take",
            many.source
        ));
    }
    let mut lacking = Vec::new();
    for Picture { name: size, still } in wanted {
        let stem = format!("figures/{name}-all-{size}");
        match svg_of_many(many, still) {
            Ok(svg) => into.put(&format!("{stem}.svg"), svg.as_bytes())?,
            Err(e @ FigureError::TooMany { .. }) => {
                remarks.push(format!("not written: {stem}, since {e}"));
                continue;
            }
            Err(e) => return Err(e.into()),
        }
        let picture = png_of_many(many, still)?;
        into.put(&format!("{stem}.png"), &picture.bytes)?;
        lacking = picture.replaced;
    }
    remarks.extend(told_lacking(&lacking, &many.source));
    Ok(remarks)
}
