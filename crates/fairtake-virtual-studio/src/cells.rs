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
    cells
}
