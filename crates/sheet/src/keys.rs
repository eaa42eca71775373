//! Every key of the sheet that is not a processor's, each written once: its name, what it takes, and a sentence.
//!
//! The reader checks against these definitions, and the schema and the reference are made from them.

use units::{Param, Unit};

mod key;

pub use key::{Form, Group, Key, Named, Takes};

/// The format that this version reads and writes.
pub const FORMAT: u32 = 1;

/// Sample rates a song or file may have.
pub const RATES_HZ: &[u32] = &[44_100, 48_000, 88_200, 96_000, 176_400, 192_000];

/// Bit rates of MPEG-1 Layer III (ISO/IEC 11172-3, table of bit rates), without the lowest four, which no music is sent at.
pub const MP3_KBPS: &[u32] = &[64, 80, 96, 112, 128, 160, 192, 224, 256, 320];

/// Rates of Opus and Vorbis: averages that the encoders aim at. Those that music is sent at; common practice, no source.
pub const OGG_KBPS: &[u32] = &[64, 96, 128, 160, 192, 224, 256, 320];

/// Codecs that a print can be made to survive, with their bit rates.
pub const CODECS: &[(&str, &[u32])] = &[("mp3", MP3_KBPS), ("opus", OGG_KBPS), ("vorbis", OGG_KBPS)];

/// What a file name's pattern may hold in braces, and what it stands for.
pub const PLACEHOLDERS: &[(&str, &str)] = &[
    ("artist_initials", "artist's initials"),
    ("artist", "artist"),
    ("title", "title of the song"),
    ("mixer_initials", "mixer's initials"),
    ("revision", "number of the revision, two digits"),
    ("print", "name of the print"),
    ("resolution", "rate and bits, as in 96k24"),
    ("date", "date of the song"),
];

/// The pattern that holds when the sheet is silent: the scheme of the association recommendation for file names.
pub const USUAL_PATTERN: &str = "{artist_initials}_{title}_{mixer_initials}{revision}_{print}_{resolution}";

/// Name of an entry; unique among its kind.
pub const NAME: Key = Key::text("name", Form::Name, "What other lines call it.").required();

// [song]

pub(crate) const FORMAT_LINE: Key = Key::new(
    "fairprint",
    Takes::Whole { unit: Unit::Plain, options: &[FORMAT], default: None },
    "Format of this sheet.",
)
.required();
pub(crate) const TITLE: Key = Key::text("title", Form::Any, "Title of the song.").required();
pub(crate) const ARTIST: Key = Key::text("artist", Form::Any, "Who performs it.");
pub(crate) const RATE: Key = Key::new(
    "rate_hz",
    Takes::Whole { unit: Unit::Hertz, options: RATES_HZ, default: None },
    "Sample rate of the whole network; files at other rates are converted.",
)
.required();
/// The tempo of a sheet that names none.
pub(crate) const USUAL_TEMPO_BPM: f64 = 120.0;
pub(crate) const TEMPO: Key = Key::of(Param::number(
    "tempo_bpm",
    Unit::BeatPerMinute,
    [20.0, 400.0],
    USUAL_TEMPO_BPM,
    "Tempo in quarter notes a minute, for bar|beat times and note values.",
));
pub(crate) const TIME_SIGNATURE: Key = Key::text(
    "time_signature",
    Form::TimeSignature,
    "Beats in a bar and the note that is one beat, for bar|beat times; 4/4 when the sheet is silent.",
);
pub(crate) const ALBUM: Key = Key::text("album", Form::Any, "The album it belongs to.");
pub(crate) const ISRC: Key = Key::text("isrc", Form::Isrc, "Recording code (ISO 3901), 12 characters without hyphens.");
pub(crate) const MUSICAL_KEY: Key = Key::text("key", Form::Any, "Musical key, in words.");
pub(crate) const WRITER: Key = Key::text("writer", Form::Any, "Who wrote it.");
pub(crate) const PRODUCER: Key = Key::text("producer", Form::Any, "Who produced it.");
pub(crate) const MIXER: Key = Key::text("mixer", Form::Any, "Who mixed it.");
pub(crate) const CONTACT: Key = Key::text("contact", Form::Any, "Whom to ask about these files.");
pub(crate) const DATE: Key = Key::text("date", Form::Date, "Date of the mix, YYYY-MM-DD.");
pub(crate) const ARTIST_INITIALS: Key = Key::text("artist_initials", Form::Name, "Artist's initials, for file names.");
pub(crate) const MIXER_INITIALS: Key = Key::text("mixer_initials", Form::Name, "Mixer's initials, for file names.");
pub(crate) const START: Key = Key::new(
    "start",
    Takes::Time,
    "Time of the first sample, for the time reference of broadcast wave files; 0 when the sheet is silent.",
);

/// The song.
pub static SONG: Group = Group::new(
    "song",
    "The song and what its labels say.",
    &[
        TITLE,
        ARTIST,
        RATE,
        TEMPO,
        TIME_SIGNATURE,
        ALBUM,
        ISRC,
        MUSICAL_KEY,
        WRITER,
        PRODUCER,
        MIXER,
        CONTACT,
        DATE,
        ARTIST_INITIALS,
        MIXER_INITIALS,
        START,
    ],
);

// [[reference]], [[section]]

pub(crate) const FILE: Key =
    Key::of(Param::file("file", "Path of the audio file, from the sheet's folder.")).required();
pub(crate) const SECTION_FROM: Key =
    Key::new("from", Takes::Time, "When it starts; it lasts until the next.").required();

/// A file to listen or measure against.
pub static REFERENCE: Group =
    Group::new("reference", "A file to listen or measure against: a rough mix, another record.", &[NAME, FILE]);

/// A named passage.
pub static SECTION: Group = Group::new("section", "A passage with a name, which times may use.", &[NAME, SECTION_FROM]);

// [console]

pub(crate) const CONSOLE: Key = Key::new(
    "console",
    Takes::Processor("console"),
    "One console colour for the whole song: it ends the chain of every stem. A stem or bus with a `console` in its own \
     chain keeps it there, and takes from here what it does not say itself.",
);

// [[stem]], [[bus]]

pub(crate) const TO: Key = Key::new("to", Takes::NameOf(Named::Bus), "The bus it goes to.");
/// Gain ahead of a node's chain.
pub const TRIM: Key = Key::of(Param::number("trim_db", Unit::Decibel, [-60.0, 24.0], 0.0, "Gain ahead of the chain."));
pub(crate) const POLARITY: Key =
    Key::of(Param::choice("polarity", &["normal", "inverted"], 0, "Whether the wave is mirrored at zero."));
/// Delay of a node.
pub const DELAY: Key = Key::of(Param::number(
    "delay_ms",
    Unit::Millisecond,
    [0.0, 2000.0],
    0.0,
    "Delay on purpose; delays of processors are made up for without it.",
));
/// Balance of a node.
pub const PAN: Key = Key::of(Param::number(
    "pan_percent",
    Unit::Percent,
    [-100.0, 100.0],
    0.0,
    "Balance after the chain: -100 is left, 100 is right.",
));
/// Level after a node's chain.
pub const LEVEL: Key = Key::of(Param::number("level_db", Unit::Decibel, [-120.0, 24.0], 0.0, "Level after the chain."));
pub(crate) const MUTE: Key = Key::of(Param::switch("mute", false, "Silences it, its sends included."));
/// The sentence that states a copy to another bus.
pub const SEND_SENTENCE: &str = "at {level_db}, {tap}-fader";
/// The sentence that states what a stem or bus does beside its chain; see [`units::Spec::sentence`].
pub const NODE_SENTENCE: &str = "at {level_db}[, panned to {pan_percent}][, trimmed by {trim_db} ahead of its \
     chain][, delayed by {delay_ms}][, with {polarity} polarity]";
pub(crate) const CHAIN: Key = Key::new("chain", Takes::Chain, "Processors, in order.");
pub(crate) const SENDS: Key = Key::new("sends", Takes::Tables(&SEND), "Copies to other buses.");
pub(crate) const RIDES: Key = Key::new("rides", Takes::Tables(&RIDE), "Numbers that move over the song.");
pub(crate) const STEM_FROM: Key =
    Key::new("from", Takes::Time, "Time in the song at which the file starts; 0 when the sheet is silent.");
pub(crate) const EXPECT_SILENCE: Key =
    Key::of(Param::switch("expect_silence", false, "Whether long silence in it is no fault."));

/// A recording.
pub static STEM: Group = Group::new(
    "stem",
    "A recording that enters the network.",
    &[NAME, FILE, STEM_FROM, EXPECT_SILENCE, TO, TRIM, POLARITY, DELAY, PAN, LEVEL, MUTE, CHAIN, SENDS, RIDES],
);

/// A sum.
pub static BUS: Group = Group::new(
    "bus",
    "A sum of stems and buses. It has no `to` only where a print draws from it.",
    &[NAME, TO, TRIM, POLARITY, DELAY, PAN, LEVEL, MUTE, CHAIN, SENDS, RIDES],
);

pub(crate) const SEND_TO: Key = Key::new("to", Takes::NameOf(Named::Bus), "The bus that gets the copy.").required();
pub(crate) const TAP: Key = Key::of(Param::choice(
    "tap",
    &["post", "pre"],
    0,
    "Where the copy is taken: after pan and level, or ahead of them (behind the chain in both cases).",
));
/// Level of a send.
pub const SEND_LEVEL: Key =
    Key::of(Param::number("level_db", Unit::Decibel, [-120.0, 24.0], 0.0, "Level of the copy."));

/// A copy to another bus.
pub static SEND: Group = Group::new("sends", "A copy to another bus.", &[SEND_TO, TAP, SEND_LEVEL]);

pub(crate) const WHAT: Key = Key::text(
    "what",
    Form::RideTarget,
    "The number that moves: level_db, trim_db, pan_percent, `send BUS.level_db`, `PROCESSOR.PARAMETER`, \
     `PROCESSOR 2.PARAMETER` for the second of its kind in the chain, or `eq.bands 2.gain_db` for a row's.",
)
.required();
pub(crate) const POINTS: Key = Key::new(
    "points",
    Takes::Points,
    "Times and values, in order of time: straight lines between them, held before the first and after the last.",
)
.required();
pub(crate) const HOLD_DRIVE: Key = Key::of(Param::switch(
    "hold_drive",
    false,
    "For level_db and levels of sends: what the sends drive hears no change; what comes back from it moves instead.",
));

/// A movement.
pub static RIDE: Group = Group::new("rides", "A number that moves over the song.", &[WHAT, POINTS, HOLD_DRIVE]);

// [[print]]

pub(crate) const PRINT_KIND: Key =
    Key::text("kind", Form::Name, "What it is for, in a word: mastering, approval, or your own.");
pub(crate) const PRINT_FROM: Key = Key::new("from", Takes::NameOf(Named::Bus), "The bus it draws from.").required();
pub(crate) const PRINT_CHAIN: Key = Key::new("chain", Takes::Chain, "Processors of this print alone, in order.");
pub(crate) const LOUDNESS: Key =
    Key::new("loudness", Takes::Table(&LOUDNESS_TARGET), "Loudness to reach, by gain ahead of the limiter.");
pub(crate) const SURVIVE: Key = Key::new(
    "survive",
    Takes::Codecs,
    "Codecs, as in \"mp3 192\", after whose round trip the ceiling must still hold.",
);
pub(crate) const FILES: Key = Key::new("files", Takes::Tables(&PRINT_FILE), "Files to write.");
pub(crate) const PATTERN: Key =
    Key::text("pattern", Form::Pattern, "Pattern of the file names, where they are not to follow the usual scheme.");

/// What is printed.
pub static PRINT: Group = Group::new(
    "print",
    "A print: a chain behind a bus, a loudness, and files.",
    &[NAME, PRINT_KIND, PRINT_FROM, PRINT_CHAIN, LOUDNESS, SURVIVE, FILES, PATTERN],
);

pub(crate) const MATCH: Key =
    Key::new("match", Takes::NameOf(Named::Reference), "The reference whose loudness is to be reached.");
pub(crate) const LUFS: Key =
    Key::of(Param::number("lufs", Unit::Lufs, [-40.0, -4.0], -14.0, "Integrated loudness to reach (ITU-R BS.1770)."));

/// A loudness to reach.
pub static LOUDNESS_TARGET: Group = Group {
    exactly_one: true,
    ..Group::new("loudness", "A loudness to reach: that of a reference, or a figure.", &[MATCH, LUFS])
};

pub(crate) const FILE_FORMAT: Key =
    Key::of(Param::choice("format", &["wav", "aiff", "flac", "mp3", "opus", "vorbis"], 0, "Format of the file."))
        .required();
pub(crate) const BITS: Key = Key::new(
    "bits",
    Takes::Whole { unit: Unit::Bit, options: &[16, 24, 32], default: Some(24) },
    "Bits a sample, for wav, aiff and flac; 32 is floating point, for wav alone.",
);
pub(crate) const KBPS: Key = Key::new(
    "kbps",
    Takes::Whole { unit: Unit::KilobitPerSecond, options: MP3_KBPS, default: Some(320) },
    "Bit rate, for mp3; for opus and vorbis the average that is aimed at, which is not 80 or 112.",
);
pub(crate) const DITHER: Key = Key::of(Param::choice(
    "dither",
    &["tpdf", "shaped", "none"],
    0,
    "Noise ahead of rounding to integers, for wav, aiff and flac of 16 or 24 bits.",
));
pub(crate) const FILE_RATE: Key = Key::new(
    "rate_hz",
    Takes::Whole { unit: Unit::Hertz, options: RATES_HZ, default: None },
    "Sample rate, where it is not to be the song's.",
);

/// One file of a print.
pub static PRINT_FILE: Group =
    Group::new("files", "One file of a print.", &[FILE_FORMAT, BITS, KBPS, DITHER, FILE_RATE]);

// [[alternate]]

pub(crate) const OF: Key = Key::new(
    "of",
    Takes::NameOf(Named::Print),
    "The print that it is made from: its chain, and the gain and ceiling that were found for it.",
)
.required();
pub(crate) const MUTED: Key = Key::new("mute", Takes::NamesOf(Named::Node), "Stems and buses that are taken away.");
pub(crate) const ONLY: Key = Key::new("only", Takes::NamesOf(Named::Node), "Stems and buses that alone are kept.");
pub(crate) const OFFSETS: Key = Key::new("offsets", Takes::Tables(&OFFSET), "Stems and buses that are moved in level.");
pub(crate) const WITHOUT: Key = Key::new(
    "without",
    Takes::LinksOfPrint,
    "Processors of the print's own chain that are left out: `limiter`, or `eq 2` for the second of its kind.",
);
pub(crate) const DYNAMICS: Key = Key::of(Param::choice(
    "dynamics",
    &["held", "free"],
    0,
    "Whether the processing holds the gains that the full mix gives it, so that bars of both can be spliced, or is free to \
     react to what remains.",
));
pub(crate) const ALTERNATE_FILES: Key =
    Key::new("files", Takes::Tables(&PRINT_FILE), "Files to write; the print's, when the sheet is silent.");

/// Another version of a print.
pub static ALTERNATE: Group = Group::new(
    "alternate",
    "Another version of a print, by what is different: an instrumental, an a cappella, a voice a decibel up.",
    &[NAME, OF, MUTED, ONLY, OFFSETS, WITHOUT, DYNAMICS, ALTERNATE_FILES, PATTERN],
);

pub(crate) const OFFSET_NODE: Key =
    Key::new("node", Takes::NameOf(Named::Node), "The stem or bus; its sends move along.").required();
pub(crate) const OFFSET_DB: Key =
    Key::of(Param::number("db", Unit::Decibel, [-24.0, 24.0], 0.0, "By how much it is moved.")).required();

/// A change of level.
pub static OFFSET: Group = Group::new("offsets", "A stem or bus that is moved in level.", &[OFFSET_NODE, OFFSET_DB]);

// [[stem_print]]

pub(crate) const GROUPS: Key = Key::new(
    "groups",
    Takes::Tables(&STEM_GROUP),
    "What goes into one file together; every stem into its own, when the sheet is silent. What no group holds goes into \
     one more, called rest.",
);
pub(crate) const STEM_FILES: Key = Key::new(
    "files",
    Takes::Tables(&PRINT_FILE),
    "Files to write of each group, at the song's rate, wav, aiff or flac; wav of 24 bits, when the sheet is silent.",
);

/// Stems of a print.
pub static STEM_PRINT: Group = Group::new(
    "stem_print",
    "The parts of a print, each through all of its processing, which sum to it.",
    &[NAME, OF, GROUPS, STEM_FILES, PATTERN],
);

pub(crate) const GROUP_FROM: Key =
    Key::new("from", Takes::NamesOf(Named::Node), "Stems and buses that are in it.").required();

/// A group of stems.
pub static STEM_GROUP: Group = Group::new("groups", "What goes into one stem file.", &[NAME, GROUP_FROM]);

/// Names that the files of stems have of their own: what no group holds, and what cannot be split.
pub const OWN_GROUPS: [&str; 2] = ["rest", "residue"];

// accept

pub(crate) const CODE: Key = Key::text("code", Form::Name, "The finding's code.").required();
pub(crate) const WHERE: Key =
    Key::text("where", Form::Any, "What the finding is about; any, when the sheet is silent.");
pub(crate) const REASON: Key = Key::text("reason", Form::Any, "Why it may stand.").required();

/// A finding that may stand.
pub static ACCEPT: Group = Group::new("accept", "A finding that you have seen and let stand.", &[CODE, WHERE, REASON]);

/// The whole sheet.
pub static SHEET: Group = Group::new(
    "sheet",
    "A recall sheet: one song's network of stems and buses, and its prints, alternates and stems.",
    &[
        FORMAT_LINE,
        Key::new("song", Takes::Table(&SONG), SONG.sentence).required(),
        Key::new("reference", Takes::Tables(&REFERENCE), REFERENCE.sentence),
        Key::new("section", Takes::Tables(&SECTION), SECTION.sentence),
        CONSOLE,
        Key::new("stem", Takes::Tables(&STEM), STEM.sentence),
        Key::new("bus", Takes::Tables(&BUS), BUS.sentence),
        Key::new("print", Takes::Tables(&PRINT), PRINT.sentence),
        Key::new("alternate", Takes::Tables(&ALTERNATE), ALTERNATE.sentence),
        Key::new("stem_print", Takes::Tables(&STEM_PRINT), STEM_PRINT.sentence),
        Key::new("accept", Takes::Tables(&ACCEPT), ACCEPT.sentence),
    ],
);

// Inside a chain

pub(crate) const OFF: Key =
    Key::of(Param::switch("off", false, "Takes the processor out, without moving anything in time."));
/// Of a processor that can listen to something else.
pub const OUTSIDE_KEY: Key =
    Key::new("key", Takes::NameOf(Named::Node), "The stem or bus it listens to instead of its own input.");

// Starting points

pub(crate) const START_NAME: Key = Key::text("name", Form::Name, "What it is called.").required();
pub(crate) const TASK: Key = Key::text("task", Form::Any, "What it is for, in one sentence.").required();
pub(crate) const SUITS: Key = Key::text("suits", Form::Any, "The kinds of music that it suits.").required();
pub(crate) const SPOT: Key = Key::of(Param::choice(
    "place",
    &["insert", "return", "ending"],
    0,
    "Where it goes: into a chain, on a bus of its own beside the path, or at the end of a print.",
))
.required();
pub(crate) const START_AT: Key =
    Key::text("at", Form::Name, "The stem or bus whose chain it joins, that feeds it, or that its print draws from.")
        .required();
pub(crate) const START_BUS: Key = Key::text("bus", Form::Name, "For a return: what its bus is called.");
pub(crate) const START_PRINT: Key = Key::text("print", Form::Name, "For an ending: what its print is called.");
pub(crate) const ADJUST: Key = Key::text("adjust", Form::Any, "What to listen for and to adjust first.").required();
pub(crate) const CAUTION: Key = Key::text("caution", Form::Any, "What to be careful about.");

/// A starting point.
pub(crate) static STARTING_POINT: Group = Group::new(
    "starting point",
    "A complete chain for a task.",
    &[START_NAME, TASK, SUITS, SPOT, START_AT, START_BUS, START_PRINT, LEVEL, LUFS, ADJUST, CAUTION, CHAIN],
);
