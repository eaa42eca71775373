//! Ogg pages (RFC 3533) of Vorbis (Vorbis I specification) and Opus (RFC 7845), and FLAC (RFC 9639).

use super::Outcome::{Either, Refused};
use super::whole::{made, vorbis};
use super::{Case, Outcome, find, le, over};

/// Bytes of a page's head up to its segment table, and where its checksum stands: RFC 3533, section 6.
const HEAD_BYTES: usize = 27;
const CHECKSUM_AT: usize = 22;
const GRANULE_AT: usize = 6;

/// Where each page starts.
fn pages(bytes: &[u8]) -> Vec<usize> {
    let (mut starts, mut at) = (Vec::new(), 0);
    while bytes.get(at..at + 4) == Some(b"OggS") && at + HEAD_BYTES <= bytes.len() {
        starts.push(at);
        let segments = usize::from(bytes[at + 26]);
        let Some(table) = bytes.get(at + HEAD_BYTES..at + HEAD_BYTES + segments) else { break };
        at += HEAD_BYTES + segments + table.iter().map(|length| usize::from(*length)).sum::<usize>();
    }
    starts
}

/// Checksum of a page: polynomial 0x04c11db7, no reflection, starting from zero.
fn checksum(page: &[u8]) -> u32 {
    page.iter().fold(0_u32, |sum, byte| {
        (0..8).fold(
            sum ^ u32::from(*byte) << 24,
            |sum, _| {
                if sum >> 31 == 1 { sum << 1 ^ 0x04c1_1db7 } else { sum << 1 }
            },
        )
    })
}

/// Makes all checksums right again.
fn sealed(mut bytes: Vec<u8>) -> Vec<u8> {
    let mut ends = pages(&bytes);
    ends.push(bytes.len());
    for pair in ends.windows(2) {
        let page = &mut bytes[pair[0]..pair[1]];
        page[CHECKSUM_AT..CHECKSUM_AT + 4].fill(0);
        let sum = checksum(page);
        page[CHECKSUM_AT..CHECKSUM_AT + 4].copy_from_slice(&sum.to_le_bytes());
    }
    bytes
}

pub fn cases() -> Vec<Case> {
    let mut cases = vorbis_cases();
    cases.extend(opus_cases());
    cases.extend(flac_cases());
    cases
}

/// Damage to pages, of either codec.
fn page_cases(codec: &str, file: &[u8]) -> Vec<Case> {
    let case = |name: &str, bytes, outcome| Case::new(format!("{codec}: {name}"), "ogg", bytes, outcome);
    let starts = pages(file);
    let last = *starts.last().expect("pages");
    let granule = |value: u64| sealed(over(file, last + GRANULE_AT, &value.to_le_bytes()));
    vec![
        case("its checksums are those of its pages", sealed(file.to_vec()), Outcome::Either),
        case("a flipped bit in its last page", over(file, last + 40, &[!file[last + 40]]), Either),
        case("a last place of minus one", granule(u64::MAX), Either),
        case("a last place of 2^62", granule(1 << 62), Either),
        case("a last place of 2^63", granule(1 << 63), Either),
        case("a last place of 1", granule(1), Either),
        case("no last page", file[..last].to_vec(), Either),
        case("only its first page", file[..starts[1]].to_vec(), Either),
        case("its last page twice", [file, &file[last..]].concat(), Either),
        case("itself twice", [file, file].concat(), Either),
        case("its first page alone, 5000 times", file[..starts[1]].repeat(5000), Either),
        case(
            "a page of another stream in between",
            {
                let stranger = sealed(over(&file[..starts[1]], 14, &[9; 4]));
                [&file[..starts[1]], &stranger, &file[starts[1]..]].concat()
            },
            Either,
        ),
        case("pages numbered backwards", sealed(over(file, last + 18, &[0; 4])), Either),
        case("a version of 7", sealed(over(file, 4, &[7])), Either),
    ]
}

fn vorbis_cases() -> Vec<Case> {
    let file = vorbis();
    // Identification header: name, version, channels, rate, three bit rates, block sizes, framing.
    let head = find(&file, b"\x01vorbis") + 7;
    let case = |name: &str, at: usize, with: &[u8], outcome| {
        Case::new(format!("vorbis: {name}"), "ogg", sealed(over(&file, head + at, with)), outcome)
    };
    let comment = find(&file, b"\x03vorbis") + 7 - head;
    let mut cases = vec![
        case("version 1", 0, &[1], Refused("")),
        case("no channels", 4, &[0], Refused("")),
        case("6 channels", 4, &[6], Refused("")),
        case("255 channels", 4, &[255], Refused("")),
        case("a rate of zero", 5, &[0; 4], Refused("")),
        case("a rate of all ones", 5, &[0xff; 4], Refused("")),
        case("a rate of 1 Hz", 5, &[1, 0, 0, 0], Refused("")),
        case("blocks of 2^0 and 2^15", 21, &[0xf0], Refused("")),
        case("blocks the wrong way round", 21, &[0x6b], Either),
        case("a vendor of 4 GB", comment, &[0xff; 4], Either),
    ];
    let count = find(&file[head + comment..], b"\x05vorbis");
    let setup = head + comment + count + 7;
    cases.push(Case::new(
        "vorbis: code books of all ones",
        "ogg",
        sealed(over(&file, setup, &[0xff; 40])),
        Refused(""),
    ));
    cases.push(Case::new("vorbis: code books of zeros", "ogg", sealed(over(&file, setup, &[0; 40])), Refused("")));
    cases.extend(page_cases("vorbis", &file));
    cases
}

fn opus_cases() -> Vec<Case> {
    let file = made("opus");
    // Identification header: name, version, channels, pre-skip, rate, gain, mapping.
    let head = find(&file, b"OpusHead") + 8;
    let tags = find(&file, b"OpusTags") + 8;
    let case = |name: &str, at: usize, with: &[u8], outcome| {
        Case::new(format!("opus: {name}"), "opus", sealed(over(&file, at, with)), outcome)
    };
    let mut cases = vec![
        case("version 16", head, &[16], Either),
        case("no channels", head + 1, &[0], Refused("")),
        case("6 channels", head + 1, &[6], Refused("")),
        case("255 channels", head + 1, &[255], Refused("")),
        case("a delay of all ones", head + 2, &[0xff; 2], Either),
        case("a rate of zero", head + 4, &[0; 4], Either),
        case("a gain of 128 dB", head + 8, &[0xff, 0x7f], Either),
        case("mapping family 1", head + 10, &[1], Either),
        case("mapping family 255", head + 10, &[255], Either),
        case("a vendor of 4 GB", tags, &[0xff; 4], Either),
        case("4 000 000 000 comments", tags + 4 + vendor_bytes(&file, tags), &[0xff; 4], Either),
    ];
    cases.extend(page_cases("opus", &file));
    cases
}

fn vendor_bytes(file: &[u8], at: usize) -> usize {
    u32::from_le_bytes(file[at..at + 4].try_into().expect("four bytes")) as usize
}

fn flac_cases() -> Vec<Case> {
    let file = made("flac");
    // Stream information: block sizes, frame sizes, then 20 bits of rate, 3 of channels, 5 of bits, 36 of frames, MD5.
    let case = |name: &str, bytes, outcome| Case::new(format!("flac: {name}"), "flac", bytes, outcome);
    let info = 8;
    let packed = u64::from_be_bytes(file[info + 10..info + 18].try_into().expect("eight bytes"));
    let with = |rate: u64, channels: u64, bits: u64, frames: u64| {
        over(&file, info + 10, &(rate << 44 | (channels - 1) << 41 | (bits - 1) << 36 | frames).to_be_bytes())
    };
    let frames = packed & 0xf_ffff_ffff;
    let picture = |declared: u64, held: usize| {
        let block = [b"\x06".to_vec(), le(&[(declared, 3)]).into_iter().rev().collect(), vec![0; held]].concat();
        [&file[..42], &block, &file[42..]].concat()
    };
    vec![
        case("a rate of zero", with(0, 2, 16, frames), Refused("")),
        case("a rate of 655 350 Hz", with(655_350, 2, 16, frames), Either),
        case("6 channels", with(44_100, 6, 16, frames), Refused("")),
        case("8 channels", with(44_100, 8, 16, frames), Refused("")),
        case("mono, its audio stereo", with(44_100, 1, 16, frames), Either),
        case("4 bits", with(44_100, 2, 4, frames), Either),
        case("32 bits", with(44_100, 2, 32, frames), Either),
        case("a length of zero", with(44_100, 2, 16, 0), Either),
        case("a length of 2^36 - 1", with(44_100, 2, 16, (1 << 36) - 1), Either),
        case("a length of 10", with(44_100, 2, 16, 10), Either),
        case("block sizes of zero", over(&file, info, &[0; 4]), Either),
        case("block sizes the wrong way round", over(&file, info, &[0xff, 0xff, 0, 16]), Either),
        case("frame sizes of all ones", over(&file, info + 4, &[0xff; 6]), Either),
        case("another checksum", over(&file, info + 18, &[1; 16]), Either),
        case("stream information of 3 bytes", over(&file, 4, &[0, 0, 0, 3]), Refused("")),
        case("a last block that is not the last", over(&file, 4, &[0]), Either),
        case("a picture of 16 MB that is not there", picture(0xff_ffff, 100), Refused("")),
        case("a picture of 16 MB of zeros", picture(0xff_ffff, 0xff_ffff), Either),
        case(
            "a tag of another format in front",
            [b"ID3\x04\0\0\0\0\0\x0a".to_vec(), vec![0; 10], file.clone()].concat(),
            Either,
        ),
        case(
            "flipped bits in its frames",
            {
                let at = file.len() - 200;
                over(&file, at, &file[at..at + 60].iter().map(|byte| !byte).collect::<Vec<_>>())
            },
            Refused(""),
        ),
        case("only the mark", file[..4].to_vec(), Refused("")),
    ]
}
