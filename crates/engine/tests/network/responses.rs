//! Impulse responses reach the print from files beside the sheet.

use std::fs;
use std::path::Path;

use engine::Folder;
use units::Frame;

use crate::sheet;
use crate::songs::{difference_db, noise, render};

const ROOM: &str = r#"
[[stem]]
name = "a"
file = "a.wav"
to = "mix"
[[bus]]
name = "mix"
chain = [{ convolution = { file = "hall.wav" } }]
"#;

/// Writes a wave file of 64-bit floats (format tag 3) with any number of channels, given frame by frame.
fn write(path: &Path, channels: u16, samples: &[f64]) {
    let mut bytes = Vec::new();
    let data = 8 * samples.len() as u32;
    bytes.extend_from_slice(b"RIFF");
    bytes.extend_from_slice(&(36 + data).to_le_bytes());
    bytes.extend_from_slice(b"WAVEfmt ");
    bytes.extend_from_slice(&16_u32.to_le_bytes());
    for word in [3, channels] {
        bytes.extend_from_slice(&word.to_le_bytes());
    }
    bytes.extend_from_slice(&48_000_u32.to_le_bytes());
    bytes.extend_from_slice(&(48_000 * 8 * u32::from(channels)).to_le_bytes());
    for word in [8 * channels, 64] {
        bytes.extend_from_slice(&word.to_le_bytes());
    }
    bytes.extend_from_slice(b"data");
    bytes.extend_from_slice(&data.to_le_bytes());
    samples.iter().for_each(|x| bytes.extend_from_slice(&x.to_le_bytes()));
    fs::write(path, bytes).unwrap();
}

#[test]
fn a_true_stereo_response_is_heard_from_one_file_of_four_channels() {
    let folder = tempfile::tempdir().unwrap();
    let (signal, left, right) = (noise(3000, 1), noise(700, 2), noise(700, 3));
    write(&folder.path().join("a.wav"), 2, signal.as_flattened());
    // Each frame holds LL, LR, RL, RR: what both microphones heard of the left loudspeaker, then of the right one.
    let four: Vec<f64> = left.iter().zip(&right).flat_map(|(l, r)| [l[0], l[1], r[0], r[1]]).collect();
    write(&folder.path().join("hall.wav"), 4, &four);
    let got = render(&sheet(ROOM), &Folder::new(folder.path(), 48_000));
    // The definition of the convolution, path by path.
    let expected: Vec<Frame> = (0..got.len())
        .map(|n| {
            let mut sum = [0.0; 2];
            for k in (0..left.len()).filter(|k| *k <= n && n - k < signal.len()) {
                let [l, r] = signal[n - k];
                sum = [0, 1].map(|c| sum[c] + left[k][c] * l + right[k][c] * r);
            }
            sum
        })
        .collect();
    assert!(got.len() >= 3699, "{} frames", got.len());
    assert!(difference_db(&got, &expected) < -240.0, "{} dB", difference_db(&got, &expected));
}

#[test]
fn a_response_that_cannot_be_used_says_why_and_where() {
    let folder = tempfile::tempdir().unwrap();
    write(&folder.path().join("a.wav"), 1, &[1.0; 10]);
    let problem = || {
        let text = sheet(ROOM);
        let (sheet, _) = sheet::read(&text, &engine::specs());
        let Err(problems) = engine::compile(&sheet.unwrap(), &Folder::new(folder.path(), 48_000)) else {
            panic!("it is refused")
        };
        assert_eq!(problems.len(), 1, "{problems:#?}");
        problems.into_iter().next().unwrap()
    };
    let missing = problem();
    assert!(missing.message.contains("hall.wav") && missing.place.is_some(), "{missing:#?}");
    write(&folder.path().join("hall.wav"), 3, &[0.5; 30]);
    let three = problem();
    for part in ["hall.wav", "3 channels", "1 (mono), 2 (left, right) or 4 (true stereo: LL, LR, RL, RR)"] {
        assert!(three.message.contains(part), "{}", three.message);
    }
    assert!(three.remedy.contains("1, 2 or 4"), "{}", three.remedy);
    assert_eq!(three.code, "cannot-build");
}
