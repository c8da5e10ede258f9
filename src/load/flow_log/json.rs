//! Records as JSON objects, one a line.

use std::fmt;
use std::io::Write;

use serde::de::{Deserialize, DeserializeSeed};
use serde::de::{Deserializer, Error, IgnoredAny, MapAccess, Visitor};
use serde_json::error::Category;

use super::columns::{Column, Draft};
use super::record::Record;

/// Keys are names of information elements, values numbers or texts; other keys say nothing. Fields go straight into the
/// draft: nothing is allocated.
pub(super) fn record(line: &[u8]) -> Result<Record, String> {
    if !line.starts_with(b"{") {
        return Err("no JSON object".to_owned());
    }
    let Object(draft) = serde_json::from_slice(line).map_err(|error| {
        let text = error.to_string();
        let end = text.rfind(" at line").unwrap_or(text.len());
        match error.classify() {
            // Said by us, of a value.
            Category::Data => text[..end].to_owned(),
            _ => format!("no JSON: {}", &text[..end]),
        }
    })?;
    draft.finish()
}

struct Object(Draft);

impl<'de> Deserialize<'de> for Object {
    fn deserialize<D: Deserializer<'de>>(input: D) -> Result<Self, D::Error> {
        input.deserialize_map(ObjectVisitor)
    }
}

struct ObjectVisitor;

impl<'de> Visitor<'de> for ObjectVisitor {
    type Value = Object;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Object, A::Error> {
        let mut draft = Draft::default();
        while let Some(Key(column)) = map.next_key()? {
            match column {
                Some(column) => map.next_value_seed(Field {
                    column,
                    draft: &mut draft,
                })?,
                None => _ = map.next_value::<IgnoredAny>()?,
            }
        }
        Ok(Object(draft))
    }
}

struct Key(Option<Column>);

impl<'de> Deserialize<'de> for Key {
    fn deserialize<D: Deserializer<'de>>(input: D) -> Result<Self, D::Error> {
        input.deserialize_str(KeyVisitor)
    }
}

struct KeyVisitor;

impl Visitor<'_> for KeyVisitor {
    type Value = Key;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a key")
    }

    fn visit_str<E: Error>(self, name: &str) -> Result<Key, E> {
        Ok(Key(Column::named(name.as_bytes())))
    }
}

/// A value on its way into the draft.
struct Field<'d> {
    column: Column,
    draft: &'d mut Draft,
}

impl<'de> DeserializeSeed<'de> for Field<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, input: D) -> Result<(), D::Error> {
        input.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Field<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a whole number or a text")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<(), E> {
        let text = text.trim_ascii().as_bytes();
        self.draft.set(self.column, text).map_err(E::custom)
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<(), E> {
        let mut digits = [0; 20];
        let mut rest = &mut digits[..];
        write!(rest, "{value}").expect("64 bits have at most 20 digits");
        let length = 20 - rest.len();
        let digits = &digits[..length];
        self.draft.set(self.column, digits).map_err(E::custom)
    }

    /// `null` says nothing.
    fn visit_unit<E: Error>(self) -> Result<(), E> {
        Ok(())
    }
}
