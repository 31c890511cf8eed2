//! The moving picture of one pair: its sound, what lights up when, frames and video. Bounded, and its size known before.

use crate::jobs::{Remarks, Told};
use crate::reels::{Playable, asked, captions, playable, spec};
use crate::{Ffmpeg, Keep, Material, MovingPicture, ReelsWanted, WriteUpError};
use fairtake_audition::{Reel, lights, reel, reel_length_s};
use fairtake_compare::{ComparisonFindings, Verdict};
use fairtake_files::FolderInMaking;
use fairtake_files::{KEPT_FREE_BYTES, free_bytes};
use fairtake_report::captions::webvtt;
use fairtake_report::figure::{Corridor, FigureError, Heard, Moving, State, Still};

/// Frames of one pair take no more than this, in bytes.
const MOST_BYTES: u64 = 4_000_000_000;
/// News after so many frames.
const TELL_EVERY: u32 = 50;

/// What a moving picture will be.
#[derive(Debug, Clone, PartialEq)]
pub struct MovingPlan {
    /// Which pair on which source, in words.
    pub pair: String,
    /// Length in seconds.
    pub length_s: f64,
    /// Number of frames.
    pub n_frames: u32,
    /// Width and height in px.
    pub size: (u32, u32),
    /// All frames together, in bytes, estimated from one.
    pub about_bytes: u64,
}

impl MovingPlan {
    /// In one line.
    pub fn words(&self) -> String {
        let (w, h) = self.size;
        format!(
            "moving picture of {}: {:.1} s, {} frames of {w} × {h} px; as frames about {} MB",
            self.pair,
            self.length_s,
            self.n_frames,
            self.about_bytes.div_ceil(1_000_000)
        )
    }
}

/// What the moving pictures of all pairs would be, in the order of the findings' comparisons; where there can be none, why.
/// No sound is read.
pub fn moving_plans(
    m: &Material<'_>,
    reels: &ReelsWanted,
    wanted: &MovingPicture,
) -> Vec<Result<MovingPlan, String>> {
    let plan = |c: &ComparisonFindings| -> Result<MovingPlan, String> {
        let pair = m.pair_name(c);
        let none = |why: String| format!("no moving picture of {pair}: {why}");
        let playable = of_pair(m, c, reels).map_err(none)?;
        let length_s =
            reel_length_s(&playable.moments, &asked(reels, Vec::new())).map_err(|e| none(e.to_string()))?;
        let corridor = Corridor::new(m.findings, c);
        let moving =
            Moving::new(&corridor, &still_of(wanted), Vec::new(), length_s, wanted.frames_per_second)
                .map_err(|e| none(e.to_string()))?;
        let plan = MovingPlan {
            length_s,
            n_frames: moving.n_frames(),
            size: moving.size(),
            about_bytes: moving.about_bytes(),
            pair: pair.clone(),
        };
        fits(&plan, wanted.keep).map_err(none)?;
        Ok(plan)
    };
    m.findings.comparisons.iter().map(plan).collect()
}

fn of_pair(m: &Material<'_>, c: &ComparisonFindings, reels: &ReelsWanted) -> Result<Playable, String> {
    playable(m, &c.source, Some([&c.reference, &c.against]), reels)
}

/// The picture as it moves: coders of video want even sides, and know no transparency.
fn still_of(wanted: &MovingPicture) -> Still {
    let still = wanted.still;
    if wanted.keep == Keep::Frames {
        return still;
    }
    Still {
        width: still.width.next_multiple_of(2),
        height: still.height.next_multiple_of(2),
        transparent: false,
        ..still
    }
}

fn fits(plan: &MovingPlan, keep: Keep) -> Result<(), String> {
    if keep != Keep::Video && plan.about_bytes > MOST_BYTES {
        return Err(format!(
            "its frames would take about {} MB, {} are the most; keep the video alone, or take a smaller or a shorter one",
            plan.about_bytes / 1_000_000,
            MOST_BYTES / 1_000_000
        ));
    }
    Ok(())
}

/// Makes it. What cannot be made is a remark, not a failure.
pub(crate) fn moving(
    m: &Material<'_>,
    place: usize,
    name: &str,
    reels: &ReelsWanted,
    wanted: &MovingPicture,
    into: &FolderInMaking,
    told: &Told,
) -> Remarks {
    let c = &m.findings.comparisons[place];
    let pair = m.pair_name(c);
    let none = |why: String| Ok(vec![format!("no moving picture of {pair}: {why}")]);
    let made = of_pair(m, c, reels).and_then(|playable| {
        reel(m.takes, &playable.moments, &playable.gains, &asked(reels, Vec::new()))
            .map_err(|e| e.to_string())
    });
    let made = match made {
        Ok(made) => made,
        Err(why) => return none(why),
    };
    let corridor = Corridor::new(m.findings, c);
    let length_s = made.samples.len() as f64 / f64::from(made.rate_hz);
    let states = states(c, &corridor, &made, wanted.frames_per_second);
    let drawn = match Moving::new(&corridor, &still_of(wanted), states, length_s, wanted.frames_per_second) {
        Ok(drawn) => drawn,
        Err(e @ FigureError::Drawing(_)) => return Err(e.into()),
        Err(e) => return none(e.to_string()),
    };
    let folder = format!("moving/{name}");
    let called = |mic: &str| m.mic_name(mic).to_string();
    into.put(&format!("{folder}/captions.vtt"), webvtt(&captions(&made, called)).as_bytes())?;
    into.put_wav(&format!("{folder}/sound.wav"), spec(made.rate_hz, Vec::new()), &made.samples)?;
    let mut remarks = Vec::new();
    let mut keeps_frames = wanted.keep != Keep::Video;
    if wanted.keep != Keep::Frames {
        match video(&drawn, &pair, &folder, wanted, into, told)? {
            Ok(made) => remarks.push(made),
            Err(why) => {
                let instead = if keeps_frames { "" } else { "; numbered frames are written in its place" };
                remarks.push(format!("no video of {pair}: {why}{instead}"));
                keeps_frames = true;
            }
        }
    }
    if keeps_frames {
        remarks.extend(frames(&drawn, &pair, &folder, into, told)?);
    }
    Ok(remarks)
}

/// The video; inside, in words, why there is none.
fn video(
    drawn: &Moving,
    pair: &str,
    folder: &str,
    wanted: &MovingPicture,
    into: &FolderInMaking,
    told: &Told,
) -> Result<Result<String, String>, WriteUpError> {
    let ffmpeg = match Ffmpeg::find() {
        Ok(ffmpeg) => ffmpeg,
        Err(why) => return Ok(Err(why)),
    };
    let maker = ffmpeg.maker();
    let out = into.place(&format!("{folder}/moving.{}", maker.ending))?;
    let sound = into.place(&format!("{folder}/sound.wav"))?;
    let tell = |k: u32| {
        if k.is_multiple_of(TELL_EVERY) {
            told.so_far(format!("moving picture of {pair}: frame {k} of {}", drawn.n_frames()));
        }
    };
    let made = ffmpeg.make(drawn, wanted.frames_per_second, &sound, &out, tell);
    Ok(match made {
        Ok(()) => {
            let about = std::fs::metadata(&out).map_or(0, |a| a.len());
            let (w, h) = drawn.size();
            Ok(format!(
                "video of {pair}: {w} × {h} px, {} frames, {:.1} MB, by ffmpeg with {} and {}",
                drawn.n_frames(),
                about as f64 / 1e6,
                maker.picture,
                maker.sound
            ))
        }
        Err(why) => {
            // Whatever lies there is no video.
            let _ = std::fs::remove_file(&out);
            Err(why)
        }
    })
}

/// Numbered frames, where there is room for them.
fn frames(
    drawn: &Moving,
    pair: &str,
    folder: &str,
    into: &FolderInMaking,
    told: &Told,
) -> Result<Option<String>, WriteUpError> {
    let about_bytes = drawn.about_bytes();
    let room = free_bytes(into.path()).map_or(MOST_BYTES, |free| free.saturating_sub(KEPT_FREE_BYTES));
    if about_bytes > room.min(MOST_BYTES) {
        return Ok(Some(format!(
            "no frames of {pair}: they would take about {} MB, {} MB are the most here",
            about_bytes / 1_000_000,
            room.min(MOST_BYTES) / 1_000_000
        )));
    }
    for (k, frame) in drawn.frames().enumerate() {
        into.put(&format!("{folder}/frame-{:05}.png", k + 1), &frame?)?;
        if (k as u32).is_multiple_of(TELL_EVERY) {
            told.so_far(format!("moving picture of {pair}: frame {k} of {}", drawn.n_frames()));
        }
    }
    Ok(None)
}

/// What lights up when, and who is heard. Ranges that were not judged stay dark: what sounds there is not told from noise.
fn states(c: &ComparisonFindings, corridor: &Corridor, made: &Reel, frames_per_second: f64) -> Vec<State> {
    let spans: Vec<(f64, f64)> = corridor.segments.iter().map(|s| (s.from_hz, s.to_hz)).collect();
    let mut light = lights(&made.samples, made.rate_hz, &spans, frames_per_second);
    for of_frame in &mut light {
        for (brightness, segment) in of_frame.iter_mut().zip(&corridor.segments) {
            if segment.verdict == Verdict::OutOfRange {
                *brightness = 0.0;
            }
        }
    }
    let heard_at = |at_s: f64| {
        let frame = (at_s * f64::from(made.rate_hz)) as u64;
        let piece = made.pieces.iter().find(|p| (p.from_frame..p.to_frame).contains(&frame))?;
        Some(if piece.mic == c.reference { Heard::Reference } else { Heard::Against })
    };
    let state = |(k, brightness): (usize, Vec<f32>)| {
        let at_s = k as f64 / frames_per_second;
        State { at_s, heard: heard_at(at_s), brightness }
    };
    light.into_iter().enumerate().map(state).collect()
}
