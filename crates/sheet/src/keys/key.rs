//! What a key is: its name, what it takes, and a sentence.

use units::{Kind, Param, Unit};

/// One key.
#[derive(Clone, Copy, Debug)]
pub struct Key {
    /// Name as the sheet writes it.
    pub name: &'static str,
    /// What it takes.
    pub takes: Takes,
    /// Whether the sheet must have it.
    pub required: bool,
    /// One plain sentence.
    pub sentence: &'static str,
}

/// What a key takes.
#[derive(Clone, Copy, Debug)]
pub enum Takes {
    /// A number, word, switch or file, as for processors.
    Param(Kind),
    /// One of some whole numbers.
    Whole {
        /// Unit.
        unit: Unit,
        /// The numbers.
        options: &'static [u32],
        /// The number when the sheet is silent, if there is one.
        default: Option<u32>,
    },
    /// Text of a form.
    Text(Form),
    /// A time.
    Time,
    /// The name of something else in the sheet.
    NameOf(Named),
    /// A list of such names.
    NamesOf(Named),
    /// A list of processors of a print's chain, by name: `eq`, or `eq 2` for the second.
    LinksOfPrint,
    /// A table.
    Table(&'static Group),
    /// A list of tables.
    Tables(&'static Group),
    /// The parameters of one processor.
    Processor(&'static str),
    /// A list of processors.
    Chain,
    /// A list of `"CODEC KBPS"`.
    Codecs,
    /// A list of `[TIME, VALUE]`.
    Points,
}

/// The form of a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Anything but nothing.
    Any,
    /// A name: one line, no blanks at its ends.
    Name,
    /// Recording code of ISO 3901, without hyphens.
    Isrc,
    /// `YYYY-MM-DD`.
    Date,
    /// `BEATS/NOTE`.
    TimeSignature,
    /// What a ride moves.
    RideTarget,
    /// A file name with placeholders.
    Pattern,
}

/// What a name may name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Named {
    /// A bus.
    Bus,
    /// A stem or a bus.
    Node,
    /// A reference.
    Reference,
    /// A print.
    Print,
}

/// A table of the sheet and its keys.
#[derive(Debug)]
pub struct Group {
    /// Name of the key that holds it.
    pub name: &'static str,
    /// One sentence on what it stands for.
    pub sentence: &'static str,
    /// Its keys, in the order in which documents show them.
    pub keys: &'static [Key],
    /// Whether exactly one of the keys must be there.
    pub exactly_one: bool,
}

impl Group {
    pub(crate) const fn new(name: &'static str, sentence: &'static str, keys: &'static [Key]) -> Self {
        Self { name, sentence, keys, exactly_one: false }
    }
}

impl Key {
    pub(crate) const fn new(name: &'static str, takes: Takes, sentence: &'static str) -> Self {
        Self { name, takes, required: false, sentence }
    }

    pub(crate) const fn of(param: Param) -> Self {
        Self::new(param.name, Takes::Param(param.kind), param.sentence)
    }

    pub(crate) const fn text(name: &'static str, form: Form, sentence: &'static str) -> Self {
        Self::new(name, Takes::Text(form), sentence)
    }

    pub(crate) const fn required(self) -> Self {
        Self { required: true, ..self }
    }

    /// The key as a parameter, where it takes what a processor's parameter takes.
    #[must_use]
    pub const fn param(&self) -> Option<Param> {
        match self.takes {
            Takes::Param(kind) => Some(Param { name: self.name, kind, sentence: self.sentence }),
            _ => None,
        }
    }
}
