//! AIFF, FLAC, ALAC, AAC, MP3 and Ogg Vorbis: decoded once into an unlinked temporary file of floats and then read
//! like a WAVE file, so that memory stays bounded. Decoders may panic on broken files; that is caught here.

use crate::error::AudioProblem;
use crate::wav::{Coding, Layout, Metadata};
use std::fs::File;
use std::io::{BufWriter, Write};
use std::os::unix::fs::FileExt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use symphonia::core::codecs::audio::well_known as codec;
use symphonia::core::codecs::audio::{AudioCodecId, AudioCodecParameters, AudioDecoderOptions};
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, TrackType};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;

/// A decoded file.
pub(crate) struct Decoded {
    /// Interleaved floats, gone when closed.
    pub file: File,
    /// How to read them.
    pub layout: Layout,
    /// Plain name of the stored form.
    pub format: String,
    /// Bits per sample as stored; `None` for lossy codings.
    pub bits: Option<u16>,
    /// Whether the coding threw information away.
    pub lossy: bool,
}

/// Beginnings by which kinds are known: offset, bytes, name. MP3 and bare AAC have none that is long enough.
const BEGINNINGS: [(usize, &[u8], &str); 4] =
    [(0, b"FORM", "AIFF"), (0, b"fLaC", "FLAC"), (0, b"OggS", "Ogg"), (4, b"ftyp", "MP4")];

/// Decodes the whole file. Where the coding carries a checksum or a length, they are held against the result: a
/// damaged packet is otherwise dropped without a word, and everything after it is early.
pub(crate) fn decode(file: File) -> Result<Decoded, AudioProblem> {
    // Nothing that was touched is used after a panic.
    catch_unwind(AssertUnwindSafe(|| decode_trusting(file)))
        .unwrap_or_else(|_| Err(AudioProblem::Undecodable("the decoder gave up".into())))
}

fn decode_trusting(file: File) -> Result<Decoded, AudioProblem> {
    let mut start = [0u8; 8];
    // Shorter files have no beginning that is known.
    let known = file.read_exact_at(&mut start, 0).ok().and_then(|()| {
        BEGINNINGS.iter().find(|(at, bytes, _)| start[*at..].starts_with(bytes)).map(|(_, _, name)| *name)
    });
    let stream = MediaSourceStream::new(Box::new(file), Default::default());
    let (formats, meta) = (FormatOptions::default(), MetadataOptions::default());
    let mut reader = symphonia::default::get_probe().probe(&Hint::new(), stream, formats, meta).map_err(
        |e| match known {
            Some(name) => AudioProblem::Undecodable(format!("it begins as {name}, then: {e}")),
            None => AudioProblem::NotAudio,
        },
    )?;
    let container = reader.format_info().short_name;
    let track = reader.default_track(TrackType::Audio).ok_or(AudioProblem::NotAudio)?;
    // Without the coder's own count of what it put in front, the length of an MP3 is an estimate.
    let exact_length = track.delay.is_some();
    let (track_id, announced) = (track.id, track.num_frames);
    let parameters = track.codec_params.as_ref().and_then(|p| p.audio()).ok_or(AudioProblem::NotAudio)?;
    let (name, lossy) = coding_name(parameters.codec, container)?;
    let bits = bits(parameters).filter(|_| !lossy);
    let mut options = AudioDecoderOptions::default();
    options.verify = true;
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(parameters, &options)
        .map_err(|e| AudioProblem::Unsupported(e.to_string()))?;

    let system = |e: std::io::Error| AudioProblem::System(e.to_string());
    let mut out = BufWriter::with_capacity(1 << 18, tempfile::tempfile().map_err(system)?);
    let mut kind: Option<(u32, usize)> = None;
    let mut frames = 0u64;
    let mut bytes = Vec::new();
    while let Some(packet) = reader.next_packet().map_err(|e| undecodable(frames, &e.to_string()))? {
        if packet.track_id != track_id {
            continue;
        }
        let decoded = decoder.decode(&packet).map_err(|e| undecodable(frames, &e.to_string()))?;
        let found = (decoded.spec().rate(), decoded.num_planes());
        if *kind.get_or_insert(found) != found {
            return Err(undecodable(frames, "rate or channels change on the way"));
        }
        bytes.clear();
        decoded.copy_bytes_to_vec_interleaved_as::<f32>(&mut bytes);
        frames += decoded.frames() as u64;
        out.write_all(&bytes).map_err(system)?;
    }
    if decoder.finalize().verify_ok == Some(false) {
        return Err(AudioProblem::Undecodable("the samples do not match the checksum in the file".into()));
    }
    let differs = |n: &u64| if lossy { exact_length && *n > frames } else { *n != frames };
    if let Some(announced) = announced.filter(differs) {
        return Err(AudioProblem::Undecodable(format!(
            "the header announces {announced} frames, {frames} could be decoded"
        )));
    }
    let (rate_hz, n_channels) =
        kind.filter(|_| frames > 0).ok_or(AudioProblem::Header("0 frames of samples".into()))?;
    let n_channels = u16::try_from(n_channels).map_err(|_| AudioProblem::NotAudio)?;
    if n_channels == 0 {
        return Err(AudioProblem::NoChannels);
    }
    if !(8_000..=384_000).contains(&rate_hz) {
        return Err(AudioProblem::Rate(rate_hz));
    }
    let format = bits.map_or(name.clone(), |b| format!("{name} {b}-bit"));
    let file = out.into_inner().map_err(|e| system(e.into_error()))?;
    let layout = Layout {
        container: "decoded",
        coding: Coding::Float32,
        n_channels,
        rate_hz,
        data_start: 0,
        frames,
        metadata: Metadata::default(),
    };
    Ok(Decoded { file, layout, format, bits, lossy })
}

fn undecodable(frames: u64, words: &str) -> AudioProblem {
    AudioProblem::Undecodable(format!("{words} (after {frames} frames)"))
}

/// Plain name, and whether the coding is lossy.
fn coding_name(id: AudioCodecId, container: &str) -> Result<(String, bool), AudioProblem> {
    Ok(match id {
        codec::CODEC_ID_MP3 => ("MP3".into(), true),
        codec::CODEC_ID_AAC => ("AAC".into(), true),
        codec::CODEC_ID_VORBIS => ("Ogg Vorbis".into(), true),
        codec::CODEC_ID_FLAC => ("FLAC".into(), false),
        codec::CODEC_ID_ALAC => ("ALAC".into(), false),
        // Companded to 8 bits: the steps grow with the level.
        codec::CODEC_ID_PCM_ALAW if container == "aiff" => ("AIFF A-law".into(), true),
        codec::CODEC_ID_PCM_MULAW if container == "aiff" => ("AIFF mu-law".into(), true),
        // What else AIFF holds is linear.
        _ if container == "aiff" => ("AIFF".into(), false),
        codec::CODEC_ID_OPUS => return Err(AudioProblem::Unsupported("Opus".into())),
        _ => return Err(AudioProblem::Unsupported(format!("a coding inside {container}"))),
    })
}

fn bits(parameters: &AudioCodecParameters) -> Option<u16> {
    match parameters.codec {
        codec::CODEC_ID_PCM_F32BE | codec::CODEC_ID_PCM_F32LE => Some(32),
        codec::CODEC_ID_PCM_F64BE | codec::CODEC_ID_PCM_F64LE => Some(64),
        // The sixth byte of ALACSpecificConfig (from memory; agrees with a file of another encoder).
        codec::CODEC_ID_ALAC => parameters.extra_data.as_ref()?.get(5).map(|b| u16::from(*b)),
        _ => parameters.bits_per_sample.and_then(|b| u16::try_from(b).ok()),
    }
}
