//! The signal of the files in `tests/files`, and files made by hand.

#![allow(dead_code)]

use std::f64::consts::TAU;

use units::Frame;

pub const FRAMES: usize = 6001;

/// The signal of the files: a sweep on the left, a tone on the right, rounded to 16 bits.
pub fn signal() -> Vec<Frame> {
    let secs = FRAMES as f64 / 44_100.0;
    let round = |x: f64| (x * 32_768.0).round() / 32_768.0;
    let frame = |t: f64| {
        let left = 0.4 * libm::sin(TAU * (200.0 * t + 0.5 * 1800.0 / secs * t * t));
        [round(left), round(0.3 * libm::sin(TAU * 660.0 * t))]
    };
    (0..FRAMES).map(|i| frame(i as f64 / 44_100.0)).collect()
}

/// An AIFF file (Apple, Audio Interchange File Format 1.3): big-endian 16-bit samples, the rate as an 80-bit float.
pub fn aiff(frames: &[Frame]) -> Vec<u8> {
    let mut comm = 2_u16.to_be_bytes().to_vec();
    comm.extend((frames.len() as u32).to_be_bytes());
    comm.extend(16_u16.to_be_bytes());
    // 44100 = 0xac44 * 2^0: exponent 16383 + 15, mantissa 0xac44 at the top.
    comm.extend([0x40, 0x0e, 0xac, 0x44, 0, 0, 0, 0, 0, 0]);
    let mut ssnd = vec![0; 8];
    ssnd.extend(frames.as_flattened().iter().flat_map(|x| ((x * 32_768.0) as i16).to_be_bytes()));
    let mut body = b"AIFF".to_vec();
    for (id, content) in [(b"COMM", comm), (b"SSND", ssnd)] {
        body.extend(id);
        body.extend((content.len() as u32).to_be_bytes());
        body.extend(content);
    }
    let mut bytes = b"FORM".to_vec();
    bytes.extend((body.len() as u32).to_be_bytes());
    bytes.extend(body);
    bytes
}

/// A core audio file (Apple, Core Audio Format Specification 1.0): little-endian 32-bit floats.
pub fn caf(frames: &[Frame]) -> Vec<u8> {
    let mut bytes = b"caff\0\x01\0\0desc".to_vec();
    bytes.extend(32_u64.to_be_bytes());
    bytes.extend(44_100_f64.to_be_bytes());
    bytes.extend(b"lpcm");
    // Flags 3: float, little-endian; then bytes and frames of a packet, channels, bits.
    for field in [3_u32, 8, 1, 2, 32] {
        bytes.extend(field.to_be_bytes());
    }
    bytes.extend(b"data");
    bytes.extend((frames.len() as u64 * 8 + 4).to_be_bytes());
    bytes.extend([0; 4]);
    bytes.extend(frames.as_flattened().iter().flat_map(|x| (*x as f32).to_le_bytes()));
    bytes
}

/// The files in `tests/files`, by name.
pub const FILES: [(&str, &[u8]); 6] = [
    ("aac.m4a", include_bytes!("../files/aac.m4a")),
    ("bare.aac", include_bytes!("../files/bare.aac")),
    ("alac.m4a", include_bytes!("../files/alac.m4a")),
    ("alac.caf", include_bytes!("../files/alac.caf")),
    ("vorbis.ogg", include_bytes!("../files/vorbis.ogg")),
    ("bare.mp3", include_bytes!("../files/bare.mp3")),
];
