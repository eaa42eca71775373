//! What a programme is heard through, as the page names it: `nothing`, `mono`, `mp3 192`.

use std::fmt;
use std::str::FromStr;

use media::codec::CodecChoice;
use media::{Kbps, OggKbps};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use ts_rs::TS;

/// What a programme is heard through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, TS)]
#[ts(type = "\"nothing\" | \"mono\" | \"side\" | \"small-speaker\" | `${string} ${number}`")]
pub enum Through {
    /// As it is.
    Nothing,
    /// Both channels as one.
    Mono,
    /// Only what differs between the channels, in both.
    Side,
    /// One small speaker: no bass, no air, one channel.
    SmallSpeaker,
    /// There and back through a codec.
    Codec(CodecChoice),
}

impl fmt::Display for Through {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Nothing => f.write_str("nothing"),
            Self::Mono => f.write_str("mono"),
            Self::Side => f.write_str("side"),
            Self::SmallSpeaker => f.write_str("small-speaker"),
            Self::Codec(codec) => codec.fmt(f),
        }
    }
}

impl FromStr for Through {
    type Err = media::codec::UnknownCodec;

    fn from_str(name: &str) -> Result<Self, Self::Err> {
        match name {
            "nothing" => Ok(Self::Nothing),
            "mono" => Ok(Self::Mono),
            "side" => Ok(Self::Side),
            "small-speaker" => Ok(Self::SmallSpeaker),
            codec => codec.parse().map(Self::Codec),
        }
    }
}

impl Serialize for Through {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Through {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(de::Error::custom)
    }
}

impl Through {
    /// The codec, if it is one.
    #[must_use]
    pub fn codec(self) -> Option<CodecChoice> {
        if let Self::Codec(codec) = self { Some(codec) } else { None }
    }

    /// In words, as they follow “through”; none if nothing stands between.
    #[must_use]
    pub fn words(self) -> Option<String> {
        match self {
            Self::Nothing => None,
            Self::Mono => Some("mono".to_owned()),
            Self::Side => Some("the sides alone".to_owned()),
            Self::SmallSpeaker => Some("one small speaker".to_owned()),
            Self::Codec(codec) => Some(codec.in_words()),
        }
    }
}

/// A codec that can be listened through.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Codec {
    /// Its name here and in the sheet.
    pub name: String,
    /// Its name in text.
    pub title: String,
    /// Its rates in kilobits a second.
    pub kbps: Vec<u16>,
}

/// All codecs that can be listened through.
#[must_use]
pub fn codecs() -> Vec<Codec> {
    let ogg = || OggKbps::ALL.map(OggKbps::get).to_vec();
    let mp3 = Kbps::ALL.map(Kbps::get).to_vec();
    let all = [("mp3", "MP3", mp3), ("opus", "Opus", ogg()), ("vorbis", "Vorbis", ogg())];
    all.map(|(name, title, kbps)| Codec { name: name.to_owned(), title: title.to_owned(), kbps }).to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_that_is_offered_is_understood_and_comes_back_as_it_was() {
        let mut names: Vec<String> = ["nothing", "mono", "side", "small-speaker"].map(str::to_owned).to_vec();
        for codec in codecs() {
            names.extend(codec.kbps.iter().map(|kbps| format!("{} {kbps}", codec.name)));
        }
        assert_eq!(names.len(), 4 + 10 + 8 + 8);
        for name in names {
            let through: Through = name.parse().expect("it is offered");
            assert_eq!(through.to_string(), name);
        }
        assert!("mp3 1".parse::<Through>().is_err() && "tape".parse::<Through>().is_err());
        let through: Through = "opus 96".parse().expect("it is one");
        assert_eq!(through.words().expect("words"), "Opus at 96 kbit/s");
    }
}
