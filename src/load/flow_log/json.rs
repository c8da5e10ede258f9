//! Records as JSON objects, one a line.

use serde_json::Value;

use super::columns::{Column, Draft};
use super::record::Record;

/// Keys are names of information elements, values numbers or texts; other keys say nothing.
pub(super) fn record(line: &[u8]) -> Result<Record, String> {
    let value: Value = serde_json::from_slice(line).map_err(|error| {
        let text = error.to_string();
        let end = text.find(" at line").unwrap_or(text.len());
        format!("no JSON: {}", &text[..end])
    })?;
    let Value::Object(object) = value else {
        return Err("no JSON object".to_owned());
    };
    let mut draft = Draft::default();
    for (key, value) in &object {
        let Some(column) = Column::named(key.as_bytes()) else {
            continue;
        };
        match value {
            Value::Null => {}
            Value::String(text) => draft.set(column, text.trim().as_bytes())?,
            Value::Number(number) => draft.set(column, number.to_string().as_bytes())?,
            _ => return Err(format!("`{key}` is neither a number nor a text")),
        }
    }
    draft.finish()
}
