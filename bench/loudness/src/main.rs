//! A peer for `fairprint measure`: loudness, loudness range and true peak of a 24-bit stereo WAV file by the crate
//! `ebur128`, fed a tenth of a second at a time.

use std::{env, error::Error, fs::File, io::BufReader, io::Read};

use ebur128::{EbuR128, Mode};

const CHANNELS: usize = 2;
const SAMPLE_BYTES: usize = 3;

fn main() -> Result<(), Box<dyn Error>> {
    let path = env::args().nth(1).ok_or("usage: loudness FILE.wav")?;
    let mut file = BufReader::new(File::open(path)?);
    let rate_hz = skip_to_samples(&mut file)?;
    let mut meter = EbuR128::new(CHANNELS as u32, rate_hz, Mode::I | Mode::LRA | Mode::TRUE_PEAK)?;
    let mut bytes = vec![0; rate_hz as usize / 10 * CHANNELS * SAMPLE_BYTES];
    let mut samples = Vec::with_capacity(bytes.len() / SAMPLE_BYTES);
    loop {
        let count = fill(&mut file, &mut bytes)?;
        if count == 0 {
            break;
        }
        samples.clear();
        for sample in bytes[..count].chunks_exact(SAMPLE_BYTES) {
            let integer = i32::from_le_bytes([0, sample[0], sample[1], sample[2]]);
            samples.push(f64::from(integer) / f64::from(1_u32 << 31));
        }
        meter.add_frames_f64(&samples)?;
    }
    let peak = (0..CHANNELS as u32).map(|c| meter.true_peak(c)).collect::<Result<Vec<_>, _>>()?;
    let peak_db = 20.0 * peak.into_iter().fold(0.0, f64::max).log10();
    println!("{:.2} LUFS, range {:.2} LU, {peak_db:.2} dBTP", meter.loudness_global()?, meter.loudness_range()?);
    Ok(())
}

/// Reads past the chunks ahead of the samples; gives the sample rate.
fn skip_to_samples(file: &mut impl Read) -> Result<u32, Box<dyn Error>> {
    let mut head = [0; 12];
    file.read_exact(&mut head)?;
    let mut rate_hz = None;
    loop {
        let mut chunk = [0; 8];
        file.read_exact(&mut chunk)?;
        if &chunk[..4] == b"data" {
            return Ok(rate_hz.ok_or("the file has no format")?);
        }
        let length = u32::from_le_bytes([chunk[4], chunk[5], chunk[6], chunk[7]]);
        let mut body = vec![0; length as usize];
        file.read_exact(&mut body)?;
        if &chunk[..4] == b"fmt " {
            rate_hz = Some(u32::from_le_bytes([body[4], body[5], body[6], body[7]]));
        }
    }
}

/// Fills the buffer as far as the file goes.
fn fill(file: &mut impl Read, buffer: &mut [u8]) -> std::io::Result<usize> {
    let mut count = 0;
    while count < buffer.len() {
        match file.read(&mut buffer[count..])? {
            0 => break,
            more => count += more,
        }
    }
    Ok(count)
}
