//! Does the schema that editors use say the same as the loader?

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use boundwalk::load::{TABLES, schema, starter};
use jsonschema::Validator;
use serde_json::Value;

mod load_cases;

fn parsed() -> Value {
    serde_json::from_str(schema()).expect("the schema is JSON")
}

fn validator() -> Validator {
    jsonschema::draft202012::options()
        .should_validate_formats(true)
        .build(&parsed())
        .expect("a schema")
}

/// TOML as the editors' plug-ins hand it to a validator: dates become strings.
fn json(value: &toml::Value) -> Value {
    match value {
        toml::Value::String(text) => Value::from(text.as_str()),
        toml::Value::Integer(number) => Value::from(*number),
        toml::Value::Float(number) => Value::from(*number),
        toml::Value::Boolean(flag) => Value::from(*flag),
        toml::Value::Datetime(date) => Value::from(date.to_string()),
        toml::Value::Array(items) => items.iter().map(json).collect(),
        toml::Value::Table(table) => Value::Object(
            table
                .iter()
                .map(|(key, value)| (key.clone(), json(value)))
                .collect(),
        ),
    }
}

fn instance(text: &str) -> Option<Value> {
    let table: toml::Table = text.parse().ok()?;
    Some(json(&toml::Value::Table(table)))
}

fn refusals(validator: &Validator, instance: &Value) -> Vec<String> {
    validator
        .iter_errors(instance)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect()
}

/// All site files that come with the program, whatever there is.
fn shipped_sites() -> Vec<PathBuf> {
    let mut found = Vec::new();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut open = vec![root.join("examples"), root.join("policies/kettle-lane")];
    while let Some(folder) = open.pop() {
        let Ok(entries) = std::fs::read_dir(&folder) else {
            continue;
        };
        for entry in entries {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                open.push(path);
            } else if path.file_name().is_some_and(|name| name == "site.toml") {
                found.push(path);
            }
        }
    }
    found
}

#[test]
fn the_schema_is_one() {
    assert!(jsonschema::meta::is_valid(&parsed()));
    assert_eq!(
        parsed()["$schema"],
        "https://json-schema.org/draft/2020-12/schema"
    );
}

#[test]
fn good_sites_pass() {
    let validator = validator();
    let mut texts = vec![
        ("the starter".to_owned(), starter().to_owned()),
        ("the base".to_owned(), load_cases::BASE.to_owned()),
    ];
    for path in shipped_sites() {
        let text = std::fs::read_to_string(&path).expect("a file");
        texts.push((path.display().to_string(), text));
    }
    for (name, text) in texts {
        let instance = instance(&text).expect("TOML");
        assert_eq!(
            refusals(&validator, &instance),
            Vec::<String>::new(),
            "{name}"
        );
    }
}

/// The marks of the cases are exact: what is not marked is beyond a schema.
#[test]
fn the_schema_refuses_the_mistakes_it_can_see() {
    let validator = validator();
    let mut compared = 0;
    let mut wrong = Vec::new();
    for case in load_cases::cases() {
        let Some(instance) = instance(&case.site()) else {
            continue;
        };
        if validator.is_valid(&instance) == case.schema {
            let refusals = refusals(&validator, &instance);
            wrong.push(format!("{}:\n{}\n{refusals:?}", case.kind, case.text));
        }
        compared += 1;
    }
    assert!(
        wrong.is_empty(),
        "{} marks are wrong:\n{}",
        wrong.len(),
        wrong.join("\n\n")
    );
    assert!(compared > 100, "{compared}");
}

/// Keys and required keys of one kind of table.
type Shape = (Vec<String>, Vec<String>);

#[test]
fn schema_and_loader_take_the_same_keys() {
    let root = parsed();
    let mut in_schema = BTreeMap::new();
    collect(&root, &root, String::new(), &mut in_schema);
    let mut in_loader: BTreeMap<String, Shape> = BTreeMap::new();
    for keys in TABLES {
        let mut all: Vec<String> = keys.all().map(str::to_owned).collect();
        all.sort();
        let mut required: Vec<String> = keys.required.iter().map(|key| (*key).to_owned()).collect();
        required.sort();
        in_loader.insert(keys.path.to_owned(), (all, required));
    }
    assert_eq!(
        in_schema.keys().collect::<Vec<_>>(),
        in_loader.keys().collect::<Vec<_>>()
    );
    for (path, shape) in &in_schema {
        assert_eq!(Some(shape), in_loader.get(path), "the table at {path:?}");
    }
}

/// Every table with keys of its own, by path as in [`boundwalk::load::Keys::path`].
fn collect(root: &Value, schema: &Value, path: String, found: &mut BTreeMap<String, Shape>) {
    let schema = resolve(root, schema);
    if let Some(properties) = schema["properties"].as_object() {
        assert_eq!(
            schema["additionalProperties"], false,
            "{path} must refuse unknown keys"
        );
        let mut all: Vec<String> = properties.keys().cloned().collect();
        all.sort();
        let mut required: Vec<String> = schema["required"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(Value::as_str)
            .map(str::to_owned)
            .collect();
        required.sort();
        for (key, value) in properties {
            let below = if path.is_empty() {
                key.clone()
            } else {
                format!("{path}.{key}")
            };
            collect(root, value, below, found);
        }
        found.insert(path, (all, required));
    } else if schema["additionalProperties"].is_object() {
        collect(
            root,
            &schema["additionalProperties"],
            format!("{path}.*"),
            found,
        );
    } else if schema["items"].is_object() {
        collect(root, &schema["items"], format!("{path}[]"), found);
    }
}

fn resolve<'s>(root: &'s Value, schema: &'s Value) -> &'s Value {
    match schema["$ref"]
        .as_str()
        .and_then(|reference| reference.strip_prefix("#/$defs/"))
    {
        Some(name) => resolve(root, &root["$defs"][name]),
        None => schema,
    }
}

#[test]
fn every_key_is_described() {
    fn walk(root: &Value, schema: &Value, path: &str) {
        for (key, value) in schema["properties"].as_object().into_iter().flatten() {
            let described =
                value["description"].is_string() || resolve(root, value)["description"].is_string();
            assert!(described, "{path}.{key} has no description");
            walk(root, resolve(root, value), &format!("{path}.{key}"));
        }
        for below in ["additionalProperties", "items"] {
            if schema[below].is_object() {
                walk(
                    root,
                    resolve(root, &schema[below]),
                    &format!("{path}.{below}"),
                );
            }
        }
    }
    let root = parsed();
    walk(&root, &root, "");
}
