//! The JSON Schema of the sheet, for editors that complete and check while one types.
//!
//! It says what a schema can: keys, types, ranges, words, defaults. What needs the whole sheet (names that must exist,
//! points in order, loops) only [`crate::read`] can say. A TOML file is the same tree as the JSON it describes.

use serde_json::{Map, Value, json};
use units::{Kind, Param, Spec, Unit};

use crate::keys::{self, Form, Group, Key, Takes};

/// JSON Schema (draft 2020-12) of a recall sheet that may use the processors of a catalogue.
#[must_use]
pub fn schema(catalogue: &[&'static Spec]) -> Value {
    let mut definitions = Map::new();
    let mut root = group(&keys::SHEET, &mut definitions);
    definitions.insert("time".to_owned(), time());
    definitions.insert("link".to_owned(), link(catalogue));
    for spec in catalogue {
        definitions.insert(processor_name(spec.name), processor(spec));
    }
    root["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    root["title"] = json!("Fairprint recall sheet");
    root["$defs"] = Value::Object(definitions);
    root
}

/// The object of a group; groups inside it are added to the definitions.
fn group(group: &Group, definitions: &mut Map<String, Value>) -> Value {
    let properties: Map<String, Value> =
        group.keys.iter().map(|key| (key.name.to_owned(), property(key, definitions))).collect();
    let required: Vec<&str> = group.keys.iter().filter(|key| key.required).map(|key| key.name).collect();
    let mut object = json!({
        "type": "object",
        "description": group.sentence,
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    });
    if group.exactly_one {
        object["minProperties"] = json!(1);
        object["maxProperties"] = json!(1);
    }
    object
}

fn property(key: &Key, definitions: &mut Map<String, Value>) -> Value {
    let mut value = match key.takes {
        Takes::Param(kind) => {
            let mut value = param_value(kind);
            if key.required {
                value.as_object_mut().and_then(|value| value.remove("default"));
            }
            value
        }
        Takes::Whole { options, default, .. } => {
            let mut value = json!({ "enum": options });
            if let Some(default) = default {
                value["default"] = json!(default);
            }
            value
        }
        Takes::Text(form) => text(form),
        Takes::Time => json!({ "$ref": "#/$defs/time" }),
        Takes::NameOf(_) => json!({ "type": "string", "minLength": 1 }),
        Takes::NamesOf(_) | Takes::LinksOfPrint => {
            json!({ "type": "array", "minItems": 1, "items": { "type": "string", "minLength": 1 } })
        }
        Takes::Table(inner) => reference(inner, definitions),
        Takes::Tables(inner) => json!({ "type": "array", "items": reference(inner, definitions) }),
        Takes::Processor(name) => json!({ "$ref": format!("#/$defs/{}", processor_name(name)) }),
        Takes::Chain => json!({ "type": "array", "items": { "$ref": "#/$defs/link" } }),
        Takes::Codecs => json!({ "type": "array", "items": { "type": "string", "pattern": codecs() } }),
        Takes::Points => json!({ "type": "array", "minItems": 1, "items": {
            "type": "array",
            "prefixItems": [{ "$ref": "#/$defs/time" }, { "type": "number" }],
            "minItems": 2,
            "maxItems": 2,
        } }),
    };
    let unit = match key.takes {
        Takes::Param(Kind::Number { unit, .. }) | Takes::Whole { unit, .. } => unit,
        _ => Unit::Plain,
    };
    value["description"] = json!(described(key.sentence, unit));
    value
}

fn reference(inner: &Group, definitions: &mut Map<String, Value>) -> Value {
    let object = group(inner, definitions);
    definitions.insert(inner.name.to_owned(), object);
    json!({ "$ref": format!("#/$defs/{}", inner.name) })
}

fn described(sentence: &str, unit: Unit) -> String {
    match unit.symbol() {
        "" => sentence.to_owned(),
        symbol => format!("{sentence} In {symbol}."),
    }
}

fn param_value(kind: Kind) -> Value {
    match kind {
        Kind::Number { low, high, default, .. } => {
            json!({ "type": "number", "minimum": low, "maximum": high, "default": default })
        }
        Kind::Choice { options, default } => {
            // Words that are numbers may be written as numbers.
            let numbers = options.iter().filter_map(|word| word.parse::<f64>().ok()).map(|number| json!(number));
            let words: Vec<Value> = options.iter().map(|word| json!(word)).chain(numbers).collect();
            json!({ "enum": words, "default": options[default] })
        }
        Kind::Switch { default } => json!({ "type": "boolean", "default": default }),
        // Relative, with `/`, and never upwards.
        Kind::File => json!({
            "type": "string",
            "pattern": r"^(?!\s*$)(?![/~])(?![A-Za-z]:)(?!\.\.(/|$))(?!.*/\.\.(/|$))[^\\\u0000-\u001f]+$",
        }),
    }
}

fn text(form: Form) -> Value {
    let pattern = match form {
        Form::Any => r"\S",
        Form::Name => r"^\S(.*\S)?$",
        Form::Isrc => "^[A-Z]{2}[A-Z0-9]{3}[0-9]{7}$",
        Form::Date => "^[0-9]{4}-[0-9]{2}-[0-9]{2}$",
        Form::TimeSignature => "^[0-9]+/(1|2|4|8|16|32)$",
        Form::RideTarget => r"^(level_db|trim_db|pan_percent|send .+\.level_db|[^.]+\..+)$",
        Form::Pattern => return param_value(Kind::File),
    };
    json!({ "type": "string", "pattern": pattern })
}

fn time() -> Value {
    json!({
        "description": "A time: m:ss.fff, seconds, bar|beat, a section's name, or a section's name + a time.",
        "anyOf": [{ "type": "number", "minimum": 0 }, { "type": "string", "minLength": 1 }],
    })
}

fn codecs() -> String {
    let one = |(codec, rates): &(&str, &[u32])| {
        let rates = rates.iter().map(u32::to_string).collect::<Vec<_>>().join("|");
        format!("{codec} ({rates})")
    };
    format!("^({})$", keys::CODECS.iter().map(one).collect::<Vec<_>>().join("|"))
}

/// One processor of a chain, whichever it is.
fn link(catalogue: &[&'static Spec]) -> Value {
    let any = catalogue.iter().map(|spec| {
        let mut properties = Map::new();
        properties.insert(spec.name.to_owned(), json!({ "$ref": format!("#/$defs/{}", processor_name(spec.name)) }));
        properties.insert(keys::OFF.name.to_owned(), property(&keys::OFF, &mut Map::new()));
        json!({
            "type": "object",
            "properties": properties,
            "required": [spec.name],
            "additionalProperties": false,
        })
    });
    json!({ "description": "A processor and its parameters.", "anyOf": any.collect::<Vec<_>>() })
}

fn processor_name(name: &str) -> String {
    format!("processor {name}")
}

fn processor(spec: &Spec) -> Value {
    let mut properties = params(spec.params);
    if let Some(rows) = spec.rows {
        let row = json!({ "type": "object", "properties": params(rows.params), "additionalProperties": false });
        let description = format!("One {} each.", rows.singular);
        properties.insert(
            rows.name.to_owned(),
            json!({ "type": "array", "maxItems": rows.most, "items": row, "description": description }),
        );
    }
    if spec.outside_key {
        properties.insert(keys::OUTSIDE_KEY.name.to_owned(), property(&keys::OUTSIDE_KEY, &mut Map::new()));
    }
    json!({
        "type": "object",
        "title": spec.title,
        "description": spec.summary,
        "properties": properties,
        "additionalProperties": false,
    })
}

fn params(params: &[Param]) -> Map<String, Value> {
    let one = |param: &Param| {
        let mut value = param_value(param.kind);
        let unit = if let Kind::Number { unit, .. } = param.kind { unit } else { Unit::Plain };
        value["description"] = json!(described(param.sentence, unit));
        (param.name.to_owned(), value)
    };
    params.iter().map(one).collect()
}
