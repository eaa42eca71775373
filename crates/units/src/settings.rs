//! A processor's settings: values for the parameters of a [`Spec`].

use crate::sentence::render;
use crate::{Kind, Param, Spec};

/// A parameter's value.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A number, in the parameter's unit.
    Number(f64),
    /// Index into the options.
    Choice(usize),
    /// On or off.
    Switch(bool),
    /// Path of an audio file, if one is named.
    File(Option<String>),
}

impl Value {
    /// The value that holds when the sheet is silent.
    #[must_use]
    pub fn default_of(param: &Param) -> Self {
        match param.kind {
            Kind::Number { default, .. } => Self::Number(default),
            Kind::Choice { default, .. } => Self::Choice(default),
            Kind::Switch { default } => Self::Switch(default),
            Kind::File => Self::File(None),
        }
    }
}

/// Where a parameter stands in its processor: its index, and the row's where it belongs to one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct At {
    /// Row, or none for the processor's own parameters.
    pub row: Option<usize>,
    /// Index among [`Spec::params`] or the row's parameters.
    pub param: usize,
}

/// How a value that was given to a parameter fits it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fit {
    /// It is taken as it is.
    AsGiven,
    /// It lies outside the range, whose nearer end is taken.
    Clamped,
    /// It is no value of this parameter (not a number, or of another kind): what stood there stays.
    Refused,
}

/// Values for every parameter of a processor, in the order of its [`Spec`]. Numbers are inside their ranges.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    spec: &'static Spec,
    values: Vec<Value>,
    rows: Vec<Vec<Value>>,
}

impl Settings {
    /// Every parameter at its default, no rows.
    #[must_use]
    pub fn defaults(spec: &'static Spec) -> Self {
        Self { spec, values: spec.params.iter().map(Value::default_of).collect(), rows: Vec::new() }
    }

    /// The description these settings belong to.
    #[must_use]
    pub fn spec(&self) -> &'static Spec {
        self.spec
    }

    /// Values in the order of [`Spec::params`].
    #[must_use]
    pub fn values(&self) -> &[Value] {
        &self.values
    }

    /// Number of rows.
    #[must_use]
    pub fn row_count(&self) -> usize {
        self.rows.len()
    }

    /// Values of a row in the order of its parameters.
    #[must_use]
    pub fn row_values(&self, row: usize) -> &[Value] {
        &self.rows[row]
    }

    /// Appends a row of defaults and returns its index.
    pub fn add_row(&mut self) -> usize {
        let params = self.spec.rows.map_or(&[][..], |rows| rows.params);
        self.rows.push(params.iter().map(Value::default_of).collect());
        self.rows.len() - 1
    }

    /// Sets a value and tells how it fits: numbers outside their range become its nearer end; what is no value of the
    /// parameter changes nothing. Whoever moves a parameter live learns here, from settings of their own, what the
    /// processor will make of the value.
    ///
    /// # Panics
    /// If `at` is not a place of this processor: a fault of the caller's code.
    pub fn set(&mut self, at: At, value: Value) -> Fit {
        let (params, values) = match at.row {
            None => (self.spec.params, &mut self.values),
            Some(row) => (self.spec.rows.map_or(&[][..], |rows| rows.params), &mut self.rows[row]),
        };
        let (taken, fit) = match (params[at.param].kind, value) {
            (Kind::Number { low, high, .. }, Value::Number(x)) if x < low || x > high => {
                (Value::Number(x.clamp(low, high)), Fit::Clamped)
            }
            (Kind::Number { .. }, Value::Number(x)) if x.is_nan() => return Fit::Refused,
            (Kind::Choice { options, .. }, Value::Choice(index)) if index >= options.len() => return Fit::Refused,
            (Kind::Number { .. }, value @ Value::Number(_))
            | (Kind::Choice { .. }, value @ Value::Choice(_))
            | (Kind::Switch { .. }, value @ Value::Switch(_))
            | (Kind::File, value @ Value::File(_)) => (value, Fit::AsGiven),
            _ => return Fit::Refused,
        };
        values[at.param] = taken;
        fit
    }

    /// These settings with one of the processor's own parameters changed; for code and tests.
    #[must_use]
    pub fn with(mut self, param: &Param, value: Value) -> Self {
        if let Some((index, _)) = self.spec.param(param.name) {
            self.set(At { row: None, param: index }, value);
        }
        self
    }

    /// These settings with a number changed; for code and tests.
    #[must_use]
    pub fn with_number(self, param: &Param, value: f64) -> Self {
        self.with(param, Value::Number(value))
    }

    /// These settings with a word chosen; for code and tests.
    ///
    /// # Panics
    /// If the word is not one of the options.
    #[must_use]
    pub fn with_choice(self, param: &Param, word: &str) -> Self {
        let Kind::Choice { options, .. } = param.kind else { panic!("{} is not a choice", param.name) };
        let index = options.iter().position(|o| *o == word).expect("the word is one of the options");
        self.with(param, Value::Choice(index))
    }

    /// The number of a parameter.
    #[must_use]
    pub fn number(&self, param: &Param) -> f64 {
        number_in(self.spec.params, &self.values, param)
    }

    /// Where its numbers stand: its own, then those of its rows.
    pub fn numbers(&self) -> impl Iterator<Item = At> + '_ {
        let rows = self.rows.iter().enumerate().map(|(row, values)| (Some(row), values));
        let lists = std::iter::once((None, &self.values)).chain(rows);
        lists.flat_map(|(row, values)| {
            let is_number = |(_, value): &(usize, &Value)| matches!(value, Value::Number(_));
            values.iter().enumerate().filter(is_number).map(move |(param, _)| At { row, param })
        })
    }

    /// The number at a place; NaN where no number stands.
    #[must_use]
    pub fn number_at(&self, at: At) -> f64 {
        let values = at.row.map_or(Some(&self.values), |row| self.rows.get(row));
        match values.and_then(|values| values.get(at.param)) {
            Some(Value::Number(x)) => *x,
            _ => f64::NAN,
        }
    }

    /// Whether other settings differ from these in numbers alone.
    #[must_use]
    pub fn differs_in_numbers_alone(&self, other: &Self) -> bool {
        let alike = |a: &[Value], b: &[Value]| {
            let both = |(a, b): (&Value, &Value)| a == b || matches!((a, b), (Value::Number(_), Value::Number(_)));
            a.len() == b.len() && a.iter().zip(b).all(both)
        };
        let rows = self.rows.iter().zip(&other.rows);
        self.spec == other.spec
            && self.rows.len() == other.rows.len()
            && alike(&self.values, &other.values)
            && rows.into_iter().all(|(a, b)| alike(a, b))
    }

    /// The index of the chosen word of a parameter.
    #[must_use]
    pub fn choice(&self, param: &Param) -> usize {
        choice_in(self.spec.params, &self.values, param)
    }

    /// The state of a switch.
    #[must_use]
    pub fn switch(&self, param: &Param) -> bool {
        let value = self.spec.param(param.name).map(|(index, _)| &self.values[index]);
        matches!(value, Some(Value::Switch(true)))
    }

    /// The path of a file parameter, if one is named.
    #[must_use]
    pub fn file(&self, param: &Param) -> Option<&str> {
        match self.spec.param(param.name).map(|(index, _)| &self.values[index]) {
            Some(Value::File(path)) => path.as_deref(),
            _ => None,
        }
    }

    /// The number of a row's parameter.
    #[must_use]
    pub fn row_number(&self, row: usize, param: &Param) -> f64 {
        number_in(self.spec.rows.map_or(&[][..], |rows| rows.params), &self.rows[row], param)
    }

    /// The index of the chosen word of a row's parameter.
    #[must_use]
    pub fn row_choice(&self, row: usize, param: &Param) -> usize {
        choice_in(self.spec.rows.map_or(&[][..], |rows| rows.params), &self.rows[row], param)
    }

    /// The settings as a sentence, without the rows.
    #[must_use]
    pub fn sentence(&self) -> String {
        render(self.spec.sentence, &|name| self.lookup(name))
    }

    /// One sentence for each row.
    #[must_use]
    pub fn row_sentences(&self) -> Vec<String> {
        let Some(rows) = self.spec.rows else { return Vec::new() };
        let row_lookup = |values: &[Value], name: &str| {
            let index = rows.params.iter().position(|p| p.name == name)?;
            Some((rows.params[index], values[index].clone()))
        };
        let one =
            |values: &Vec<Value>| render(rows.sentence, &|name| row_lookup(values, name).or_else(|| self.lookup(name)));
        self.rows.iter().map(one).collect()
    }

    /// The settings as one sentence, rows and all.
    #[must_use]
    pub fn whole_sentence(&self) -> String {
        std::iter::once(self.sentence()).chain(self.row_sentences()).collect::<Vec<_>>().join("; ")
    }

    fn lookup(&self, name: &str) -> Option<(Param, Value)> {
        self.spec.param(name).map(|(index, param)| (*param, self.values[index].clone()))
    }
}

fn number_in(params: &[Param], values: &[Value], param: &Param) -> f64 {
    match params.iter().position(|p| p.name == param.name).map(|index| &values[index]) {
        Some(Value::Number(x)) => *x,
        _ => f64::NAN,
    }
}

fn choice_in(params: &[Param], values: &[Value], param: &Param) -> usize {
    match params.iter().position(|p| p.name == param.name).map(|index| &values[index]) {
        Some(Value::Choice(index)) => *index,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Rows, Unit};

    const THRESHOLD: Param = Param::number("threshold_db", Unit::Decibel, [-60.0, 0.0], -20.0, "Where it starts.");
    const KIND: Param = Param::choice("kind", &["clean", "valve"], 0, "How it works.");
    const KEY: Param = Param::number("key_hz", Unit::Hertz, [0.0, 2000.0], 0.0, "What it hears.");
    const HZ: Param = Param::number("hz", Unit::Hertz, [20.0, 20_000.0], 1000.0, "Where.");
    const SPEC: Spec = Spec {
        name: "thing",
        title: "thing",
        summary: "For tests.",
        source: "",
        caution: "",
        sentence: "a {kind} one above {threshold_db}[; its key is high-passed at {key_hz}]",
        params: &[KIND, THRESHOLD, KEY],
        rows: Some(Rows { name: "bands", singular: "band", params: &[HZ], sentence: "at {hz}, {kind}", most: 4 }),
        outside_key: false,
    };

    #[test]
    fn sentences_state_the_settings_and_leave_out_what_is_at_rest() {
        let settings = Settings::defaults(&SPEC).with_number(&THRESHOLD, -32.5).with_choice(&KIND, "valve");
        assert_eq!(settings.sentence(), "a valve one above -32.5 dB");
        let mut settings = settings.with_number(&KEY, 90.0);
        assert_eq!(settings.sentence(), "a valve one above -32.5 dB; its key is high-passed at 90 Hz");
        let row = settings.add_row();
        settings.set(At { row: Some(row), param: 0 }, Value::Number(6500.0));
        assert_eq!(settings.row_sentences(), ["at 6.5 kHz, valve"]);
    }

    #[test]
    fn values_outside_the_range_become_its_ends_and_what_is_no_value_changes_nothing() {
        let mut settings = Settings::defaults(&SPEC).with_number(&THRESHOLD, -7.0).with_choice(&KIND, "valve");
        let [kind, threshold] = [0, 1].map(|param| At { row: None, param });
        for (given, fit, taken) in [
            (-60.0, Fit::AsGiven, -60.0),
            (12.0, Fit::Clamped, 0.0),
            (f64::NEG_INFINITY, Fit::Clamped, -60.0),
            (f64::NAN, Fit::Refused, -60.0),
        ] {
            assert_eq!(settings.set(threshold, Value::Number(given)), fit, "{given}");
            assert_eq!(settings.number(&THRESHOLD), taken, "{given}");
        }
        for value in [Value::Number(0.0), Value::Choice(2), Value::Switch(false), Value::File(None)] {
            assert_eq!(settings.set(kind, value), Fit::Refused);
        }
        assert_eq!(settings.choice(&KIND), 1);
    }
}
