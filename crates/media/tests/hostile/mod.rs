//! A corpus of hostile audio files, made from nothing: what a reader meets in the wild and what no honest writer makes.
//!
//! Each case says what must come of it. The layouts are those of the published formats; each file here names its own.

pub mod chunked;
pub mod mpeg;
pub mod ogg;
pub mod wav;
pub mod whole;

/// A stereo frame.
pub type Frame = [f64; 2];

/// What must come of a case.
#[derive(Clone, Debug)]
pub enum Outcome {
    /// It is read, with these frames.
    Reads(Vec<Frame>),
    /// It is refused, in words that contain these.
    Refused(&'static str),
    /// It is read or refused: the damage may be one that cannot be seen.
    Either,
}

/// One file.
#[derive(Clone, Debug)]
pub struct Case {
    /// What is wrong with it.
    pub name: String,
    /// How its name ends.
    pub ending: &'static str,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Zeros after these bytes, which take no room on the disk.
    pub zeros_after: u64,
    /// What must come of it.
    pub outcome: Outcome,
}

impl Case {
    pub fn new(name: impl Into<String>, ending: &'static str, bytes: Vec<u8>, outcome: Outcome) -> Self {
        Self { name: name.into(), ending, bytes, zeros_after: 0, outcome }
    }

    /// Writes it into a folder.
    pub fn put(&self, folder: &std::path::Path, number: usize) -> std::path::PathBuf {
        let path = folder.join(format!("{number}.{}", self.ending));
        std::fs::write(&path, &self.bytes).expect("a case is written");
        if self.zeros_after > 0 {
            let file = std::fs::File::options().write(true).open(&path).expect("it opens");
            file.set_len(self.bytes.len() as u64 + self.zeros_after).expect("it grows");
        }
        path
    }
}

/// All cases.
pub fn corpus() -> Vec<Case> {
    let mut cases = wav::cases();
    cases.extend(wav::long_cases());
    cases.extend(wav::metadata_cases());
    cases.extend(chunked::aiff_cases());
    cases.extend(chunked::caf_cases());
    cases.extend(mpeg::cases());
    cases.extend(ogg::cases());
    cases.extend(whole::strangers());
    cases.extend(whole::damaged());
    cases
}

/// Frames that every encoding of 8 bits and more holds exactly: multiples of 1/128.
pub fn ramp(frames: usize) -> Vec<Frame> {
    (0..frames).map(|n| (n % 100) as f64 / 128.0).map(|x| [x, -x]).collect()
}

/// Frames of [`ramp`] in most files.
pub const FRAMES: usize = 300;

/// Integers of so many bytes, little-endian, of all channels given.
pub fn integers(frames: &[Frame], channels: usize, bytes: usize) -> Vec<u8> {
    let scale = (1_u64 << (8 * bytes - 1)) as f64;
    let sample = |frame: &Frame, channel: usize| ((frame[channel % 2] * scale) as i64).to_le_bytes();
    let samples = frames.iter().flat_map(|frame| (0..channels).map(move |channel| sample(frame, channel)));
    samples.flat_map(|all| all.into_iter().take(bytes)).collect()
}

/// The same, big-endian.
pub fn integers_be(frames: &[Frame], channels: usize, bytes: usize) -> Vec<u8> {
    let mut all = integers(frames, channels, bytes);
    all.chunks_exact_mut(bytes).for_each(<[u8]>::reverse);
    all
}

/// Fields of so many bytes each, little-endian.
pub fn le(fields: &[(u64, usize)]) -> Vec<u8> {
    fields.iter().flat_map(|(value, bytes)| value.to_le_bytes().into_iter().take(*bytes)).collect()
}

/// Fields of so many bytes each, big-endian.
pub fn be(fields: &[(u64, usize)]) -> Vec<u8> {
    fields.iter().flat_map(|(value, bytes)| value.to_be_bytes().into_iter().skip(8 - bytes)).collect()
}

/// Puts bytes over others.
pub fn over(bytes: &[u8], at: usize, with: &[u8]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    bytes[at..at + with.len()].copy_from_slice(with);
    bytes
}

/// Where a mark stands.
pub fn find(bytes: &[u8], mark: &[u8]) -> usize {
    bytes.windows(mark.len()).position(|window| window == mark).expect("the mark is there")
}
