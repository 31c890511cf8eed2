//! A corridor that moves: the segments of the verdict strip light up, with their bands above them, and the microphone
//! that is heard is named.
//!
//! This crate has no samples. Whoever has them says how bright each segment is, and when; here it becomes frames. The
//! whole picture is drawn a few times (at rest, with each microphone heard, lit), and a frame is put together from these
//! pixels: what is heard from one of them, the column of each segment mixed from rest and light.

use super::still::{Laid, encoded, straight, without_opacity};
use super::{Corridor, FigureError, Heard, Shown, Step, Still};
use resvg::tiny_skia::Pixmap;

/// Most frames that a moving picture has: ten minutes at 30 frames per second.
pub const MOST_FRAMES: u32 = 18_000;

/// What holds from a time on, until the next state.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// From when, in s from the beginning.
    pub at_s: f64,
    /// Which microphone is heard; `None` where none is, or none may be named.
    pub heard: Option<Heard>,
    /// Brightness of each segment of the verdict strip, low to high, 0 (at rest) to 1.
    pub brightness: Vec<f32>,
}

/// A moving picture, checked and drawn as far as its frames have in common.
pub struct Moving {
    width: u32,
    height: u32,
    n_frames: u32,
    frames_per_second: f64,
    states: Vec<State>,
    /// Bytes of a pixel: three where all is opaque, else four, colours multiplied by their opacity, so that they can be
    /// mixed.
    n_channels: usize,
    /// Nobody heard, the reference, the other one.
    at_rest: [Vec<u8>; 3],
    lit: Vec<u8>,
    /// Rows of the spectra and the names above them.
    voices: (usize, usize),
    /// Rows of the difference and the strip.
    bands: (usize, usize),
    /// Columns of each segment, from and to.
    columns: Vec<(usize, usize)>,
    n_bytes_of_a_frame: usize,
    replaced: Vec<char>,
}

impl Moving {
    /// Most px of a frame: 3840 × 2160.
    pub const MOST_PX: u64 = 3840 * 2160;

    /// Checks what is asked and draws what all frames share. `still` gives size, letters and colours; everything is
    /// shown whatever its step. Before the first state all is at rest. `states` are in order of time, each with a
    /// brightness for every segment of the corridor.
    ///
    /// # Errors
    /// Any [`FigureError`]; then nothing has been made.
    pub fn new(
        corridor: &Corridor,
        still: &Still,
        states: Vec<State>,
        length_s: f64,
        frames_per_second: f64,
    ) -> Result<Moving, FigureError> {
        let n_frames = n_frames(length_s, frames_per_second)?;
        if u64::from(still.width) * u64::from(still.height) > Moving::MOST_PX {
            return Err(FigureError::TooLarge { asked: (still.width, still.height), most: (3840, 2160) });
        }
        checked(&states, corridor.segments.len())?;
        let laid = Laid::for_pixels(corridor, &Still { step: Step::Verdicts, ..*still })?;
        let shown = |heard| Shown { heard, lights: true, ..Shown::ALL };
        let n_channels = if still.transparent { 4 } else { 3 };
        let draw = |heard, lit| laid.pixels(shown(heard), lit).map(|p| kept(p, n_channels));
        let at_rest =
            [draw(None, false)?, draw(Some(Heard::Reference), false)?, draw(Some(Heard::Against), false)?];
        let lit = draw(None, true)?;
        let px = |units: f64, most: u32| (units * laid.scale).round().clamp(0.0, f64::from(most)) as usize;
        let rows = |from: f64, to: f64| (px(from, still.height), px(to, still.height));
        let plot = &laid.sheet.plot;
        let columns = corridor.segments.iter().map(|s| {
            let (from, to) = laid.sheet.edges(s);
            (px(from, still.width), px(to, still.width))
        });
        let mut moving = Moving {
            width: still.width,
            height: still.height,
            n_frames,
            frames_per_second,
            states,
            lit,
            voices: rows(plot.legend_y - super::sheet::LETTER * 1.2, plot.spectra.bottom),
            bands: rows(plot.difference.top, plot.strip_bottom),
            columns: columns.collect(),
            at_rest,
            n_channels,
            n_bytes_of_a_frame: 0,
            replaced: laid.replaced,
        };
        moving.n_bytes_of_a_frame = moving.file(None)?.len();
        Ok(moving)
    }

    /// How many frames there are.
    pub fn n_frames(&self) -> u32 {
        self.n_frames
    }

    /// Width and height of a frame in px.
    pub fn size(&self) -> (u32, u32) {
        (self.width, self.height)
    }

    /// Bytes of all frames together, estimated from one that is at rest.
    pub fn about_bytes(&self) -> u64 {
        self.n_bytes_of_a_frame as u64 * u64::from(self.n_frames)
    }

    /// Letters that the figure's fonts lack, as in [`Png::replaced`](super::Png::replaced).
    pub fn replaced(&self) -> &[char] {
        &self.replaced
    }

    /// The frames in order, each a PNG file; frame *k* (from 0) shows the state at *k* / rate s.
    pub fn frames(&self) -> Frames<'_> {
        Frames { moving: self, next: 0, last: None }
    }

    /// A frame as it goes into a video: rows from the top, three bytes (red, green, blue) a pixel, or four with opacity
    /// where the picture is transparent. `None` beyond the last frame.
    pub fn frame_pixels(&self, frame: u32) -> Option<Vec<u8>> {
        (frame < self.n_frames).then(|| {
            let mixed = self.pixels(self.state_at(frame).map(|i| &self.states[i]));
            if self.n_channels == 3 { mixed } else { straight(mixed) }
        })
    }

    /// Which state holds at a frame; a state that begins within a millionth of a frame after it counts.
    fn state_at(&self, frame: u32) -> Option<usize> {
        let at_s = (f64::from(frame) + 1e-6) / self.frames_per_second;
        self.states.partition_point(|s| s.at_s <= at_s).checked_sub(1)
    }

    /// The PNG file of a state.
    fn file(&self, state: Option<&State>) -> Result<Vec<u8>, FigureError> {
        let mixed = self.pixels(state);
        let pixels = if self.n_channels == 3 { mixed } else { straight(mixed) };
        encoded(self.width, self.height, &pixels, self.n_channels, png::Compression::Fast)
    }

    /// The pixels of a state.
    fn pixels(&self, state: Option<&State>) -> Vec<u8> {
        let mut out = self.at_rest[0].clone();
        let Some(state) = state else { return out };
        let n_channels = self.n_channels;
        let row = self.width as usize * n_channels;
        if let Some(heard) = state.heard {
            let from = &self.at_rest[1 + heard as usize];
            let rows = self.voices.0 * row..self.voices.1 * row;
            out[rows.clone()].copy_from_slice(&from[rows]);
        }
        for ((from, to), brightness) in self.columns.iter().zip(&state.brightness) {
            let share = (brightness * 256.0).round() as u32;
            if share == 0 || from >= to {
                continue;
            }
            for y in self.bands.0..self.bands.1 {
                let columns = y * row + from * n_channels..y * row + to * n_channels;
                for (o, l) in out[columns.clone()].iter_mut().zip(&self.lit[columns]) {
                    *o = ((u32::from(*o) * (256 - share) + u32::from(*l) * share + 128) >> 8) as u8;
                }
            }
        }
        out
    }
}

/// The frames of a [`Moving`] picture.
pub struct Frames<'m> {
    moving: &'m Moving,
    next: u32,
    /// The state of the frame before, and its file.
    last: Option<(Option<usize>, Vec<u8>)>,
}

impl Iterator for Frames<'_> {
    type Item = Result<Vec<u8>, FigureError>;

    fn next(&mut self) -> Option<Self::Item> {
        let m = self.moving;
        if self.next >= m.n_frames {
            return None;
        }
        let state = m.state_at(self.next);
        self.next += 1;
        if let Some((before, file)) = &self.last
            && m.looks(*before) == m.looks(state)
        {
            return Some(Ok(file.clone()));
        }
        let file = m.file(state.map(|i| &m.states[i]));
        self.last = file.as_ref().ok().map(|f| (state, f.clone()));
        Some(file)
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let left = (self.moving.n_frames - self.next) as usize;
        (left, Some(left))
    }
}

impl ExactSizeIterator for Frames<'_> {}

impl Moving {
    /// What a state looks like, apart from its time.
    fn looks(&self, state: Option<usize>) -> Option<(Option<Heard>, &[f32])> {
        state.map(|i| (self.states[i].heard, self.states[i].brightness.as_slice()))
    }
}

/// What is kept of drawn pixels.
fn kept(pixels: Pixmap, n_channels: usize) -> Vec<u8> {
    if n_channels == 4 { pixels.take() } else { without_opacity(&pixels.take()) }
}

fn n_frames(length_s: f64, frames_per_second: f64) -> Result<u32, FigureError> {
    if !(1.0..=60.0).contains(&frames_per_second) {
        return Err(FigureError::Rate { asked: frames_per_second });
    }
    let n = (length_s * frames_per_second).ceil();
    if !(1.0..=f64::from(MOST_FRAMES)).contains(&n) {
        let most_s = f64::from(MOST_FRAMES) / frames_per_second;
        return Err(FigureError::Length { asked_s: length_s, most_s });
    }
    Ok(n as u32)
}

fn checked(states: &[State], expected: usize) -> Result<(), FigureError> {
    let mut before_s = f64::NEG_INFINITY;
    for (state, s) in states.iter().enumerate() {
        if !s.at_s.is_finite() || s.at_s < before_s {
            return Err(FigureError::Order { state });
        }
        before_s = s.at_s;
        if s.brightness.len() != expected {
            return Err(FigureError::Segments { state, given: s.brightness.len(), expected });
        }
        if let Some(given) = s.brightness.iter().copied().find(|b| !(0.0..=1.0).contains(b)) {
            return Err(FigureError::Brightness { state, given });
        }
    }
    Ok(())
}
