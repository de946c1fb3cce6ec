//! Walks a TOML document section by section, remembers which keys it knows and where each setting stood, and collects
//! everything that is wrong instead of stopping at the first.

use std::collections::HashMap;

use slackside::settings::Field;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::decimal::{COUNT, Decimal, DecimalError, Unit};

/// Something wrong at a byte of the text.
pub(super) struct Found {
    pub at: Option<usize>,
    pub key: String,
    pub text: String,
}

/// What reading gathers.
#[derive(Default)]
pub(super) struct Gathered {
    pub problems: Vec<Found>,
    /// The key each setting was written with, and its byte.
    pub places: HashMap<Field, (String, usize)>,
}

impl Gathered {
    pub(super) fn tell(&mut self, at: Option<usize>, key: impl Into<String>, text: impl Into<String>) {
        self.problems.push(Found { at, key: key.into(), text: text.into() });
    }
}

/// One table of the document, or its absence.
pub(super) struct Section<'a, 'i> {
    path: String,
    at: Option<usize>,
    table: Option<&'a DeTable<'i>>,
    known: Vec<String>,
}

impl<'a, 'i> Section<'a, 'i> {
    pub(super) fn root(table: &'a DeTable<'i>) -> Self {
        Self { path: String::new(), at: Some(0), table: Some(table), known: Vec::new() }
    }

    /// The whole key of `name` in this section.
    pub(super) fn key(&self, name: &str) -> String {
        if self.path.is_empty() { name.to_owned() } else { format!("{}.{name}", self.path) }
    }

    /// Whether the document has this section.
    pub(super) const fn is_there(&self) -> bool {
        self.table.is_some()
    }

    /// Where the section begins.
    pub(super) const fn at(&self) -> Option<usize> {
        self.at
    }

    fn get(&mut self, name: &str) -> Option<(&'a Spanned<DeValue<'i>>, usize)> {
        self.known.push(name.to_owned());
        let (key, value) = self.table?.get_key_value(name)?;
        Some((value, key.span().start))
    }

    /// A section within this one. A key of that name which is no table is told.
    pub(super) fn section(&mut self, name: &str, gathered: &mut Gathered) -> Section<'a, 'i> {
        let path = self.key(name);
        let mut section = Section { path, at: None, table: None, known: Vec::new() };
        if let Some((value, at)) = self.get(name) {
            section.at = Some(at);
            section.table = value.get_ref().as_table();
            if section.table.is_none() {
                let text = format!("must be a table, [{}], and is {}", section.path, said(value.get_ref()));
                gathered.tell(Some(at), section.path.clone(), text);
            }
        }
        section
    }

    /// A number whose key ends in one of these units, in the integer unit. Two of them at once are refused. `None` if it is
    /// not there; a stand-in if it is there but bad, which is told.
    pub(super) fn number(
        &mut self,
        name: &str,
        units: &[Unit],
        field: impl Into<Option<Field>>,
        gathered: &mut Gathered,
    ) -> Option<i64> {
        let mut found: Option<(i64, String)> = None;
        let field = field.into();
        for unit in units {
            let short = format!("{name}{}", unit.suffix);
            let Some((value, at)) = self.get(&short) else { continue };
            let key = self.key(&short);
            if let Some((_, earlier)) = &found {
                gathered.tell(Some(at), key, format!("is given together with {earlier}; give one of them"));
                continue;
            }
            let number = match decimal(value.get_ref()) {
                Some(number) => number.and_then(|number| number.in_integer_unit(*unit)),
                None => {
                    let text = format!("must be a number ({}) and is {}", unit.name, said(value.get_ref()));
                    gathered.tell(Some(at), key.clone(), text);
                    Ok(1)
                }
            };
            let number = number.unwrap_or_else(|error| {
                let unit = if *unit == COUNT { String::new() } else { format!(" ({})", unit.name) };
                gathered.tell(Some(at), key.clone(), format!("{}{unit}", error.text()));
                1
            });
            if let Some(field) = field {
                gathered.places.insert(field, (key.clone(), at));
            }
            found = Some((number, key));
        }
        found.map(|(number, _)| number)
    }

    /// As [`number`](Self::number), brought into a smaller type.
    pub(super) fn small<T: TryFrom<i64>>(
        &mut self,
        name: &str,
        units: &[Unit],
        field: impl Into<Option<Field>>,
        gathered: &mut Gathered,
    ) -> Option<T> {
        let field = field.into();
        let number = self.number(name, units, field, gathered)?;
        match T::try_from(number) {
            Ok(value) => Some(value),
            Err(_) => {
                let place = field.and_then(|field| gathered.places.get(&field).cloned());
                let (key, at) = place.map_or((self.key(name), None), |(key, at)| (key, Some(at)));
                let side =
                    if number < 0 { "is below zero: write 0 or more" } else { "is too large to be held: write less" };
                gathered.tell(at, key, side);
                T::try_from(1).ok()
            }
        }
    }

    /// `true` or `false`.
    pub(super) fn flag(&mut self, name: &str, field: Option<Field>, gathered: &mut Gathered) -> Option<bool> {
        let (value, at) = self.get(name)?;
        let key = self.key(name);
        if let Some(field) = field {
            gathered.places.insert(field, (key.clone(), at));
        }
        Some(value.get_ref().as_bool().unwrap_or_else(|| {
            gathered.tell(Some(at), key, format!("must be true or false and is {}", said(value.get_ref())));
            false
        }))
    }

    /// A text.
    pub(super) fn text(&mut self, name: &str, field: Option<Field>, gathered: &mut Gathered) -> Option<&'a str> {
        let (value, at) = self.get(name)?;
        let key = self.key(name);
        if let Some(field) = field {
            gathered.places.insert(field, (key.clone(), at));
        }
        Some(value.get_ref().as_str().unwrap_or_else(|| {
            gathered.tell(Some(at), key, format!("must be a text in quotes and is {}", said(value.get_ref())));
            ""
        }))
    }

    /// One word of a list.
    pub(super) fn word<T: Copy>(
        &mut self,
        name: &str,
        words: &[(&str, T)],
        field: Option<Field>,
        gathered: &mut Gathered,
    ) -> Option<T> {
        let before = gathered.problems.len();
        let at = self.table.and_then(|table| table.get_key_value(name)).map(|(key, _)| key.span().start);
        let text = self.text(name, field, gathered)?;
        if gathered.problems.len() > before {
            return words.first().map(|(_, meaning)| *meaning);
        }
        if let Some((_, meaning)) = words.iter().find(|(word, _)| *word == text) {
            return Some(*meaning);
        }
        let all = words.iter().map(|(word, _)| format!("\"{word}\"")).collect::<Vec<_>>().join(", ");
        gathered.tell(at, self.key(name), format!("is \"{text}\" and must be one of {all}"));
        words.first().map(|(_, meaning)| *meaning)
    }

    /// Tell every key that was not asked for, with the nearest one that was.
    pub(super) fn close(self, gathered: &mut Gathered) {
        for key in self.table.into_iter().flat_map(DeTable::keys) {
            let name = key.get_ref().as_ref();
            if !self.known.iter().any(|known| known == name) {
                let text = match nearest(name, &self.known) {
                    Some(near) => format!("is not a key of these settings; did you mean {}?", self.key(near)),
                    None => format!("is not a key of these settings; known here: {}", self.known.join(", ")),
                };
                gathered.tell(Some(key.span().start), self.key(name), text);
            }
        }
    }
}

/// The known key most like `name`, if any is like it: also one that only lacks its unit.
fn nearest<'k>(name: &str, known: &'k [String]) -> Option<&'k str> {
    if let Some(longer) = known.iter().find(|known| known.starts_with(&format!("{name}_"))) {
        return Some(longer);
    }
    known
        .iter()
        .map(|known| (strsim::jaro_winkler(name, known), known.as_str()))
        .filter(|(likeness, _)| *likeness > 0.8)
        .max_by(|(one, _), (other, _)| one.total_cmp(other))
        .map(|(_, known)| known)
}

fn decimal(value: &DeValue<'_>) -> Option<Result<Decimal, DecimalError>> {
    match value {
        DeValue::Integer(integer) if integer.radix() == 10 => Some(Decimal::parse(integer.as_str())),
        DeValue::Integer(integer) => Some(
            i64::from_str_radix(integer.as_str(), integer.radix())
                .map(Decimal::whole)
                .map_err(|_| DecimalError::OutOfRange),
        ),
        DeValue::Float(float) => Some(Decimal::parse(float.as_str())),
        _ => None,
    }
}

fn said(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text \"{text}\""),
        DeValue::Integer(_) | DeValue::Float(_) => "a number".to_owned(),
        DeValue::Boolean(value) => format!("{value}"),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}
