//! MP3 (ISO/IEC 11172-3, ID3v2.4), AAC (ISO/IEC 13818-7 transport) and MPEG-4 files (ISO/IEC 14496-12).

use super::Outcome::{Either, Refused};
use super::whole::{AAC, ALAC, M4A, made};
use super::{Case, find, over};

pub fn cases() -> Vec<Case> {
    let mut cases = mp3_cases();
    cases.extend(aac_cases());
    cases.extend(mpeg4_cases());
    cases
}

/// A size in four bytes of seven bits.
fn synchsafe(size: u32) -> [u8; 4] {
    [21, 14, 7, 0].map(|shift| (size >> shift & 0x7f) as u8)
}

fn mp3_cases() -> Vec<Case> {
    let case = |name: &str, bytes, outcome| Case::new(format!("mp3: {name}"), "mp3", bytes, outcome);
    let file = made("mp3");
    let tag = |size: u32, held: &[u8]| [b"ID3\x04\0\0".as_slice(), &synchsafe(size), held].concat();
    // The gapless frame: name, flags, frames, bytes, 100 steps, quality, then the encoder's name and its delay.
    let info = find(&file, b"Info");
    let delay = info + 120 + 21;
    let start = file.windows(2).position(|pair| pair[0] == 0xff && pair[1] & 0xe0 == 0xe0).expect("a frame");
    let picture = [b"APIC\x0f\x7f\x7f\x7f\0\0".as_slice(), &vec![0; 300_000]].concat();
    let other_rate = over(&file[start..], 2, &[file[start + 2] ^ 0x04]);
    vec![
        case("a tag only", tag(10, &[0; 10]), Refused("")),
        case("a tag of 256 MB that is not there", [tag(0xfff_ffff, &[]), file.clone()].concat(), Refused("")),
        case("a picture of 32 MB that is not there", [tag(300_010, &picture), file.clone()].concat(), Either),
        case("a thousand tags", [tag(10, &[0; 10]).repeat(1000), file.clone()].concat(), Either),
        case("a tag within a tag", [tag(20, &tag(10, &[0; 10])), file.clone()].concat(), Either),
        case(
            "a megabyte of noise in front",
            {
                let noise = (0..1_000_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8);
                [noise.collect::<Vec<u8>>(), file.clone()].concat()
            },
            Either,
        ),
        case("a megabyte of zeros in front", [vec![0; 1_000_000], file.clone()].concat(), Either),
        case("a megabyte of all ones", vec![0xff; 1_000_000], Refused("")),
        case("4 000 000 000 frames", over(&file, info + 8, &[0xff; 4]), Either),
        case("no frames", over(&file, info + 8, &[0; 4]), Either),
        case("a delay and padding of all ones", over(&file, delay, &[0xff; 3]), Either),
        case("a free bit rate", over(&file[start..], 2, &[file[start + 2] & 0x0f]), Either),
        case("a bit rate that is none", over(&file[start..], 2, &[file[start + 2] | 0xf0]), Either),
        case("layer I", over(&file[start..], 1, &[0xff]), Either),
        case("two files at different rates", [&file[..], &other_rate].concat(), Either),
        case("itself twice", [&file[start..], &file[start..]].concat(), Either),
        case("frames of silence cut in the middle", file[start..file.len() - 100].to_vec(), Either),
        {
            let mut sparse = case("zeros of 300 MB after the audio", file.clone(), Either);
            sparse.zeros_after = 300 << 20;
            sparse
        },
        {
            let mut zeros = case("nothing but 300 MB of zeros", vec![0; 4], Refused(""));
            zeros.zeros_after = 300 << 20;
            zeros
        },
    ]
}

fn aac_cases() -> Vec<Case> {
    let case = |name: &str, bytes, outcome| Case::new(format!("aac: {name}"), "aac", bytes, outcome);
    // A frame's head: 12 bits of sync, then rate in bits 18 to 21, channels in 23 to 25, length in 30 to 42.
    vec![
        case("frames of no length", over(AAC, 3, &[AAC[3] & 0xfc, 0, AAC[5] & 0x1f]), Either),
        case("a frame longer than the file", over(AAC, 3, &[AAC[3] | 0x03, 0xff, AAC[5] | 0xe0]), Either),
        case("a rate that is none", over(AAC, 2, &[AAC[2] | 0x3c]), Either),
        case("channels that are none", over(AAC, 2, &[AAC[2] & 0xfe, AAC[3] & 0x3f]), Either),
        case("a layout that changes", [AAC, &over(AAC, 2, &[AAC[2] ^ 0x04])].concat(), Either),
        case("only heads", AAC[..7].repeat(2000), Either),
    ]
}

fn mpeg4_cases() -> Vec<Case> {
    let case = |name: &str, bytes, outcome| Case::new(format!("mpeg-4: {name}"), "m4a", bytes, outcome);
    let at = |mark: &[u8]| find(M4A, mark);
    let size = |mark: &[u8], with: u32| over(M4A, at(mark) - 4, &with.to_be_bytes());
    let field = |mark: &[u8], offset: usize, with: &[u8]| over(M4A, at(mark) + 4 + offset, with);
    let empty_box = |name: &[u8; 4]| [&8_u32.to_be_bytes(), name.as_slice()].concat();
    let nested = (0..2000_u32).flat_map(|depth| [&(8 * (2000 - depth)).to_be_bytes(), b"moov".as_slice()].concat());
    let ftyp = &M4A[..u32::from_be_bytes([M4A[0], M4A[1], M4A[2], M4A[3]]) as usize];
    let alac = |offset: usize, with: &[u8]| {
        let cookie = ALAC.windows(4).rposition(|name| name == b"alac").expect("a configuration") + 8;
        over(ALAC, cookie + offset, with)
    };
    let mut cases = vec![
        case("nothing but its brand", ftyp.to_vec(), Refused("")),
        case("boxes 2000 deep", [ftyp, &nested.collect::<Vec<u8>>()].concat(), Refused("")),
        case("100 000 empty boxes", [ftyp, &empty_box(b"free").repeat(100_000), &M4A[ftyp.len()..]].concat(), Either),
        case("two million empty boxes", [ftyp, &empty_box(b"free").repeat(2_000_000)].concat(), Refused("")),
        case("a rate of its clock of zero", field(b"mdhd", 12, &[0; 4]), Either),
        case("a length of all ones", field(b"mdhd", 16, &[0xff; 4]), Either),
        case("4 000 000 000 times", field(b"stts", 4, &[0xff; 4]), Either),
        case("a time of all ones", field(b"stts", 8, &[0xff; 8]), Either),
        case("4 000 000 000 sizes", field(b"stsz", 8, &[0xff; 4]), Either),
        case("4 000 000 000 samples of one byte", field(b"stsz", 4, &[0, 0, 0, 1, 0xff, 0xff, 0xff, 0xff]), Either),
        case("a sample of 4 GB", field(b"stsz", 12, &[0xff; 4]), Either),
        case("4 000 000 000 places", field(b"stco", 4, &[0xff; 4]), Either),
        case("a place past the end", field(b"stco", 8, &[0xff; 4]), Either),
        case("4 000 000 000 runs", field(b"stsc", 4, &[0xff; 4]), Either),
        case("a run of no samples", field(b"stsc", 12, &[0; 4]), Either),
        case("4 000 000 000 edits", field(b"elst", 4, &[0xff; 4]), Either),
        case("an edit past the end", field(b"elst", 12, &[0x7f, 0xff, 0xff, 0xff]), Either),
        case("6 channels", field(b"mp4a", 16, &[0, 6]), Either),
        case("a codec that is none", over(M4A, at(b"mp4a"), b"zzzz"), Refused("")),
        case("packets of 4 000 000 000 frames", alac(0, &[0xff; 4]), Refused("packets of")),
        case("packets of no frames", alac(0, &[0; 4]), Either),
        case("64 bits", alac(5, &[64]), Either),
        case("no bits", alac(5, &[0]), Either),
        case("255 channels", alac(9, &[255]), Either),
        case("a rate of all ones", alac(20, &[0xff; 4]), Either),
    ];
    for mark in [b"moov", b"trak", b"stbl", b"stsd", b"mdat", b"esds"] {
        for with in [0, 1, 7, 0x7fff_ffff] {
            let name = format!("{} of {with} bytes", String::from_utf8_lossy(mark));
            cases.push(case(&name, size(mark, with), Either));
        }
    }
    cases
}
