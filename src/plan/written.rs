//! The content hash of a plan as its file has it: an older build wrote fewer fields.

use serde::de::{MapAccess, SeqAccess, Visitor};
use serde::ser::{SerializeMap, SerializeSeq};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;

/// JSON with its keys in their order.
enum Raw {
    Null,
    Flag(bool),
    Whole(u64),
    Negative(i64),
    Number(f64),
    Text(String),
    List(Vec<Raw>),
    Keys(Vec<(String, Raw)>),
}

impl Raw {
    fn at(&mut self, name: &str) -> Option<&mut Raw> {
        match self {
            Raw::Keys(keys) => keys.iter_mut().find(|(key, _)| key == name).map(|(_, value)| value),
            _ => None,
        }
    }

    fn each(&mut self, name: &str) -> impl Iterator<Item = &mut Raw> {
        match self.at(name) {
            Some(Raw::List(list)) => list.iter_mut(),
            _ => [].iter_mut(),
        }
    }

    fn clear(&mut self, name: &str) {
        if let Some(value) = self.at(name) {
            *value = Raw::Text(String::new());
        }
    }
}

/// What a plan's content is hashed as, of the text of its file; `None` if that is no JSON.
pub(super) fn bare(text: &str) -> Option<impl Serialize> {
    let mut plan: Raw = serde_json::from_str(text).ok()?;
    plan.clear("id");
    plan.each("stocks").for_each(|stock| stock.each("offcuts").for_each(|o| o.clear("id")));
    Some(plan)
}

impl Serialize for Raw {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self {
            Raw::Null => to.serialize_unit(),
            Raw::Flag(b) => to.serialize_bool(*b),
            Raw::Whole(n) => to.serialize_u64(*n),
            Raw::Negative(n) => to.serialize_i64(*n),
            Raw::Number(n) => to.serialize_f64(*n),
            Raw::Text(text) => to.serialize_str(text),
            Raw::List(list) => {
                let mut out = to.serialize_seq(Some(list.len()))?;
                list.iter().try_for_each(|item| out.serialize_element(item))?;
                out.end()
            }
            Raw::Keys(keys) => {
                let mut out = to.serialize_map(Some(keys.len()))?;
                keys.iter().try_for_each(|(key, value)| out.serialize_entry(key, value))?;
                out.end()
            }
        }
    }
}

impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Raw, D::Error> {
        from.deserialize_any(Reader)
    }
}

struct Reader;

impl<'de> Visitor<'de> for Reader {
    type Value = Raw;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Raw, E> {
        Ok(Raw::Null)
    }

    fn visit_bool<E>(self, b: bool) -> Result<Raw, E> {
        Ok(Raw::Flag(b))
    }

    fn visit_u64<E>(self, n: u64) -> Result<Raw, E> {
        Ok(Raw::Whole(n))
    }

    fn visit_i64<E>(self, n: i64) -> Result<Raw, E> {
        Ok(Raw::Negative(n))
    }

    fn visit_f64<E>(self, n: f64) -> Result<Raw, E> {
        Ok(Raw::Number(n))
    }

    fn visit_str<E>(self, text: &str) -> Result<Raw, E> {
        Ok(Raw::Text(text.into()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<Raw, A::Error> {
        let mut list = Vec::new();
        while let Some(item) = from.next_element()? {
            list.push(item);
        }
        Ok(Raw::List(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<Raw, A::Error> {
        let mut keys = Vec::new();
        while let Some(entry) = from.next_entry()? {
            keys.push(entry);
        }
        Ok(Raw::Keys(keys))
    }
}
