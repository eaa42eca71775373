//! Whole files of every format, what may happen to any of them, and files that are no audio.

use media::{FileFormat, IntegerBits, Kbps, Metadata, OggKbps, create};

use super::Outcome::{Either, Refused};
use super::{Case, Frame, chunked, over, ramp, wav};

pub const AAC: &[u8] = include_bytes!("../files/bare.aac");
pub const M4A: &[u8] = include_bytes!("../files/aac.m4a");
pub const ALAC: &[u8] = include_bytes!("../files/alac.m4a");

pub fn vorbis() -> Vec<u8> {
    include_bytes!("../files/vorbis.ogg").to_vec()
}

/// A file that we write ourselves.
pub fn made(ending: &str) -> Vec<u8> {
    let format = match ending {
        "flac" => FileFormat::Flac(IntegerBits::Sixteen),
        "mp3" => FileFormat::Mp3(Kbps::ALL[4]),
        "opus" => FileFormat::Opus(OggKbps::ALL[2]),
        other => unreachable!("{other} is made by hand"),
    };
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(format!("a.{ending}"));
    let metadata = Metadata { title: Some("Lantern Weather".to_owned()), ..Metadata::default() };
    let frames: Vec<Frame> = ramp(9000);
    let mut writer = create(&path, &format, format.rate_for(44_100), None, &metadata).expect("a writer");
    writer.write(&frames).expect("frames");
    writer.finish().expect("an end");
    std::fs::read(&path).expect("it reads")
}

/// Every format that is read.
pub fn files() -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("wav", wav::plain()),
        ("aiff", chunked::aiff()),
        ("caf", chunked::caf()),
        ("flac", made("flac")),
        ("mp3", made("mp3")),
        ("opus", made("opus")),
        ("ogg", vorbis()),
        ("m4a", M4A.to_vec()),
        ("alac.m4a", ALAC.to_vec()),
        ("aac", AAC.to_vec()),
    ]
}

/// What may happen to a file of any format.
pub fn damaged() -> Vec<Case> {
    let mut cases = Vec::new();
    for (ending, bytes) in files() {
        let half = bytes.len() / 2;
        let backwards: Vec<u8> = bytes.iter().rev().copied().collect();
        let noise: Vec<u8> = (0..half).map(|n| (n as u32).wrapping_mul(2_654_435_761).to_be_bytes()[0]).collect();
        let mut push = |name: &str, bytes, outcome| {
            cases.push(Case::new(format!("{ending}: {name}"), ending, bytes, outcome));
        };
        push("only its second half", bytes[half..].to_vec(), Either);
        push("a hole of zeros in its middle", over(&bytes, half, &vec![0; half / 2]), Either);
        push("a hole of zeros in its head", over(&bytes, 16, &[0; 64]), Either);
        push("noise from its middle on", over(&bytes, bytes.len() - half, &noise), Either);
        push(
            "every 97th byte turned over",
            bytes.iter().enumerate().map(|(n, byte)| if n % 97 == 60 { !byte } else { *byte }).collect(),
            Either,
        );
        push("backwards", backwards, Refused(""));
        push("a byte lost", [&bytes[..40], &bytes[41..]].concat(), Either);
        push(
            "lines ended as text",
            {
                let newline = |byte: &u8| if *byte == b'\n' { vec![b'\r', b'\n'] } else { vec![*byte] };
                bytes.iter().flat_map(newline).collect()
            },
            Either,
        );
        push("its first 200 bytes", bytes[..200].to_vec(), Either);
        // A name says nothing: what is inside is read.
        let wrong = if ending == "wav" { "mp3" } else { "wav" };
        cases.push(Case::new(format!("{ending} under the ending {wrong}"), wrong, bytes, Either));
    }
    cases
}

/// What is no audio at all, under the name of audio.
pub fn strangers() -> Vec<Case> {
    let page = b"<!DOCTYPE html><html><body>You must sign in to download this file.</body></html>".to_vec();
    let mut cases = vec![
        Case::new("empty", "wav", Vec::new(), Refused("not known")),
        Case::new("empty, under another name", "flac", Vec::new(), Refused("not known")),
        Case::new("one byte", "wav", vec![0x52], Refused("not known")),
        Case::new("a web page", "wav", page.clone(), Refused("not known")),
        Case::new("a web page, under another name", "mp3", page, Refused("not known")),
        Case::new("a picture", "wav", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".repeat(50), Refused("not known")),
        Case::new("an archive", "wav", b"PK\x03\x04\x14\0\0\0\x08\0".repeat(50), Refused("not known")),
        Case::new("text", "aiff", "Strophe zwei, für Ines\n".repeat(400).into_bytes(), Refused("not known")),
        Case::new("a sheet", "wav", b"fairprint = 1\n[song]\ntitle = \"x\"\n".to_vec(), Refused("not known")),
        Case::new("zeros", "wav", vec![0; 100_000], Refused("not known")),
        Case::new("zeros, under another name", "m4a", vec![0; 100_000], Refused("not known")),
        Case::new("all ones", "flac", vec![0xff; 100_000], Refused("")),
        Case::new("a mark and no more", "caf", b"caff".to_vec(), Refused("")),
        Case::new("a mark and no more", "ogg", b"OggS".to_vec(), Refused("")),
        Case::new("a mark and no more", "aiff", b"FORM\0\0\0\x04AIFF".to_vec(), Refused("")),
        Case::new("a mark and no more", "mp3", b"ID3".to_vec(), Refused("")),
        Case::new("a mark and no more", "m4a", b"\0\0\0\x08ftyp".to_vec(), Refused("")),
    ];
    let mut enormous = Case::new("a terabyte of zeros", "wav", Vec::new(), Refused("not known"));
    enormous.zeros_after = 1 << 40;
    cases.push(enormous);
    cases
}
