//! AIFF and AIFC (Apple, Audio Interchange File Format 1.3; AIFF-C draft of 1991) and core audio files (Apple, Core Audio
//! Format Specification 1.0).

use super::Outcome::{Either, Reads, Refused};
use super::{Case, FRAMES, Outcome, be, integers, integers_be, over, ramp};

/// 48 000 Hz as an 80-bit float: exponent 16383 + 15, mantissa 0xbb80 at the top.
const RATE: [u8; 10] = [0x40, 0x0e, 0xbb, 0x80, 0, 0, 0, 0, 0, 0];

fn chunk(id: &[u8], content: &[u8]) -> Vec<u8> {
    let pad = vec![0; content.len() % 2];
    [id, &(content.len() as u32).to_be_bytes(), content, &pad].concat()
}

fn form(kind: &[u8; 4], chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    [b"FORM".as_slice(), &(body.len() as u32 + 4).to_be_bytes(), kind, &body].concat()
}

fn comm(channels: u16, frames: u32, bits: u16, rate: [u8; 10]) -> Vec<u8> {
    let fields = be(&[(channels.into(), 2), (frames.into(), 4), (bits.into(), 2)]);
    chunk(b"COMM", &[fields, rate.to_vec()].concat())
}

fn ssnd(samples: &[u8]) -> Vec<u8> {
    chunk(b"SSND", &[&[0; 8], samples].concat())
}

/// An ordinary AIFF file: 16 bits, stereo.
pub fn aiff() -> Vec<u8> {
    form(b"AIFF", &[comm(2, FRAMES as u32, 16, RATE), ssnd(&integers_be(&ramp(FRAMES), 2, 2))])
}

fn reads() -> Outcome {
    Reads(ramp(FRAMES))
}

pub fn aiff_cases() -> Vec<Case> {
    let case = |name: &str, bytes: Vec<u8>, outcome| Case::new(format!("aiff: {name}"), "aiff", bytes, outcome);
    let count = FRAMES as u32;
    let samples = |bytes: usize| ssnd(&integers_be(&ramp(FRAMES), 2, bytes));
    let of = |comm: Vec<u8>| form(b"AIFF", &[comm, samples(2)]);
    let mut cases = Vec::new();
    for (bits, bytes) in [(8, 1), (16, 2), (24, 3), (32, 4)] {
        cases.push(case(
            &format!("{bits} bits"),
            form(b"AIFF", &[comm(2, count, bits, RATE), samples(bytes)]),
            reads(),
        ));
    }
    // One bit in a byte: the format allows it.
    cases.push(case("1 bit", of(comm(2, count, 1, RATE)), Either));
    for bits in [0, 33, 64, 255, 65_535] {
        cases.push(case(&format!("{bits} bits"), of(comm(2, count, bits, RATE)), Refused("")));
    }
    for channels in [0, 6, 1000, 65_535] {
        cases.push(case(&format!("{channels} channels"), of(comm(channels, count, 16, RATE)), Refused("")));
    }
    let rates: [(&str, [u8; 10]); 6] = [
        ("zero", [0; 10]),
        ("no number", [0x7f, 0xff, 0xc0, 0, 0, 0, 0, 0, 0, 0]),
        ("infinite", [0x7f, 0xff, 0x80, 0, 0, 0, 0, 0, 0, 0]),
        ("negative", [0xc0, 0x0e, 0xbb, 0x80, 0, 0, 0, 0, 0, 0]),
        ("all ones", [0xff; 10]),
        ("of 2 GHz", [0x40, 0x1d, 0xf0, 0, 0, 0, 0, 0, 0, 0]),
    ];
    for (name, rate) in rates {
        cases.push(case(&format!("a rate that is {name}"), of(comm(2, count, 16, rate)), Refused("")));
    }
    cases.extend([
        case("more frames than are there", of(comm(2, u32::MAX, 16, RATE)), reads()),
        case("fewer frames than are there", of(comm(2, 100, 16, RATE)), Either),
        case("no layout", form(b"AIFF", &[samples(2)]), Refused("")),
        case("no audio", form(b"AIFF", &[comm(2, count, 16, RATE)]), Either),
        case("audio ahead of its layout", form(b"AIFF", &[samples(2), comm(2, count, 16, RATE)]), Either),
        case("two layouts", form(b"AIFF", &[comm(2, count, 16, RATE), comm(6, 1, 8, RATE), samples(2)]), Either),
        case("an offset past the end", over(&aiff(), 46, &[0xff; 4]), Either),
        case("a block size of all ones", over(&aiff(), 50, &[0xff; 4]), Either),
        case("a layout of 2 bytes", form(b"AIFF", &[chunk(b"COMM", &[0, 2]), samples(2)]), Refused("")),
        case("a file size of zero", over(&aiff(), 4, &[0; 4]), Either),
        case("a file size of all ones", over(&aiff(), 4, &[0xff; 4]), Either),
        case("5000 empty chunks", form(b"AIFF", &[chunk(b"JUNK", &[]).repeat(5000), aiff()[12..].to_vec()]), reads()),
        case("an odd chunk", form(b"AIFF", &[chunk(b"NAME", b"Fog"), aiff()[12..].to_vec()]), reads()),
    ]);
    for (kind, outcome) in [
        (b"NONE", Some(true)),
        (b"sowt", None),
        (b"twos", None),
        (b"fl32", None),
        (b"ulaw", None),
        (b"alaw", None),
        (b"ima4", Some(false)),
        (b"QDMC", Some(false)),
        (b"\0\0\0\0", Some(false)),
    ] {
        let fields = be(&[(2, 2), (u64::from(count), 4), (16, 2)]);
        let content = [fields, RATE.to_vec(), kind.to_vec(), vec![0, 0]].concat();
        let file = form(b"AIFC", &[chunk(b"FVER", &[0xa2, 0x80, 0x51, 0x40]), chunk(b"COMM", &content), samples(2)]);
        let outcome = match outcome {
            Some(true) => reads(),
            Some(false) => Refused(""),
            None => Either,
        };
        cases.push(case(&format!("compressed as {}", kind.escape_ascii()), file, outcome));
    }
    cases
}

/// `desc`: rate, `lpcm`, flags (1: float, 2: little-endian), bytes and frames of a packet, channels, bits.
fn desc(rate_hz: f64, id: &[u8; 4], [flags, packet_bytes, packet_frames, channels, bits]: [u64; 5]) -> Vec<u8> {
    let fields = be(&[(flags, 4), (packet_bytes, 4), (packet_frames, 4), (channels, 4), (bits, 4)]);
    [b"desc".as_slice(), &32_u64.to_be_bytes(), &rate_hz.to_be_bytes(), id, &fields].concat()
}

fn data(size: i64, samples: &[u8]) -> Vec<u8> {
    [b"data".as_slice(), &size.to_be_bytes(), &[0; 4], samples].concat()
}

fn caff(chunks: &[Vec<u8>]) -> Vec<u8> {
    [b"caff\0\x01\0\0".to_vec(), chunks.concat()].concat()
}

/// An ordinary core audio file: 16 bits, little-endian, stereo.
pub fn caf() -> Vec<u8> {
    caff(&[desc(48_000.0, b"lpcm", [2, 4, 1, 2, 16]), caf_audio()])
}

fn caf_audio() -> Vec<u8> {
    data(4 * FRAMES as i64 + 4, &integers(&ramp(FRAMES), 2, 2))
}

pub fn caf_cases() -> Vec<Case> {
    let case = |name: &str, bytes: Vec<u8>, outcome| Case::new(format!("caf: {name}"), "caf", bytes, outcome);
    let plain = [2, 4, 1, 2, 16];
    let of = |desc: Vec<u8>| caff(&[desc, caf_audio()]);
    let samples = integers(&ramp(FRAMES), 2, 2);
    let mut cases = vec![
        case("16 bits", caf(), reads()),
        case(
            "24 bits, big-endian",
            {
                let samples = integers_be(&ramp(FRAMES), 2, 3);
                caff(&[desc(48_000.0, b"lpcm", [0, 6, 1, 2, 24]), data(6 * FRAMES as i64 + 4, &samples)])
            },
            reads(),
        ),
        case("a size to the end", caff(&[desc(48_000.0, b"lpcm", plain), data(-1, &samples)]), reads()),
        case(
            "a size that is negative",
            caff(&[desc(48_000.0, b"lpcm", plain), data(-2, &samples)]),
            Refused("longer than"),
        ),
        case("a size of 2 bytes", caff(&[desc(48_000.0, b"lpcm", plain), data(2, &samples)]), Either),
        case("a size past the end", caff(&[desc(48_000.0, b"lpcm", plain), data(1 << 60, &samples)]), Refused("")),
        case("no layout", caff(&[caf_audio()]), Refused("")),
        case("no audio", caff(&[desc(48_000.0, b"lpcm", plain)]), Either),
        case("audio ahead of its layout", caff(&[caf_audio(), desc(48_000.0, b"lpcm", plain)]), Either),
        case("version 9", over(&caf(), 5, &[9]), Either),
        case("20 000 empty chunks", caff(&[b"free\0\0\0\0\0\0\0\0".repeat(20_000), caf()[8..].to_vec()]), Either),
        case(
            "a packet table ahead of its layout",
            caff(&[b"pakt\0\0\0\0\0\0\0\x18".to_vec(), vec![0xff; 24]]),
            Refused(""),
        ),
    ];
    for id in [b"kuki", b"free", b"info", b"chan", b"uuid"] {
        for size in [1_u64 << 20, 1 << 32, 1 << 62, u64::MAX] {
            let chunk = [id.as_slice(), &size.to_be_bytes(), &[0; 16]].concat();
            let name = format!("a chunk {} of {size} bytes", id.escape_ascii());
            cases.push(case(
                &name,
                caff(&[desc(48_000.0, b"lpcm", plain), chunk, caf_audio()]),
                Refused("longer than the file"),
            ));
        }
    }
    for rate_hz in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e12, 1e-300, 2.5] {
        cases.push(case(&format!("a rate of {rate_hz:e} Hz"), of(desc(rate_hz, b"lpcm", plain)), Refused("")));
    }
    for (name, fields) in [
        ("no channels", [2, 4, 1, 0, 16]),
        ("6 channels", [2, 12, 1, 6, 16]),
        ("4 000 000 000 channels", [2, 4, 1, 4_000_000_000, 16]),
        ("no bits", [2, 4, 1, 2, 0]),
        ("7 bits", [2, 4, 1, 2, 7]),
        ("4 000 000 000 bits", [2, 4, 1, 2, 4_000_000_000]),
        ("packets of 0 bytes", [2, 0, 1, 2, 16]),
        ("packets of 4 000 000 000 bytes", [2, 4_000_000_000, 1, 2, 16]),
        ("packets of 0 frames", [2, 4, 0, 2, 16]),
        ("packets of 4 000 000 000 frames", [2, 4, 4_000_000_000, 2, 16]),
        ("floats of 16 bits", [3, 4, 1, 2, 16]),
    ] {
        cases.push(case(name, of(desc(48_000.0, b"lpcm", fields)), Either));
    }
    for id in [b"ima4", b"ulaw", b"alac", b"aac ", b"QDM2"] {
        let name = format!("the codec {}", id.escape_ascii());
        cases.push(case(&name, of(desc(48_000.0, id, [0, 0, 4096, 2, 16])), Either));
    }
    cases
}
