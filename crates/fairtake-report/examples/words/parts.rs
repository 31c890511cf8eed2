//! Names, takes and checks of made findings, and the numbers they are drawn from.

use super::made::Case;
use fairtake_compare::{CheckResult, MicEntry, Outcome, Playing, Role, SourceEntry, TakeEntry};

/// Numbers by seed.
///
/// # Source
/// Steele, Lea and Flood (2014), "Fast splittable pseudorandom number generators", the mixing function of its figure 17;
/// constants from memory.
pub struct Draw(u64);

impl Draw {
    pub fn new(seed: u64) -> Draw {
        Draw(seed.wrapping_mul(0x2545_f491_4f6c_dd1d).wrapping_add(1))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n.max(1) as u64) as usize
    }

    pub fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    pub fn of<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())]
    }
}

pub fn mic_names(draw: &mut Draw, n: usize, strange: bool) -> Vec<String> {
    let plain = ["Moorhen 12", "Heron 3", "Coot", "Little Grebe 7", "bittern", "dipper-2", "a", "b"];
    let long = "Sandpiper of the far end of the boathouse, the second one from the left ".repeat(3);
    let odd = [
        "Moor\"hen\" 3.0 decibels louder",
        "two\nlines, 12 dB less",
        "\u{202e}turned 7.5 kHz",
        "\u{5d0}\u{5d2}\u{5de}\u{5d9}\u{5d4} 12",
        "🦆🛶 9",
        long.trim(),
        "Heron 3",
        "Heron 3",
        "“quoted” & <b>",
        " ",
    ];
    let list: &[&str] = if strange { &odd } else { &plain };
    let first = draw.below(list.len());
    // Two of the strange ones bear one name on purpose; the others never meet themselves.
    (0..n).map(|i| list[(first + i) % list.len()].to_string()).collect()
}

pub fn source_names(draw: &mut Draw, n: usize, strange: bool) -> Vec<String> {
    let plain =
        ["frame drum, 40 cm", "cello, slow notes", "speaking voice", "oar on the water", "rowing bench"];
    let odd = ["drum \"2.5 kHz more\"", "line\nbreak 3", "\u{5ea}\u{5d5}\u{5e3} 4", "🥁", ""];
    let list = if strange { &odd } else { &plain };
    let first = draw.below(list.len());
    (0..n).map(|i| list[(first + i) % list.len()].to_string()).collect()
}

pub fn title(draw: &mut Draw, strange: bool) -> String {
    if !strange {
        return "Which one for the boathouse, day 2".into();
    }
    let long = "A very long title, 3.0 dB more. ".repeat(7);
    draw.of(&["“Moorhen” or\n'Heron'?\u{202e} 12 dB", "\u{5d0}\u{5d1}\u{5d2} 3", "🛶", long.as_str(), ""])
        .to_string()
}

pub fn takes(draw: &mut Draw, mics: &[MicEntry], sources: &[SourceEntry], case: Case) -> Vec<TakeEntry> {
    let playing = draw.of(&[Playing::Percussive, Playing::Sustained]);
    let mut out = Vec::new();
    for source in sources {
        let once = case == Case::OnePlacement || (case == Case::SeveralSources && draw.one_in(4));
        let n_placements = if once { 1 } else { 2 + draw.below(3) as u32 };
        for mic in mics {
            // One that is heard a little more often than the other, now and then.
            let n = n_placements + u32::from(draw.one_in(6));
            for placement in 1..=n {
                let performance = 1 + out.len() as u32;
                out.push(TakeEntry {
                    id: format!("takes/{}-{}-{performance}.wav:1", source.id, mic.id),
                    file: format!("takes/{}-{}-{performance}.wav", source.id, mic.id),
                    sha256: String::new(),
                    channel: 1,
                    sample_rate_hz: 48_000,
                    frames: 480_000,
                    format: "made".into(),
                    mic: mic.id.clone(),
                    source: source.id.clone(),
                    placement,
                    performance,
                    position: None,
                    order: None,
                    role: Role::Compared,
                    gain_db: None,
                    playing,
                    events: 12,
                    sample_peak_dbfs: Some(-6.0),
                    true_peak_dbtp: Some(-5.9),
                    rms_dbfs: Some(-30.0),
                    file_loudness_lufs: Some(-28.0),
                    dc: 0.0,
                    noise_dbfs: None,
                    noise_dbfs_a: None,
                    noise_from: None,
                    // Never the first of a microphone: something is left to compare.
                    left_out: case == Case::UnfairTakes && placement > 1 && draw.one_in(2),
                });
            }
        }
    }
    out
}

pub fn checks(draw: &mut Draw, takes: &[TakeEntry], n_pairs: usize, case: Case) -> Vec<CheckResult> {
    let mut out = Vec::new();
    let check = |code: &str, outcome, take: Option<&TakeEntry>, comparison, text: String| CheckResult {
        code: code.into(),
        outcome,
        take: take.map(|t| t.id.clone()),
        comparison,
        measured: Some(1.0),
        limit: Some(0.5),
        unit: String::new(),
        text,
        advice: "made".into(),
    };
    for take in takes {
        let insisted = case == Case::UnfairTakes && draw.one_in(8);
        if take.left_out || insisted {
            let n = 7 + draw.below(5);
            let text = format!("{n} of 12 events clipped, event 2 first");
            out.push(check("clipped", Outcome::Unfair, Some(take), None, text));
        } else {
            let outcome = if draw.one_in(12) { Outcome::Caution } else { Outcome::Fair };
            let db = 10 + draw.below(30);
            let text = format!("hum of 50 Hz mains stands {db} dB above the noise beside it");
            out.push(check("hum", outcome, Some(take), None, text));
        }
        if draw.one_in(15) {
            let text = "mean value 0.00620 of full scale; its energy alone lifts the lowest octave by 3.1 dB"
                .to_string();
            out.push(check("dc", Outcome::Caution, Some(take), None, text));
        }
    }
    for pair in 0..n_pairs {
        let few = case == Case::OnePlacement;
        let outcome = if few { Outcome::Caution } else { Outcome::Fair };
        out.push(check("few_placements", outcome, None, Some(pair), "1 placement per microphone".into()));
        if draw.one_in(6) {
            let text = "strength of playing drifts by −0.12 dB from take to take (± 0.2)".to_string();
            out.push(check("order_drift", Outcome::Caution, None, Some(pair), text));
        }
        if draw.one_in(20) {
            out.push(check("new_check", Outcome::Caution, None, Some(pair), "5 % of 2 s, a thing".into()));
        }
    }
    out
}
