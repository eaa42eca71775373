//! Tracks: the song's length of sound, and how it is placed and levelled.

use units::{Frame, SILENCE, frames_from_secs, gain_from_db};

use crate::score::{BARS, beat_of_bar, secs_from_beats};

/// Frames of the whole song.
pub(crate) fn song_frames(rate_hz: f64) -> usize {
    frames_from_secs(secs_from_beats(beat_of_bar(BARS + 1)), rate_hz).unsigned_abs() as usize
}

/// The song's length of silence, one channel.
pub(crate) fn silence(rate_hz: f64) -> Vec<f64> {
    vec![0.0; song_frames(rate_hz)]
}

/// The song's length of silence, two channels.
pub(crate) fn silence_stereo(rate_hz: f64) -> Vec<Frame> {
    vec![SILENCE; song_frames(rate_hz)]
}

/// The frame nearest to a time.
pub(crate) fn frame_of(secs: f64, rate_hz: f64) -> usize {
    frames_from_secs(secs.max(0.0), rate_hz).unsigned_abs() as usize
}

/// Half a step of 24 bits: what a recorder of that depth does not keep.
const NOTHING: f64 = 1.0 / (1 << 24) as f64;

/// Brings the highest peak to a level: how the recording was levelled. What rings out ends in true silence.
pub(crate) fn levelled(mut frames: Vec<Frame>, peak_dbfs: f64) -> Vec<Frame> {
    let peak = frames.iter().flatten().fold(0.0_f64, |peak, x| peak.max(x.abs()));
    if peak > 0.0 {
        let gain = gain_from_db(peak_dbfs) / peak;
        for frame in &mut frames {
            *frame = frame.map(|x| x * gain);
            if frame.iter().all(|x| x.abs() < NOTHING) {
                *frame = SILENCE;
            }
        }
    }
    frames
}

/// One channel in the middle of two.
pub(crate) fn centred(track: &[f64]) -> Vec<Frame> {
    track.iter().map(|x| [*x, *x]).collect()
}

/// Adds one channel into two at a place from -1 (left) to 1 (right), with constant power.
pub(crate) fn pan_into(frames: &mut [Frame], track: &[f64], place: f64) {
    let (right, left) = libm::sincos((place + 1.0) * std::f64::consts::FRAC_PI_4);
    for (frame, x) in frames.iter_mut().zip(track) {
        frame[0] += left * x;
        frame[1] += right * x;
    }
}
