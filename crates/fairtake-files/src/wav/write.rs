//! Writes WAV files as a whole or not at all: a temporary file beside the target is renamed when it is complete.

use super::metadata::{Bext, CueMarker};
use crate::error::{AudioError, AudioProblem};
use std::io::{BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StoreAs {
    /// 16-bit integer.
    Int16,
    /// 24-bit integer.
    Int24,
    /// 32-bit float.
    Float32,
}

/// Whether a file of that name may be replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Replace {
    /// An existing file is an error.
    Never,
    /// An existing file is replaced.
    Allowed,
}

/// What is written.
#[derive(Debug, Clone, PartialEq)]
pub struct WavSpec {
    /// Sampling rate in Hz, 8000..=384000.
    pub rate_hz: u32,
    /// Interleaved channels, 1 or more.
    pub n_channels: u16,
    /// How samples are stored.
    pub store_as: StoreAs,
    /// Broadcast extension, if wanted.
    pub bext: Option<Bext>,
    /// Cue markers; labels are written too.
    pub cue_markers: Vec<CueMarker>,
}

/// A WAV file being written. Dropped before [`WavWriter::finish`], it leaves nothing behind.
pub struct WavWriter {
    target: PathBuf,
    replace: Replace,
    spec: WavSpec,
    out: BufWriter<NamedTempFile>,
    data_size_at: u64,
    data_bytes: u64,
}

impl WavWriter {
    /// Begins a file that will appear at `target` when finished.
    ///
    /// # Errors
    /// When the target exists and may not be replaced, the specification is out of range, or the folder cannot be
    /// written to.
    pub fn create(target: &Path, spec: WavSpec, replace: Replace) -> Result<WavWriter, AudioError> {
        let fail = |problem| AudioError { file: target.display().to_string(), problem };
        if replace == Replace::Never && target.exists() {
            return Err(fail(AudioProblem::Exists));
        }
        let folder = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let made = crate::write::readable(folder).map_err(|e| fail(AudioProblem::System(e.to_string())))?;
        WavWriter::into_file(made, target, spec, replace)
    }

    /// Begins a file in one that was made for it and will be put at `target`.
    pub(crate) fn into_file(
        made: NamedTempFile,
        target: &Path,
        spec: WavSpec,
        replace: Replace,
    ) -> Result<WavWriter, AudioError> {
        let fail = |problem| AudioError { file: target.display().to_string(), problem };
        if !(8_000..=384_000).contains(&spec.rate_hz) {
            return Err(fail(AudioProblem::Rate(spec.rate_hz)));
        }
        if spec.n_channels == 0 {
            return Err(fail(AudioProblem::NoChannels));
        }
        if u32::from(spec.n_channels) * u32::from(sample_bytes(spec.store_as)) > u32::from(u16::MAX) {
            return Err(fail(AudioProblem::Unsupported(format!("{} channels in one file", spec.n_channels))));
        }
        let mut writer = WavWriter {
            target: target.into(),
            replace,
            out: BufWriter::with_capacity(1 << 16, made),
            data_size_at: 0,
            data_bytes: 0,
            spec,
        };
        let head = writer.head();
        writer.data_size_at = head.len() as u64 - 4;
        writer.put(&head)?;
        Ok(writer)
    }

    /// Adds whole frames, interleaved. Integers are rounded to the nearest step and limited to full scale.
    ///
    /// # Errors
    /// When a sample is not a finite number, the frames are not whole, or the medium is full.
    pub fn write(&mut self, interleaved: &[f32]) -> Result<(), AudioError> {
        if let Some(x) = interleaved.iter().find(|x| !x.is_finite()) {
            return Err(self.fail(AudioProblem::Unsupported(format!("a sample of {x}"))));
        }
        if !interleaved.len().is_multiple_of(usize::from(self.spec.n_channels)) {
            return Err(self.fail(AudioProblem::Unsupported(format!(
                "{} samples are no whole frames",
                interleaved.len()
            ))));
        }
        let mut bytes = Vec::with_capacity(4 * 4096);
        for stretch in interleaved.chunks(4096) {
            bytes.clear();
            for x in stretch {
                match self.spec.store_as {
                    StoreAs::Int16 => bytes.extend((whole(*x, 32_768.0) as i16).to_le_bytes()),
                    StoreAs::Int24 => bytes.extend(&whole(*x, 8_388_608.0).to_le_bytes()[..3]),
                    StoreAs::Float32 => bytes.extend(x.to_le_bytes()),
                }
            }
            self.data_bytes += bytes.len() as u64;
            self.put(&bytes)?;
        }
        Ok(())
    }

    /// Completes the file and puts it in place.
    ///
    /// # Errors
    /// When the file is longer than WAV can say (4 GiB), the target has come to exist, or the medium fails.
    pub fn finish(self) -> Result<(), AudioError> {
        let (target, replace) = (self.target.clone(), self.replace);
        let fail = |problem| AudioError { file: target.display().to_string(), problem };
        let made = self.complete()?;
        let placed = match replace {
            Replace::Never => made.persist_noclobber(&target),
            Replace::Allowed => made.persist(&target),
        };
        placed.map(|_| ()).map_err(|e| match e.error.kind() {
            std::io::ErrorKind::AlreadyExists => fail(AudioProblem::Exists),
            _ => fail(AudioProblem::System(e.error.to_string())),
        })
    }

    /// Completes the file without putting it in place.
    pub(crate) fn complete(mut self) -> Result<NamedTempFile, AudioError> {
        if self.data_bytes % 2 == 1 {
            self.put(&[0])?;
        }
        let tail = cue_chunks(&self.spec.cue_markers);
        self.put(&tail)?;
        let system = |e: std::io::Error| AudioProblem::System(e.to_string());
        let file = self.target.display().to_string();
        let fail = |problem| AudioError { file: file.clone(), problem };
        let total = self.out.stream_position().map_err(|e| fail(system(e)))?;
        let too_long =
            || fail(AudioProblem::Unsupported(format!("{total} bytes, WAV holds fewer than 4 GiB")));
        let riff_bytes = u32::try_from(total - 8).map_err(|_| too_long())?;
        let data_bytes = u32::try_from(self.data_bytes).map_err(|_| too_long())?;
        for (at, n) in [(4, riff_bytes), (self.data_size_at, data_bytes)] {
            self.out.seek(SeekFrom::Start(at)).map_err(|e| fail(system(e)))?;
            self.out.write_all(&n.to_le_bytes()).map_err(|e| fail(system(e)))?;
        }
        let made = self.out.into_inner().map_err(|e| fail(system(e.into_error())))?;
        made.as_file().sync_all().map_err(|e| fail(system(e)))?;
        Ok(made)
    }

    fn head(&self) -> Vec<u8> {
        let bytes = sample_bytes(self.spec.store_as);
        let (n, rate_hz) = (self.spec.n_channels, self.spec.rate_hz);
        let tag: u16 = if self.spec.store_as == StoreAs::Float32 { 3 } else { 1 };
        let frame_bytes = n * bytes;
        let mut head = b"RIFF\0\0\0\0WAVE".to_vec();
        if let Some(bext) = &self.spec.bext {
            chunk(&mut head, b"bext", &bext_body(bext));
        }
        let mut format = Vec::new();
        format.extend(tag.to_le_bytes());
        format.extend(n.to_le_bytes());
        format.extend(rate_hz.to_le_bytes());
        format.extend(rate_hz.wrapping_mul(u32::from(frame_bytes)).to_le_bytes());
        format.extend(frame_bytes.to_le_bytes());
        format.extend((bytes * 8).to_le_bytes());
        chunk(&mut head, b"fmt ", &format);
        head.extend(b"data\0\0\0\0");
        head
    }

    fn put(&mut self, bytes: &[u8]) -> Result<(), AudioError> {
        let done = self.out.write_all(bytes);
        done.map_err(|e| self.fail(AudioProblem::System(e.to_string())))
    }

    fn fail(&self, problem: AudioProblem) -> AudioError {
        AudioError { file: self.target.display().to_string(), problem }
    }
}

fn sample_bytes(store_as: StoreAs) -> u16 {
    match store_as {
        StoreAs::Int16 => 2,
        StoreAs::Int24 => 3,
        StoreAs::Float32 => 4,
    }
}

fn whole(x: f32, full_scale: f64) -> i32 {
    (f64::from(x) * full_scale).round().clamp(-full_scale, full_scale - 1.0) as i32
}

fn chunk(into: &mut Vec<u8>, id: &[u8; 4], body: &[u8]) {
    into.extend(id);
    into.extend((body.len() as u32).to_le_bytes());
    into.extend(body);
    if body.len() % 2 == 1 {
        into.push(0);
    }
}

fn bext_body(bext: &Bext) -> Vec<u8> {
    let mut body = vec![0u8; 602];
    let fields = [
        (0, 256, &bext.description),
        (256, 32, &bext.originator),
        (320, 10, &bext.date),
        (330, 8, &bext.time),
    ];
    for (at, most, text) in fields {
        let n = text.len().min(most);
        body[at..at + n].copy_from_slice(&text.as_bytes()[..n]);
    }
    body[338..346].copy_from_slice(&bext.time_reference_frames.to_le_bytes());
    body[346..348].copy_from_slice(&bext.version.to_le_bytes());
    body
}

fn cue_chunks(markers: &[CueMarker]) -> Vec<u8> {
    let mut out = Vec::new();
    if markers.is_empty() {
        return out;
    }
    let mut cue = (markers.len() as u32).to_le_bytes().to_vec();
    let mut list = b"adtl".to_vec();
    for marker in markers {
        // A marker beyond 2^32 frames cannot be in a file that this writer can finish.
        let frame = (marker.frame as u32).to_le_bytes();
        cue.extend(marker.id.to_le_bytes());
        cue.extend(frame);
        cue.extend(b"data\0\0\0\0\0\0\0\0");
        cue.extend(frame);
        let mut label = marker.id.to_le_bytes().to_vec();
        label.extend(marker.label.as_bytes());
        label.push(0);
        chunk(&mut list, b"labl", &label);
    }
    chunk(&mut out, b"cue ", &cue);
    chunk(&mut out, b"LIST", &list);
    out
}
