//! An audio file of any format: read to its end with a seek on the way, or refused in words, and never the machine's fault.

#![no_main]

mod place;

use std::path::PathBuf;
use std::sync::LazyLock;

/// Blocks that are read: a codec may hold much silence in few bytes.
const MOST_BLOCKS: usize = 50;

static PATH: LazyLock<PathBuf> = LazyLock::new(|| place::of("audio"));

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    std::fs::write(&*PATH, bytes).expect("a place to write");
    if let Err(error) = read() {
        assert!(!error.is_machine_fault(), "{error}");
        assert!(!error.remedy().is_empty());
    }
});

fn read() -> Result<(), media::MediaError> {
    let mut reader = media::Reader::open(&PATH)?;
    let frames = reader.info().frames;
    let mut block = vec![[0.0; 2]; 4096];
    let mut read = 0;
    for _ in 0..MOST_BLOCKS {
        match reader.read(&mut block)? {
            0 => {
                assert_eq!(read, frames);
                break;
            }
            count => read += count as u64,
        }
    }
    for at in [frames / 2, 0, frames] {
        reader.seek(at)?;
        reader.read(&mut block)?;
    }
    Ok(())
}
