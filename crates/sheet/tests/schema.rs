//! The schema and the reference hold what the definitions hold.
//!
//! The schema itself was held against an outside validator (the Python package `jsonschema` 4.26, draft 2020-12): it is
//! a valid schema, accepts `cases/whole.toml`, and for every case of this folder refuses exactly those whose faults a
//! schema can see.

mod fixture;

use serde_json::Value;

fn walk<'a>(value: &'a Value, see: &mut impl FnMut(&'a Value)) {
    see(value);
    match value {
        Value::Object(entries) => entries.values().for_each(|entry| walk(entry, see)),
        Value::Array(items) => items.iter().for_each(|item| walk(item, see)),
        _ => {}
    }
}

#[test]
fn every_reference_of_the_schema_leads_somewhere() {
    let schema = sheet::schema(fixture::CATALOGUE);
    let mut references = 0;
    walk(&schema, &mut |value| {
        if let Some(Value::String(target)) = value.get("$ref") {
            let name = target.strip_prefix("#/$defs/").expect("references stay inside");
            assert!(schema["$defs"].get(name).is_some(), "{target}");
            references += 1;
        }
    });
    assert!(references > 20, "{references}");
}

#[test]
fn every_key_of_the_schema_is_described_and_ranges_have_units() {
    let schema = sheet::schema(fixture::CATALOGUE);
    let mut keys = 0;
    walk(&schema, &mut |value| {
        let Some(Value::Object(properties)) = value.get("properties") else { return };
        for (name, property) in properties {
            keys += 1;
            let described = property.get("description").is_some() || property.get("$ref").is_some();
            assert!(described, "{name} lacks a description: {property}");
        }
        assert_eq!(value["additionalProperties"], false);
    });
    assert!(keys > 80, "{keys}");
    let threshold = &schema["$defs"]["processor compressor"]["properties"]["threshold_db"];
    assert_eq!(threshold["minimum"], -60.0);
    assert_eq!(threshold["default"], -20.0);
    assert!(threshold["description"].as_str().unwrap_or("").ends_with("In dB."), "{threshold}");
    let files = &schema["$defs"]["files"]["properties"];
    assert_eq!(files["bits"]["default"], 24);
    assert!(files["format"].get("default").is_none(), "what must be there has no default");
    assert_eq!(schema["properties"]["fairprint"]["enum"], serde_json::json!([1]));
    assert_eq!(schema["required"], serde_json::json!(["fairprint", "song"]));
}

#[test]
fn the_reference_names_every_key_and_parameter() {
    let text = sheet::reference(fixture::CATALOGUE);
    let groups = [&sheet::keys::SHEET, &sheet::keys::SONG, &sheet::keys::STEM, &sheet::keys::PRINT, &sheet::keys::RIDE];
    for key in groups.iter().flat_map(|group| group.keys) {
        assert!(text.contains(&format!("| `{}` |", key.name)), "{}", key.name);
    }
    for spec in fixture::CATALOGUE {
        assert!(text.contains(&format!("### `{}`", spec.name)));
        for param in spec.params.iter().chain(spec.rows.map_or(&[][..], |rows| rows.params)) {
            assert!(text.contains(&format!("| `{}` |", param.name)), "{} {}", spec.name, param.name);
        }
    }
    assert!(text.contains("| `threshold_db` | -60 to 0 dB | -20 dB |"));
}
