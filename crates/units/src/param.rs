//! Parameters and processor descriptions, each written once.

/// What a number counts in. The suffix of a parameter's name says the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Decibels (`_db`, `_dbfs`, `_dbtp`).
    Decibel,
    /// Hertz (`_hz`).
    Hertz,
    /// Milliseconds (`_ms`).
    Millisecond,
    /// Seconds (`_s`).
    Second,
    /// Metres (`_m`).
    Metre,
    /// Per cent (`_percent`).
    Percent,
    /// Inches a second: tape speed (`ips`).
    InchPerSecond,
    /// Decibels an octave (`_db_per_octave`).
    DecibelPerOctave,
    /// Loudness units against full scale (`_lufs`).
    Lufs,
    /// Beats a minute (`_bpm`).
    BeatPerMinute,
    /// Kilobits a second (`kbps`).
    KilobitPerSecond,
    /// Bits a sample (`bits`).
    Bit,
    /// A plain number: Q, ratio, count.
    Plain,
}

impl Unit {
    /// The symbol that follows a number, empty for plain numbers.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Decibel => "dB",
            Self::Hertz => "Hz",
            Self::Millisecond => "ms",
            Self::Second => "s",
            Self::Metre => "m",
            Self::Percent => "%",
            Self::InchPerSecond => "ips",
            Self::DecibelPerOctave => "dB/octave",
            Self::Lufs => "LUFS",
            Self::BeatPerMinute => "bpm",
            Self::KilobitPerSecond => "kbit/s",
            Self::Bit => "bit",
            Self::Plain => "",
        }
    }
}

/// What values a parameter takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// A number in a range, ends included. Numbers are what rides can move.
    Number {
        /// Unit.
        unit: Unit,
        /// Least value.
        low: f64,
        /// Greatest value.
        high: f64,
        /// Value when the sheet is silent.
        default: f64,
    },
    /// One word of several.
    Choice {
        /// The words.
        options: &'static [&'static str],
        /// Index of the word that holds when the sheet is silent.
        default: usize,
    },
    /// On or off.
    Switch {
        /// State when the sheet is silent.
        default: bool,
    },
    /// An audio file, by its path from the sheet's folder. None when the sheet is silent.
    File,
}

/// One parameter: its name in the sheet (with its unit), what it takes, and one sentence on what it does to the sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Param {
    /// Name as the sheet writes it, for instance `threshold_db`.
    pub name: &'static str,
    /// Values.
    pub kind: Kind,
    /// One plain sentence for cards, schema and reference.
    pub sentence: &'static str,
}

impl Param {
    /// A number in a range. A default outside the range does not compile.
    #[must_use]
    pub const fn number(
        name: &'static str,
        unit: Unit,
        [low, high]: [f64; 2],
        default: f64,
        sentence: &'static str,
    ) -> Self {
        assert!(low < high && default >= low && default <= high, "the default lies outside the range");
        Self { name, kind: Kind::Number { unit, low, high, default }, sentence }
    }

    /// One word of several; the default is an index.
    #[must_use]
    pub const fn choice(
        name: &'static str,
        options: &'static [&'static str],
        default: usize,
        sentence: &'static str,
    ) -> Self {
        assert!(default < options.len(), "the default is not one of the options");
        Self { name, kind: Kind::Choice { options, default }, sentence }
    }

    /// On or off.
    #[must_use]
    pub const fn switch(name: &'static str, default: bool, sentence: &'static str) -> Self {
        Self { name, kind: Kind::Switch { default }, sentence }
    }

    /// An audio file.
    #[must_use]
    pub const fn file(name: &'static str, sentence: &'static str) -> Self {
        Self { name, kind: Kind::File, sentence }
    }
}

/// A list of like rows inside a processor, for instance an equaliser's bands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rows {
    /// Key of the list in the sheet, plural: `bands`.
    pub name: &'static str,
    /// One row's name in text: `band`.
    pub singular: &'static str,
    /// A row's parameters.
    pub params: &'static [Param],
    /// A row's sentence template, see [`Spec::sentence`].
    pub sentence: &'static str,
    /// Most rows allowed.
    pub most: usize,
}

/// The description of a processor. Everything that people read or write about it derives from this.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spec {
    /// Key in the sheet: `eq`, `compressor`.
    pub name: &'static str,
    /// Name in text: `equaliser`.
    pub title: &'static str,
    /// One sentence on what it is for.
    pub summary: &'static str,
    /// Where its method is published, and what is our own.
    pub source: &'static str,
    /// What to be careful about.
    pub caution: &'static str,
    /// The sentence that states its settings. `{name}` stands for a parameter with its unit. A part in square brackets
    /// is left out when every parameter in it is at its default.
    pub sentence: &'static str,
    /// Parameters.
    pub params: &'static [Param],
    /// Rows, where it has them.
    pub rows: Option<Rows>,
    /// Whether it may listen to another bus: the sheet then takes `key = "BUS"` beside its parameters.
    pub outside_key: bool,
}

impl Spec {
    /// Index and definition of a parameter by its name.
    #[must_use]
    pub fn param(&self, name: &str) -> Option<(usize, &'static Param)> {
        self.params.iter().enumerate().find(|(_, p)| p.name == name)
    }
}
