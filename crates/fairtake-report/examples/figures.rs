//! Writes every figure of a findings file into a folder, and prints what each took.
//!
//! `cargo run --release -p fairtake-report --example figures -- FINDINGS.json FOLDER`

use fairtake_compare::Findings;
use fairtake_report::figure::{self, Corridor, Heard, Letters, Moving, State, Still, Theme};
use std::error::Error;
use std::path::Path;
use std::time::Instant;

/// Sizes of the set: name, width and height in px.
const SIZES: [(&str, u32, u32); 3] = [("wide", 1920, 1080), ("square", 1080, 1080), ("upright", 1080, 1920)];

/// Length of the moving picture in s, and frames per second.
const LENGTH_S: f64 = 4.0;
const FRAMES_PER_SECOND: f64 = 25.0;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [findings, folder] = arguments.as_slice() else {
        return Err("say which findings and which folder: figures FINDINGS.json FOLDER".into());
    };
    let findings: Findings = serde_json::from_str(&std::fs::read_to_string(findings)?)?;
    std::fs::create_dir_all(folder)?;
    for (i, c) in findings.comparisons.iter().enumerate() {
        let corridor = Corridor::new(&findings, c);
        let stem = Path::new(folder).join(format!("pair-{}", i + 1));
        stills(&corridor, &stem.to_string_lossy())?;
        moving(&corridor, &stem.to_string_lossy())?;
    }
    Ok(())
}

/// Writes a file and says how long its making took.
fn write(name: &str, bytes: &[u8], begun: Instant) -> Result<(), Box<dyn Error>> {
    println!("{name}: {} bytes, {:.1} ms", bytes.len(), begun.elapsed().as_secs_f64() * 1000.0);
    Ok(std::fs::write(name, bytes)?)
}

fn stills(corridor: &Corridor, stem: &str) -> Result<(), Box<dyn Error>> {
    for (shape, width, height) in SIZES {
        for (size, letters) in [("", Letters::Usual), ("-large", Letters::Large)] {
            for theme in Theme::ALL {
                let still = Still { width, height, letters, theme, ..Still::SCREEN };
                let name = format!("{stem}-{shape}{size}-{}", theme.word());
                let begun = Instant::now();
                write(&format!("{name}.svg"), figure::svg(corridor, &still)?.as_bytes(), begun)?;
                let begun = Instant::now();
                write(&format!("{name}.png"), &figure::png(corridor, &still)?.bytes, begun)?;
            }
        }
    }
    let clear = Still { transparent: true, ..Still::SCREEN };
    let begun = Instant::now();
    write(&format!("{stem}-transparent.png"), &figure::png(corridor, &clear)?.bytes, begun)?;
    for (i, still) in figure::reveal(&Still::SCREEN).iter().enumerate() {
        let begun = Instant::now();
        write(&format!("{stem}-reveal-{}.png", i + 1), &figure::png(corridor, still)?.bytes, begun)?;
    }
    Ok(())
}

/// A light that wanders up the strip, while one microphone after the other is heard.
fn moving(corridor: &Corridor, stem: &str) -> Result<(), Box<dyn Error>> {
    let n = corridor.segments.len();
    let n_states = (LENGTH_S * FRAMES_PER_SECOND) as usize;
    let states = (0..n_states).map(|k| {
        let place = k as f64 / n_states as f64 * 2.0;
        let heard = if place < 1.0 { Heard::Reference } else { Heard::Against };
        let at = place.fract() * n as f64;
        let brightness = (0..n).map(|i| (1.0 - (at - i as f64 - 0.5).abs() / 1.5).max(0.0) as f32).collect();
        State { at_s: k as f64 / FRAMES_PER_SECOND, heard: (k > 10).then_some(heard), brightness }
    });
    let begun = Instant::now();
    let moving = Moving::new(corridor, &Still::SCREEN, states.collect(), LENGTH_S, FRAMES_PER_SECOND)?;
    println!(
        "{stem} moving: {} frames of {:?} px, about {} bytes; {:.1} ms to draw what they share",
        moving.n_frames(),
        moving.size(),
        moving.about_bytes(),
        begun.elapsed().as_secs_f64() * 1000.0
    );
    let begun = Instant::now();
    let (mut n_bytes, mut kept) = (0, Vec::new());
    for (k, frame) in moving.frames().enumerate() {
        let frame = frame?;
        n_bytes += frame.len();
        if k % 24 == 0 {
            kept.push((k, frame));
        }
    }
    let per_frame = begun.elapsed().as_secs_f64() * 1000.0 / f64::from(moving.n_frames());
    println!("{stem} moving: {n_bytes} bytes, {per_frame:.1} ms for a frame");
    for (k, frame) in kept {
        std::fs::write(format!("{stem}-frame-{k:05}.png"), frame)?;
    }
    Ok(())
}
