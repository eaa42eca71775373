//! Rates of lossy audio in an Ogg stream.

/// A rate of Opus or Vorbis in kilobits a second: the average that the encoder aims at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct OggKbps(u16);

impl OggKbps {
    /// The rates that can be written.
    pub const ALL: [Self; 8] = [Self(64), Self(96), Self(128), Self(160), Self(192), Self(224), Self(256), Self(320)];

    /// The rate, if it is one of [`Self::ALL`].
    #[must_use]
    pub fn new(kbps: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|known| u32::from(known.0) == kbps)
    }

    /// Kilobits a second.
    #[must_use]
    pub const fn get(self) -> u16 {
        self.0
    }
}
