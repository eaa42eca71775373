//! Wave files: the RIFF rules and `WAVEFORMATEX` (Microsoft), EBU Tech 3285 (bext), EBU Tech 3306 (RF64), iXML 2.10.

use super::Outcome::{Either, Reads, Refused};
use super::{Case, FRAMES, Outcome, integers, le, over, ramp};

/// Format tags: integers and floats (`WAVE_FORMAT_PCM`, `WAVE_FORMAT_IEEE_FLOAT`).
const PCM: u16 = 1;
const FLOAT: u16 = 3;

pub fn chunk(id: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let mut bytes = id.to_vec();
    bytes.extend((content.len() as u32).to_le_bytes());
    bytes.extend_from_slice(content);
    bytes.extend(std::iter::repeat_n(0, content.len() % 2));
    bytes
}

pub fn fmt(tag: u16, channels: u16, rate_hz: u32, bits: u16) -> Vec<u8> {
    let frame = u64::from(channels) * u64::from(bits.div_ceil(8));
    let byte_rate = u64::from(rate_hz).wrapping_mul(frame);
    le(&[(tag.into(), 2), (channels.into(), 2), (rate_hz.into(), 4), (byte_rate, 4), (frame, 2), (bits.into(), 2)])
}

pub fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    [b"RIFF".as_slice(), &(body.len() as u32 + 4).to_le_bytes(), b"WAVE", &body].concat()
}

/// An ordinary file: 16 bits, stereo.
pub fn plain() -> Vec<u8> {
    riff(&[chunk(b"fmt ", &fmt(PCM, 2, 48_000, 16)), audio()])
}

fn audio() -> Vec<u8> {
    chunk(b"data", &integers(&ramp(FRAMES), 2, 2))
}

fn reads() -> Outcome {
    Reads(ramp(FRAMES))
}

fn case(name: impl Into<String>, bytes: Vec<u8>, outcome: Outcome) -> Case {
    Case::new(format!("wav: {}", name.into()), "wav", bytes, outcome)
}

fn floats(values: &[f64], bytes: usize) -> Vec<u8> {
    let samples: Vec<u8> = match bytes {
        4 => values.iter().flat_map(|x| (*x as f32).to_le_bytes()).collect(),
        _ => values.iter().flat_map(|x| x.to_le_bytes()).collect(),
    };
    riff(&[chunk(b"fmt ", &fmt(FLOAT, 2, 48_000, 8 * bytes as u16)), chunk(b"data", &samples)])
}

/// Layouts, sizes and samples.
pub fn cases() -> Vec<Case> {
    let mut cases = layouts();
    cases.extend(chunk_orders());
    cases.extend(sizes());
    cases.extend(numbers());
    cases
}

fn layouts() -> Vec<Case> {
    let of = |fmt: Vec<u8>, data: &[u8]| riff(&[chunk(b"fmt ", &fmt), chunk(b"data", data)]);
    let mut cases = Vec::new();
    for (bits, bytes) in [(12, 2), (16, 2), (20, 3), (24, 3), (32, 4)] {
        let file = of(fmt(PCM, 2, 48_000, bits), &integers(&ramp(FRAMES), 2, bytes));
        cases.push(case(format!("{bits} bits"), file, reads()));
    }
    let unsigned: Vec<u8> = integers(&ramp(FRAMES), 2, 1).iter().map(|byte| byte ^ 0x80).collect();
    cases.push(case("8 bits", of(fmt(PCM, 2, 48_000, 8), &unsigned), reads()));
    cases.push(case("mono", of(fmt(PCM, 1, 48_000, 16), &integers(&ramp(FRAMES), 1, 2)), {
        Reads(ramp(FRAMES).iter().map(|frame| [frame[0]; 2]).collect())
    }));
    cases.push(case("one frame", of(fmt(PCM, 2, 48_000, 16), &integers(&ramp(1), 2, 2)), Reads(ramp(1))));
    cases.push(case("no frames", of(fmt(PCM, 2, 48_000, 16), &[]), Reads(Vec::new())));
    for bits in [0, 40, 48, 64, 65_535] {
        let words = if bits == 65_535 { "" } else { "integers of" };
        cases.push(case(format!("integers of {bits} bits"), of(fmt(PCM, 2, 48_000, bits), &[0; 960]), Refused(words)));
    }
    for bits in [0, 16, 24, 80] {
        let file = of(fmt(FLOAT, 2, 48_000, bits), &[0; 960]);
        cases.push(case(format!("floats of {bits} bits"), file, Refused("floats of")));
    }
    for channels in [3, 6, 24, 1000, 65_535] {
        let file = of(fmt(PCM, channels, 48_000, 16), &[0; 960]);
        cases.push(case(format!("{channels} channels"), file, Refused("only mono and stereo can be read")));
    }
    cases.push(case("no channels", of(fmt(PCM, 0, 48_000, 16), &[0; 960]), Refused("no channels")));
    for rate_hz in [0, 1, 7, 999, 2_000_000, 0x7fff_ffff, u32::MAX] {
        let file = of(fmt(PCM, 2, rate_hz, 16), &[0; 960]);
        cases.push(case(format!("a rate of {rate_hz} Hz"), file, Refused("a rate of")));
    }
    for rate_hz in [1000, 8000, 11_025, 192_000, 768_000] {
        let file = of(fmt(PCM, 2, rate_hz, 16), &integers(&ramp(FRAMES), 2, 2));
        cases.push(case(format!("a rate of {rate_hz} Hz"), file, reads()));
    }
    for (tag, words) in [(0, "codec with tag"), (2, "ADPCM"), (0x11, "ADPCM"), (6, "A-law"), (7, "mu-law")] {
        cases.push(case(format!("format tag {tag:#x}"), of(fmt(tag, 2, 48_000, 8), &[0; 960]), Refused(words)));
    }
    for (tag, words) in [(0x31, "codec with tag"), (0x55, "MP3"), (0xfffe, "codec with tag"), (0xffff, "codec with")] {
        cases.push(case(format!("format tag {tag:#x}"), of(fmt(tag, 2, 48_000, 16), &[0; 960]), Refused(words)));
    }
    for frame_bytes in [0, 1, 3, 8, 65_535_u64] {
        let faulty = over(&fmt(PCM, 2, 48_000, 16), 12, &le(&[(frame_bytes, 2)]));
        cases.push(case(format!("{frame_bytes} bytes a frame"), of(faulty, &[0; 960]), Refused("bytes a frame")));
    }
    let long = |bytes: usize| [fmt(PCM, 2, 48_000, 16), vec![0; bytes]].concat();
    let data = integers(&ramp(FRAMES), 2, 2);
    cases.push(case("a layout with 4080 bytes too many", of(long(4080), &data), reads()));
    for bytes in [0, 1, 15] {
        let short = fmt(PCM, 2, 48_000, 16)[..bytes].to_vec();
        cases.push(case(format!("a layout of {bytes} bytes"), of(short, &data), Refused("`fmt ` chunk of")));
    }
    cases
}

fn chunk_orders() -> Vec<Case> {
    let layout = || chunk(b"fmt ", &fmt(PCM, 2, 48_000, 16));
    let junk = |count: usize| (0..count).flat_map(|_| chunk(b"JUNK", &[])).collect::<Vec<u8>>();
    let unpadded = [b"odd \x03\0\0\0abc".to_vec(), audio()].concat();
    vec![
        case("audio ahead of its layout", riff(&[audio(), layout()]), reads()),
        case("two layouts", riff(&[layout(), chunk(b"fmt ", &fmt(PCM, 6, 1, 8)), audio()]), reads()),
        case("two stretches of audio", riff(&[layout(), audio(), audio()]), reads()),
        case("no layout", riff(&[audio()]), Refused("no `fmt ` chunk")),
        case("no audio", riff(&[layout()]), Refused("no `data` chunk")),
        case("nothing in it", riff(&[]), Refused("no `fmt ` chunk")),
        case("9000 empty chunks", riff(&[layout(), junk(9000), audio()]), reads()),
        case("20 000 empty chunks", riff(&[layout(), junk(20_000), audio()]), Refused("no `data` chunk")),
        case("an odd chunk without its pad byte", riff(&[layout(), unpadded]), Either),
        case("a chunk without a name", riff(&[layout(), chunk(&[0; 4], &[1; 5]), audio()]), reads()),
        case("text after the last chunk", [plain(), b"</html>".to_vec()].concat(), reads()),
        case("big-endian", over(&plain(), 0, b"RIFX"), Refused("not known")),
        case("the letters in small", over(&plain(), 8, b"wave"), Refused("not known")),
    ]
}

fn sizes() -> Vec<Case> {
    let mut cases = Vec::new();
    for size in [0, 4, 37, 0x7fff_ffff, u32::MAX] {
        let file = over(&plain(), 4, &size.to_le_bytes());
        cases.push(case(format!("a file size of {size}"), file, reads()));
    }
    let data = |size: u32| over(&plain(), 40, &size.to_le_bytes());
    for size in [1201, 1204, 4_000_000_000] {
        cases.push(case(format!("an audio size of {size}, 1200 there"), data(size), Refused("cut short")));
    }
    cases.push(case("an audio size of zero", data(0), Refused("never finished")));
    cases.push(case("an audio size of all ones", data(u32::MAX), reads()));
    cases.push(case("an audio size in mid-frame", data(1197), Reads(ramp(299))));
    cases.push(case("a layout that swallows the audio", over(&plain(), 16, &[0xf0, 0xff, 0xff, 0xff]), {
        Refused("no `data` chunk")
    }));
    for bytes in [1, 4, 8, 11, 12, 15, 20, 27, 36, 40, 43, 44, 45, 46, 900, 1243] {
        let outcome = if bytes < 12 { Refused("not known") } else { Refused("") };
        cases.push(case(format!("only its first {bytes} bytes"), plain()[..bytes].to_vec(), outcome));
    }
    let mut sparse = case("zeros of 3 GB after the audio", plain(), reads());
    sparse.zeros_after = 3 << 30;
    let junk = [b"JUNK".to_vec(), le(&[(2 << 30, 4)])].concat();
    let mut hidden = riff(&[chunk(b"fmt ", &fmt(PCM, 2, 48_000, 16)), junk]);
    hidden.truncate(hidden.len() - hidden.len() % 2);
    let mut late = case("a chunk of 2 GB where the audio should be", hidden, Refused("no `data` chunk"));
    late.zeros_after = 2 << 30;
    cases.extend([sparse, late]);
    cases
}

/// Samples that are no sound.
fn numbers() -> Vec<Case> {
    let extremes = [
        ("not numbers", f64::NAN),
        ("infinite", f64::INFINITY),
        ("denormal", 1e-310),
        ("enormous", 1e300),
        ("the largest there is", f64::MAX),
    ];
    let mut cases = Vec::new();
    for (name, value) in extremes {
        let mut values = vec![0.25; 2000];
        values[900] = value;
        values[901] = -value;
        for bytes in [4, 8] {
            let read = values.as_chunks::<2>().0.iter().map(|frame| match bytes {
                4 => frame.map(|x| f64::from(x as f32)),
                _ => *frame,
            });
            let outcome = if value.is_nan() { Either } else { Reads(read.collect()) };
            cases.push(case(format!("{name}, {} bits", 8 * bytes), floats(&values, bytes), outcome));
        }
    }
    cases.push(case("all denormal", floats(&vec![5e-324; 96_000], 8), Reads(vec![[5e-324; 2]; 48_000])));
    cases
}

/// Files past 4 GiB, and those that claim to be.
pub fn long_cases() -> Vec<Case> {
    let sizes = |data: u64, table: u64| le(&[(0, 8), (data, 8), (300, 8), (table, 4)]);
    let layout = || chunk(b"fmt ", &fmt(PCM, 2, 48_000, 16));
    let long = |id: &[u8; 4], chunks: &[Vec<u8>]| {
        let mut file = over(&over(&riff(chunks), 0, id), 4, &[0xff; 4]);
        let data = super::find(&file, b"data") + 4;
        file[data..data + 4].fill(0xff);
        file
    };
    let ds64 = |data: u64, table: u64| chunk(b"ds64", &sizes(data, table));
    let rf64 = |data: u64| long(b"RF64", &[ds64(data, 0), layout(), audio()]);
    let mut with_short_size = rf64(9);
    let at = super::find(&with_short_size, b"data") + 4;
    with_short_size[at..at + 4].copy_from_slice(&1200_u32.to_le_bytes());
    vec![
        case("RF64", rf64(1200), reads()),
        case("BW64", long(b"BW64", &[ds64(1200, 0), layout(), audio()]), reads()),
        case("RF64 with more audio than is there", rf64(1 << 40), Refused("cut short")),
        case("RF64 with less audio than is there", rf64(400), Reads(ramp(100))),
        case("RF64 with all ones for a size", rf64(u64::MAX), Refused("cut short")),
        case("RF64 with no audio", rf64(0), Either),
        case("RF64 without its sizes", long(b"RF64", &[layout(), audio()]), reads()),
        case("RF64 with its sizes last", long(b"RF64", &[layout(), audio(), ds64(1200, 0)]), Either),
        case("RF64 with a wrong size table", long(b"RF64", &[ds64(1200, 0xffff_ffff), layout(), audio()]), reads()),
        case("RF64 with sizes of 4 bytes", long(b"RF64", &[chunk(b"ds64", &[1; 4]), layout(), audio()]), Either),
        case("RF64 with its size in the short place", with_short_size, reads()),
        case("RIFF with 64-bit sizes", over(&rf64(9), 0, b"RIFF"), reads()),
    ]
}

/// Metadata that lies or never ends.
pub fn metadata_cases() -> Vec<Case> {
    let with = |chunks: &[Vec<u8>]| riff(&[&[chunk(b"fmt ", &fmt(PCM, 2, 48_000, 16)), audio()], chunks].concat());
    let xml = |text: &[u8]| with(&[chunk(b"iXML", text)]);
    let deep = [b"<a>".repeat(300_000), b"x</a>".repeat(300_000)].concat();
    let tracks = [b"<BWFXML><TRACK_LIST>".to_vec(), b"<TRACK><NAME>n</NAME></TRACK>".repeat(140_000)].concat();
    let entities =
        b"<!DOCTYPE x [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]><BWFXML><NOTE>&b;&#0;&#x110000;</NOTE></BWFXML>";
    let tags = [b"INFO".to_vec(), b"INAM\x02\0\0\0ab".repeat(400_000)].concat();
    let lying = b"INFOINAM\xff\xff\xff\xffabc";
    let mut cases = vec![
        case("iXML 300 000 levels deep", xml(&deep), reads()),
        case("iXML with 140 000 tracks", xml(&tracks), reads()),
        case("iXML with entities", xml(entities), reads()),
        case("iXML that is not text", xml(&[0xff, 0xfe, b'<', 0xc0, b'>', b'<']), reads()),
        case("iXML that ends in a tag", xml(b"<BWFXML><PROJECT>Lan"), reads()),
        case("iXML of closing tags only", xml(&b"</a>".repeat(1000)), reads()),
        case("a list of 400 000 tags", with(&[chunk(b"LIST", &tags)]), reads()),
        case("a thousand lists", with(&vec![chunk(b"LIST", &tags[..4004]); 1000]), reads()),
        case("a list whose entry is longer than it", with(&[chunk(b"LIST", lying)]), reads()),
        case("an empty list", with(&[chunk(b"LIST", &[])]), reads()),
        case("a broadcast extension of one byte", with(&[chunk(b"bext", &[7])]), reads()),
        case("a broadcast extension of all ones", with(&[chunk(b"bext", &[0xff; 700])]), reads()),
        case("a thousand broadcast extensions", with(&vec![chunk(b"bext", &[b'x'; 4000]); 1000]), reads()),
    ];
    for id in [b"LIST", b"iXML", b"bext"] {
        let open = [id.as_slice(), &(1_u32 << 30).to_le_bytes(), b"INFO"].concat();
        let name = format!("{} of 1 GB", String::from_utf8_lossy(id));
        let mut file = with(&[]);
        file.extend(open);
        let mut sparse = case(name, file, reads());
        sparse.zeros_after = 1 << 30;
        cases.push(sparse);
    }
    cases
}
