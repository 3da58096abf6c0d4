//! The content hash: of a plan, and of the text of its file, since an older build wrote fewer
//! fields.

use serde::de::{DeserializeSeed, Error as _, MapAccess, SeqAccess, Visitor};
use serde::ser::{Error as _, SerializeMap, SerializeSeq};
use serde::{Deserializer, Serialize, Serializer};
use serde_json::ser::{CharEscape, Formatter};
use sha2::{Digest, Sha256};
use std::cell::Cell;
use std::{fmt, io};

/// The hash of a plan's content, SHA-256, hexadecimal: its id and its offcuts' ids count as empty.
pub(super) fn hashed(plan: &impl Serialize) -> Option<String> {
    let mut hash = Hasher(Sha256::new());
    plan.serialize(&mut serde_json::Serializer::with_formatter(&mut hash, Bare::default())).ok()?;
    Some(hash.0.finalize().iter().map(|b| format!("{b:02x}")).collect())
}

/// The same of the text of a plan's file; `None` if that is no JSON.
pub(super) fn hashed_text(text: &str) -> Option<String> {
    hashed(&Through(Cell::new(Some(&mut serde_json::Deserializer::from_str(text)))))
}

/// Feeds what is written to a hash.
struct Hasher(Sha256);

impl io::Write for Hasher {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Where a value is: in a list, or under a key.
enum Level {
    List,
    Key(String),
}

/// Writes JSON without the ids that are made of the hash.
#[derive(Default)]
struct Bare {
    levels: Vec<Level>,
    is_key: bool,
    is_left_out: bool,
}

impl Bare {
    fn is_at(&self, path: &[Option<&str>]) -> bool {
        let fits = |(level, wanted): (&Level, &Option<&str>)| match level {
            Level::List => wanted.is_none(),
            Level::Key(key) => *wanted == Some(key),
        };
        self.levels.len() == path.len() && self.levels.iter().zip(path).all(fits)
    }
}

impl Formatter for Bare {
    fn begin_array<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        self.levels.push(Level::List);
        w.write_all(b"[")
    }

    fn end_array<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        self.levels.pop();
        w.write_all(b"]")
    }

    fn begin_object<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        self.levels.push(Level::Key(String::new()));
        w.write_all(b"{")
    }

    fn end_object<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        self.levels.pop();
        w.write_all(b"}")
    }

    fn begin_object_key<W: ?Sized + io::Write>(
        &mut self,
        w: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.is_key = true;
        if let Some(Level::Key(key)) = self.levels.last_mut() {
            key.clear();
        }
        if first { Ok(()) } else { w.write_all(b",") }
    }

    fn end_object_key<W: ?Sized + io::Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.is_key = false;
        Ok(())
    }

    fn begin_string<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        const OFFCUT: [Option<&str>; 5] = [Some("stocks"), None, Some("offcuts"), None, Some("id")];
        self.is_left_out = !self.is_key && (self.is_at(&[Some("id")]) || self.is_at(&OFFCUT));
        w.write_all(b"\"")
    }

    fn write_string_fragment<W: ?Sized + io::Write>(
        &mut self,
        w: &mut W,
        part: &str,
    ) -> io::Result<()> {
        if let (true, Some(Level::Key(key))) = (self.is_key, self.levels.last_mut()) {
            key.push_str(part);
        }
        if self.is_left_out { Ok(()) } else { w.write_all(part.as_bytes()) }
    }

    fn write_char_escape<W: ?Sized + io::Write>(
        &mut self,
        w: &mut W,
        escape: CharEscape,
    ) -> io::Result<()> {
        if self.is_left_out {
            return Ok(());
        }
        serde_json::ser::CompactFormatter.write_char_escape(w, escape)
    }
}

/// Writes what a reader reads, value by value: nothing of it is kept.
struct Through<D>(Cell<Option<D>>);

impl<'de, D: Deserializer<'de>> Serialize for Through<D> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let from = self.0.take().ok_or_else(|| S::Error::custom("read twice"))?;
        from.deserialize_any(To(to)).map_err(S::Error::custom)
    }
}

struct To<S>(S);

impl<'de, S: Serializer> Visitor<'de> for To<S> {
    type Value = S::Ok;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E: serde::de::Error>(self) -> Result<S::Ok, E> {
        self.0.serialize_unit().map_err(E::custom)
    }

    fn visit_bool<E: serde::de::Error>(self, b: bool) -> Result<S::Ok, E> {
        self.0.serialize_bool(b).map_err(E::custom)
    }

    fn visit_u64<E: serde::de::Error>(self, n: u64) -> Result<S::Ok, E> {
        self.0.serialize_u64(n).map_err(E::custom)
    }

    fn visit_i64<E: serde::de::Error>(self, n: i64) -> Result<S::Ok, E> {
        self.0.serialize_i64(n).map_err(E::custom)
    }

    fn visit_f64<E: serde::de::Error>(self, n: f64) -> Result<S::Ok, E> {
        self.0.serialize_f64(n).map_err(E::custom)
    }

    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<S::Ok, E> {
        self.0.serialize_str(text).map_err(E::custom)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<S::Ok, A::Error> {
        let mut out = self.0.serialize_seq(None).map_err(A::Error::custom)?;
        while from.next_element_seed(Item(&mut out))?.is_some() {}
        out.end().map_err(A::Error::custom)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<S::Ok, A::Error> {
        let mut out = self.0.serialize_map(None).map_err(A::Error::custom)?;
        while let Some(key) = from.next_key::<String>()? {
            out.serialize_key(&key).map_err(A::Error::custom)?;
            from.next_value_seed(Value(&mut out))?;
        }
        out.end().map_err(A::Error::custom)
    }
}

struct Item<'a, S>(&'a mut S);

impl<'de, S: SerializeSeq> DeserializeSeed<'de> for Item<'_, S> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<(), D::Error> {
        self.0.serialize_element(&Through(Cell::new(Some(from)))).map_err(D::Error::custom)
    }
}

struct Value<'a, S>(&'a mut S);

impl<'de, S: SerializeMap> DeserializeSeed<'de> for Value<'_, S> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<(), D::Error> {
        self.0.serialize_value(&Through(Cell::new(Some(from)))).map_err(D::Error::custom)
    }
}
