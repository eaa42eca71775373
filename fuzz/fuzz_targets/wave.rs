//! The parsers of wave files that are our own: bytes become the content of the chunks `ds64`, `bext`, `LIST` and `iXML`, so
//! that the fuzzer need not find their heads first.

#![no_main]

mod place;

use std::path::PathBuf;
use std::sync::LazyLock;

static PATH: LazyLock<PathBuf> = LazyLock::new(|| place::of("wav"));

/// `fmt `: integers of 16 bits, stereo, 48 kHz.
const FMT: [u8; 16] = [1, 0, 2, 0, 0x80, 0xbb, 0, 0, 0, 0xee, 2, 0, 4, 0, 16, 0];

libfuzzer_sys::fuzz_target!(|input: (u8, &[u8])| {
    let (kind, content) = input;
    let id = [b"ds64", b"bext", b"LIST", b"iXML"][usize::from(kind % 4)];
    let head = if kind & 4 == 0 { b"RIFF" } else { b"RF64" };
    let mut bytes = [head.as_slice(), &[0xff; 4], b"WAVE"].concat();
    let prefix: &[u8] = if id == b"LIST" { b"INFO" } else { b"" };
    for (id, content) in [(id, [prefix, content].concat()), (b"fmt ", FMT.to_vec()), (b"data", vec![1; 40])] {
        bytes.extend(id);
        bytes.extend((content.len() as u32).to_le_bytes());
        bytes.extend(&content);
        bytes.extend(std::iter::repeat_n(0, content.len() % 2));
    }
    std::fs::write(&*PATH, bytes).expect("a place to write");
    let reader = media::Reader::open(&PATH).expect("its audio is whole");
    assert_eq!(reader.info().frames, 10);
});
