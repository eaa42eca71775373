//! What we write about a file, whatever its format.

/// Descriptions to write into a file. Each format takes the fields that it has a place for; empty ones are left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Metadata {
    /// Song title.
    pub title: Option<String>,
    /// Artist.
    pub artist: Option<String>,
    /// Album.
    pub album: Option<String>,
    /// Which version of the song this is: `for mastering`, `instrumental`, `r003`.
    pub version: Option<String>,
    /// International standard recording code (ISO 3901): 12 characters, no hyphens.
    pub isrc: Option<String>,
    /// Date, `yyyy-mm-dd`.
    pub date: Option<String>,
    /// Time of day, `hh:mm:ss`.
    pub time: Option<String>,
    /// Tempo in beats a minute.
    pub tempo_bpm: Option<f64>,
    /// Musical key.
    pub key: Option<String>,
    /// Free comment.
    pub comment: Option<String>,
    /// Who or what made the file.
    pub originator: Option<String>,
    /// Place of the first frame in frames since midnight.
    pub time_reference: u64,
    /// One line for each process the signal went through, for instance `A=PCM,F=48000,W=24,M=stereo`.
    pub coding_history: Vec<String>,
    /// People by role: (`mixer`, name), (`producer`, name), ...
    pub credits: Vec<(String, String)>,
    /// Names of the channels or the one stem, for production metadata (iXML).
    pub track_names: Vec<String>,
}
