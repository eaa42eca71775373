//! Prints.

use super::Reader;
use super::chain::read_chain;
use super::fields::Fields;
use super::forms::whole_list;
use super::report::Fault;
use crate::keys;
use crate::model::{CodecChoice, Dither, FileFormat, FileSpec, Loudness, Name, Print};
use crate::tree::Written;

/// Rates of the sheet's that MPEG-1 Layer III has (ISO/IEC 11172-3), and that the encoder of Vorbis has modes for.
const CODED_RATES_HZ: [u32; 2] = [44_100, 48_000];
/// The one rate that a decoder of Opus puts out at its full width (RFC 6716, section 2).
const OPUS_RATES_HZ: [u32; 1] = [48_000];

pub(super) fn read_prints(reader: &Reader<'_>, sheet: &Fields<'_>) -> Vec<Print> {
    sheet.entries("print", &keys::PRINT).iter().map(|fields| read_print(reader, fields)).collect()
}

fn read_print(reader: &Reader<'_>, fields: &Fields<'_>) -> Print {
    Print {
        name: fields.text(&keys::NAME).unwrap_or_else(|| Name::new("", fields.place())),
        kind: fields.string(&keys::PRINT_KIND),
        from: reader.names.resolve(fields, &keys::PRINT_FROM).unwrap_or_else(|| Name::new("", fields.place())),
        chain: read_chain(reader, fields, keys::PRINT_CHAIN.name).0,
        loudness: read_loudness(reader, fields),
        survive: fields.list(keys::SURVIVE.name).iter().filter_map(|item| read_codec(fields, item)).collect(),
        files: fields.entries("files", &keys::PRINT_FILE).iter().map(read_file).collect(),
        pattern: fields.string(&keys::PATTERN),
    }
}

fn read_loudness(reader: &Reader<'_>, print: &Fields<'_>) -> Option<Loudness> {
    let entry = print.get(keys::LOUDNESS.name)?;
    let at = format!("{}, loudness", print.at());
    let fields = Fields::open(print.report, &keys::LOUDNESS_TARGET, &entry.item, at)?;
    if fields.get(keys::LUFS.name).is_some() {
        return Some(Loudness::Lufs(fields.number(&keys::LUFS)));
    }
    reader.names.resolve(&fields, &keys::MATCH).map(Loudness::Match)
}

fn read_codec(print: &Fields<'_>, item: &Written) -> Option<CodecChoice> {
    let Some(text) = item.text() else {
        let message = format!("Here should be a codec and its rate, not {}.", item.what());
        print.fail(item, Fault::new("wrong-type", message, "Write them in quotes, as in \"mp3 192\"."));
        return None;
    };
    let (name, rate) = text.trim().split_once(' ').unwrap_or((text.trim(), ""));
    let Some((codec, rates)) = keys::CODECS.iter().find(|(codec, _)| *codec == name) else {
        let remedy = print.report.suggestion(name, keys::CODECS.iter().map(|(codec, _)| *codec));
        print.fail(item, Fault::new("unknown-word", format!("There is no codec `{name}`."), remedy));
        return None;
    };
    let kbps = rate.trim().parse::<u32>().ok().filter(|kbps| rates.contains(kbps));
    if kbps.is_none() {
        let message = format!("`{}` is not a bit rate of {codec}.", rate.trim());
        let remedy = format!("Write one of {}.", whole_list(rates, units::Unit::KilobitPerSecond));
        print.fail(item, Fault::new("out-of-range", message, remedy));
    }
    Some(CodecChoice { codec, kbps: kbps?, place: print.report.place(&item.span) })
}

pub(super) fn read_file(fields: &Fields<'_>) -> FileSpec {
    let bits = fields.whole(&keys::BITS).unwrap_or(24);
    let kbps = fields.whole(&keys::KBPS).unwrap_or(320);
    let dither = [Dither::Tpdf, Dither::Shaped, Dither::None][fields.choice(&keys::DITHER)];
    let dither = if bits == 32 { Dither::None } else { dither };
    let rate_hz = fields.whole(&keys::FILE_RATE);
    let format = match fields.choice(&keys::FILE_FORMAT) {
        0 => FileFormat::Wav { bits, dither },
        1 => FileFormat::Aiff { bits, dither },
        2 => FileFormat::Flac { bits, dither },
        3 => FileFormat::Mp3 { kbps },
        4 => FileFormat::Opus { kbps },
        _ => FileFormat::Vorbis { kbps },
    };
    for (key, fault) in misfits(format, rate_hz) {
        if let Some(entry) = fields.get(key) {
            fields.fail(&entry.item, fault);
        }
    }
    FileSpec { format, rate_hz, place: fields.place() }
}

/// Keys that mean nothing, or cannot be, for a format.
fn misfits(format: FileFormat, rate_hz: Option<u32>) -> Vec<(&'static str, Fault)> {
    match format {
        FileFormat::Wav { bits: 32, .. } => {
            let remedy = "Leave it out: floating point is not rounded.";
            vec![no_kbps("wav"), (keys::DITHER.name, means_nothing("dither", "32 bits", remedy))]
        }
        FileFormat::Wav { .. } => vec![no_kbps("wav")],
        FileFormat::Aiff { bits, .. } => of_integers("aiff", bits),
        FileFormat::Flac { bits, .. } => of_integers("flac", bits),
        FileFormat::Mp3 { kbps } => of_codec("mp3", kbps, rate_hz, &CODED_RATES_HZ),
        FileFormat::Opus { kbps } => of_codec("opus", kbps, rate_hz, &OPUS_RATES_HZ),
        FileFormat::Vorbis { kbps } => of_codec("vorbis", kbps, rate_hz, &CODED_RATES_HZ),
    }
}

fn of_integers(format: &str, bits: u32) -> Vec<(&'static str, Fault)> {
    let mut faults = vec![no_kbps(format)];
    if bits == 32 {
        let message = format!("`{format}` has at most 24 bits here.");
        faults.push((keys::BITS.name, Fault::new("misfit", message, "Write 16 or 24, or take wav.")));
    }
    faults
}

fn of_codec(codec: &str, kbps: u32, rate_hz: Option<u32>, rates_hz: &[u32]) -> Vec<(&'static str, Fault)> {
    let remedy = format!("Leave it out; {codec} takes `kbps`.");
    let mut faults: Vec<_> =
        [keys::BITS.name, keys::DITHER.name].map(|key| (key, means_nothing(key, codec, &remedy))).into();
    let known = keys::CODECS.iter().find(|(name, _)| *name == codec).map_or(&[][..], |(_, rates)| rates);
    if !known.contains(&kbps) {
        let message = format!("{kbps} is not a bit rate of {codec}.");
        let remedy = format!("Write one of {}.", whole_list(known, units::Unit::KilobitPerSecond));
        faults.push((keys::KBPS.name, Fault::new("misfit", message, remedy)));
    }
    if rate_hz.is_some_and(|rate_hz| !rates_hz.contains(&rate_hz)) {
        let message = format!("`{codec}` cannot have this rate.");
        let remedy = format!("Write one of {}, or leave it out.", whole_list(rates_hz, units::Unit::Hertz));
        faults.push((keys::FILE_RATE.name, Fault::new("misfit", message, remedy)));
    }
    faults
}

fn no_kbps(format: &str) -> (&'static str, Fault) {
    (keys::KBPS.name, means_nothing(keys::KBPS.name, format, &format!("Leave it out; {format} takes `bits`.")))
}

fn means_nothing(key: &str, format: &str, remedy: &str) -> Fault {
    Fault::new("misfit", format!("`{key}` means nothing for {format}."), remedy.to_owned())
}
