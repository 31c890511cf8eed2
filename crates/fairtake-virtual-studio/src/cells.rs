//! The cells of the coverage experiment.

use fairtake_compare::{Design, Playing};

/// Which two microphones are compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MicPair {
    /// The same response twice.
    Identical,
    /// Two newly drawn ones.
    Drawn,
    /// Alike but for one octave, where the matched difference is this much (sign random).
    OctaveStep {
        /// Size in dB.
        decibels: f64,
    },
    /// Alike but for one octave of 3 dB.
    Bump3Db,
}

/// What is held against the truth in some cells only, because it costs another judgement each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Also {
    /// Edges and peaks of each microphone's spectrum.
    Features,
    /// The session goes on as the settling advice says.
    Settle,
    /// The conditional interval, with the placement allowance as it stands, at half and at twice its sizes.
    Allowance,
}

/// One kind of comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Name in the table.
    pub name: String,
    /// How the takes are made.
    pub design: Design,
    /// `Percussive` or `Sustained`.
    pub playing: Playing,
    /// Placements per microphone.
    pub placements: u32,
    /// Passes of playing per placement.
    pub performances_per_placement: u32,
    /// Hits or blocks per take.
    pub events: u32,
    /// Lag-1 correlation of blocks.
    pub block_correlation: f64,
    /// The microphones.
    pub mics: MicPair,
    /// Microphones exchange their spots from placement to placement.
    pub positions_exchanged: bool,
    /// What else is held against the truth.
    pub also: Vec<Also>,
}

impl Cell {
    fn new(design: Design, playing: Playing, placements: u32, events: u32, mics: MicPair) -> Cell {
        let name = format!(
            "{} {} {} placement{} {} {}",
            match design {
                Design::Together => "together",
                Design::InTurn => "in turn",
                Design::InTurnWithWitness => "witness",
                Design::Replayed => "replayed",
            },
            if playing == Playing::Sustained { "sustained" } else { "percussive" },
            placements,
            if placements == 1 { "" } else { "s" },
            format_args!("{events} {}", if playing == Playing::Sustained { "blocks" } else { "hits" }),
            match mics {
                MicPair::Identical => "identical".to_string(),
                MicPair::Drawn => "drawn".to_string(),
                MicPair::OctaveStep { decibels } => format!("step {decibels} dB"),
                MicPair::Bump3Db => "step 3 dB".to_string(),
            }
        );
        Cell {
            name,
            design,
            playing,
            placements,
            performances_per_placement: 1,
            events,
            block_correlation: 0.0,
            mics,
            positions_exchanged: false,
            also: Vec::new(),
        }
    }

    fn named(mut self, suffix: &str) -> Cell {
        self.name = format!("{} {suffix}", self.name);
        self
    }
}

/// Every cell of the curve tier.
pub fn all_cells() -> Vec<Cell> {
    use Design::{InTurn, InTurnWithWitness, Replayed, Together};
    use MicPair::{Bump3Db, Drawn, Identical};
    use Playing::{Percussive, Sustained};
    let step = |decibels| MicPair::OctaveStep { decibels };
    let mut cells = Vec::new();
    // One placement each: claims about these takes.
    for design in [Together, InTurn, InTurnWithWitness] {
        for events in [8, 24, 60] {
            cells.push(Cell::new(design, Percussive, 1, events, Drawn));
        }
        cells.push(Cell::new(design, Percussive, 1, 24, step(1.05)));
        cells.push(Cell::new(design, Percussive, 1, 60, Bump3Db));
    }
    // Sustained: correlated blocks.
    for design in [Together, InTurn] {
        for blocks in [8, 16, 60] {
            for correlation in [0.0, 0.5, 0.8] {
                let mut cell =
                    Cell::new(design, Sustained, 1, blocks, Drawn).named(&format!("r {correlation}"));
                cell.block_correlation = correlation;
                cells.push(cell);
            }
        }
        cells.push(Cell::new(design, Sustained, 1, 4, Identical));
    }
    cells.push(Cell::new(Replayed, Sustained, 1, 24, Drawn));
    cells.push(Cell::new(Replayed, Sustained, 3, 24, Drawn));
    // Several placements: claims about the microphones.
    for design in [InTurn, InTurnWithWitness] {
        for placements in [2, 3, 4, 5] {
            cells.push(Cell::new(design, Percussive, placements, 24, Drawn));
        }
        for mics in [Identical, step(1.05), step(1.2), Bump3Db] {
            cells.push(Cell::new(design, Percussive, 3, 24, mics));
        }
    }
    for mics in [Identical, step(1.05), step(1.2), Bump3Db] {
        cells.push(Cell::new(InTurn, Percussive, 2, 24, mics));
        cells.push(Cell::new(InTurn, Percussive, 5, 24, mics));
    }
    let mut sustained = Cell::new(InTurn, Sustained, 3, 24, Drawn).named("r 0.5");
    sustained.block_correlation = 0.5;
    cells.push(sustained);
    // Together, set up again, and with spots exchanged.
    cells.push(Cell::new(Together, Percussive, 3, 24, Drawn));
    for placements in [2, 4, 6] {
        for mics in [Drawn, Identical] {
            let mut cell = Cell::new(Together, Percussive, placements, 24, mics).named("exchanged");
            cell.positions_exchanged = true;
            cells.push(cell);
        }
    }
    // Several passes at one placement.
    for passes in [2, 3, 5] {
        let mut cell = Cell::new(InTurn, Percussive, 1, 24, Drawn).named(&format!("{passes} passes"));
        cell.performances_per_placement = passes;
        cells.push(cell);
    }
    // Of the rendered cells' kind and size.
    for (design, playing, placements, events) in [
        (Together, Percussive, 1, 12),
        (Together, Percussive, 3, 12),
        (Together, Sustained, 1, 29),
        (Together, Sustained, 3, 13),
        (InTurn, Percussive, 1, 12),
        (InTurn, Percussive, 3, 12),
        (InTurn, Sustained, 1, 29),
        (InTurn, Sustained, 3, 13),
        (InTurnWithWitness, Percussive, 1, 12),
        (InTurnWithWitness, Sustained, 3, 13),
        (Replayed, Sustained, 1, 29),
        (Replayed, Percussive, 3, 12),
    ] {
        cells.push(Cell::new(design, playing, placements, events, Drawn));
    }
    for (name, also) in ALSO {
        cells.iter_mut().filter(|c| c.name == *name).for_each(|c| c.also = also.to_vec());
    }
    cells
}

/// The cells in which more is held against the truth: every design, one placement and several, hits and blocks.
const ALSO: &[(&str, &[Also])] = &[
    ("together percussive 1 placement 24 hits drawn", &[Also::Features, Also::Settle, Also::Allowance]),
    ("in turn percussive 1 placement 24 hits drawn", &[Also::Features, Also::Settle, Also::Allowance]),
    ("witness percussive 1 placement 24 hits drawn", &[Also::Settle, Also::Allowance]),
    ("together sustained 1 placement 60 blocks drawn r 0.5", &[Also::Features, Also::Settle]),
    ("in turn sustained 1 placement 60 blocks drawn r 0.5", &[Also::Features, Also::Settle]),
    ("in turn percussive 2 placements 24 hits drawn", &[Also::Features]),
    ("in turn percussive 3 placements 24 hits drawn", &[Also::Features, Also::Settle]),
    ("in turn percussive 5 placements 24 hits drawn", &[Also::Features, Also::Settle]),
    ("witness percussive 3 placements 24 hits drawn", &[Also::Settle]),
    ("together percussive 3 placements 24 hits drawn", &[Also::Settle]),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cell_has_a_name_of_its_own_and_what_is_also_asked_names_a_cell() {
        let cells = all_cells();
        let mut names: Vec<&str> = cells.iter().map(|c| c.name.as_str()).collect();
        names.sort_unstable();
        assert!(names.windows(2).all(|w| w[0] != w[1]), "{names:?}");
        assert!(ALSO.iter().all(|(name, _)| names.contains(name)));
        assert!(
            crate::scene::audio_cells().iter().all(|c| names.contains(&c.twin)),
            "every rendered cell has a twin"
        );
    }
}
