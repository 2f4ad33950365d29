//! A search: its fields and words, from the command line or a page's address, and the SQL text built from them. That text never contains
//! the user's words.

use super::ShopError;
use super::prepared::{day_number, folded, mark_name, mark_named};
use jiff::civil::Date;

/// The fields of a search, each with its description.
pub(super) const FIELDS: [(&str, &str); 8] = [
    ("bike", "words of the bike's name"),
    ("person", "words of the name of who answered"),
    ("cause", "words of the cause, or of the conclusion's id"),
    ("from", "first day: 2026-11-25, 2026-11 or 2026"),
    ("to", "last day, likewise"),
    ("out", "a reading out of its limits: part of its name, or any"),
    ("limit", "most sessions at once, up to 1000"),
    ("before", "goes on after the last session of an earlier page"),
];
/// Most characters in a field, and most words.
const LONGEST: usize = 200;
const MOST_WORDS: usize = 8;
/// Default and maximum number of sessions in one result.
const LIMIT: u32 = 50;
const LIMIT_MOST: u32 = 1_000;
/// Milliseconds in a day.
const DAY_MS: i64 = 86_400_000;
/// The word that matches any reading.
const ANY: &str = "any";

/// A search. All conditions must hold. An empty search finds every session.
#[derive(Debug, Clone, PartialEq)]
pub struct Query {
    /// Words that must all occur in the bike's name, lower case.
    pub bike: Vec<String>,
    /// Words in the person's name.
    pub person: Vec<String>,
    /// Words in the cause or the conclusion's id.
    pub cause: Vec<String>,
    /// First day, as a number: 20261125.
    pub from: Option<i64>,
    /// Last day.
    pub to: Option<i64>,
    /// Part of the name of a reading that is out of limits, or `any`.
    pub out: Option<String>,
    /// Most sessions.
    pub limit: u32,
    /// Only sessions before this one, given by its time in milliseconds since 1970 and its mark.
    pub before: Option<(i64, i64)>,
}

impl Default for Query {
    fn default() -> Self {
        let words = Vec::new;
        Query {
            bike: words(),
            person: words(),
            cause: words(),
            from: None,
            to: None,
            out: None,
            limit: LIMIT,
            before: None,
        }
    }
}

/// A bound value of the SQL text.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    /// Text.
    Text(String),
    /// A number.
    Number(i64),
}

impl Query {
    /// Reads fields by name. An empty value counts as missing.
    ///
    /// ```
    /// use probeside::shop::Query;
    /// let query = Query::read([("bike", "Borage Twin"), ("from", "2026-11"), ("out", "part drop")]).unwrap();
    /// assert_eq!((query.from, query.out.as_deref()), (Some(2026_11_01), Some("part_drop")));
    /// assert!(Query::read([("colour", "red")]).is_err());
    /// ```
    ///
    /// # Errors
    /// A sentence: an unknown or repeated field, an invalid day, too many words.
    pub fn read<'a>(fields: impl IntoIterator<Item = (&'a str, &'a str)>) -> Result<Query, ShopError> {
        let mut query = Query::default();
        let mut seen: Vec<&str> = Vec::new();
        for (name, value) in fields {
            let Some((name, about)) = FIELDS.iter().find(|(known, _)| *known == name) else {
                let known: Vec<&str> = FIELDS.iter().map(|(name, _)| *name).collect();
                let name: String = name.chars().take(40).collect();
                return Err(wrong(format!("a search has no field {name:?}; it has {}", known.join(", "))));
            };
            if seen.contains(name) {
                return Err(wrong(format!("{name} is given twice; give it once")));
            }
            seen.push(name);
            if value.chars().count() > LONGEST {
                return Err(wrong(format!("{name} is longer than {LONGEST} characters; give a word or two of it")));
            }
            let value = value.trim();
            if value.is_empty() {
                continue;
            }
            let bad = || wrong(format!("{name} {value:?} cannot be read; it is {about}"));
            match *name {
                "bike" => query.bike = words(name, value)?,
                "person" => query.person = words(name, value)?,
                "cause" => query.cause = words(name, value)?,
                "from" => query.from = Some(day(value, false).ok_or_else(bad)?),
                "to" => query.to = Some(day(value, true).ok_or_else(bad)?),
                "out" => query.out = Some(folded(value, LONGEST * 4).replace(' ', "_")).filter(|out| !out.is_empty()),
                "limit" => {
                    query.limit = value.parse().ok().filter(|n| (1..=LIMIT_MOST).contains(n)).ok_or_else(bad)?;
                }
                _ => query.before = Some(place(value).ok_or_else(bad)?),
            }
        }
        if let (Some(from), Some(to)) = (query.from, query.to)
            && from > to
        {
            return Err(wrong("the first day comes after the last; exchange from and to".to_owned()));
        }
        Ok(query)
    }

    /// The fields from which [`Query::read`] would build this search.
    pub fn fields(&self) -> Vec<(&'static str, String)> {
        let mut fields = Vec::new();
        for (name, words) in [("bike", &self.bike), ("person", &self.person), ("cause", &self.cause)] {
            if !words.is_empty() {
                fields.push((name, words.join(" ")));
            }
        }
        for (name, day) in [("from", self.from), ("to", self.to)] {
            fields.extend(day.map(|day| (name, day_name(day))));
        }
        fields.extend(self.out.clone().map(|out| ("out", out)));
        if self.limit != LIMIT {
            fields.push(("limit", self.limit.to_string()));
        }
        fields.extend(self.before.map(|(ms, mark)| ("before", format!("{ms}.{}", mark_name(mark)))));
        fields
    }

    /// The condition and order of the search as SQL for both databases, with the values of `$1`, `$2`, ...
    pub(super) fn sql(&self) -> (String, Vec<Value>) {
        let mut values = Vec::new();
        let mut conditions: Vec<String> = Vec::new();
        let mut number = |value: Value| {
            values.push(value);
            format!("${}", values.len())
        };
        for (column, words) in
            [("bike_words", &self.bike), ("person_words", &self.person), ("cause_words", &self.cause)]
        {
            for word in words {
                conditions.push(format!("{column} LIKE {} ESCAPE '!'", number(containing(word))));
            }
        }
        // The index is ordered by time. A local day lies within a day of the same UTC day, and ends a day later.
        for (sign, day, beyond) in [(">=", self.from, -DAY_MS), ("<=", self.to, 2 * DAY_MS)] {
            if let Some(day) = day {
                conditions.push(format!("day {sign} {}", number(Value::Number(day))));
                if let Some(ms) = day_ms(day) {
                    conditions.push(format!("began_ms {sign} {}", number(Value::Number(ms + beyond))));
                }
            }
        }
        match self.out.as_deref() {
            None => {}
            Some(ANY) => conditions.push("outside > 0".to_owned()),
            Some(name) => {
                conditions.push("outside > 0".to_owned());
                conditions.push(format!("outside_words LIKE {} ESCAPE '!'", number(containing(name))));
            }
        }
        if let Some((ms, mark)) = self.before {
            let (ms, same) = (number(Value::Number(ms)), number(Value::Number(ms)));
            conditions
                .push(format!("(began_ms < {ms} OR (began_ms = {same} AND mark < {}))", number(Value::Number(mark))));
        }
        let condition = if conditions.is_empty() { "1 = 1".to_owned() } else { conditions.join(" AND ") };
        let limit = number(Value::Number(i64::from(self.limit) + 1));
        (format!("WHERE {condition} ORDER BY began_ms DESC, mark DESC LIMIT {limit}"), values)
    }
}

fn wrong(what: String) -> ShopError {
    ShopError::Query(what)
}

fn words(name: &str, value: &str) -> Result<Vec<String>, ShopError> {
    let words: Vec<String> =
        folded(value, LONGEST * 4).split(' ').filter(|w| !w.is_empty()).map(str::to_owned).collect();
    if words.len() > MOST_WORDS {
        return Err(wrong(format!("{name} has more than {MOST_WORDS} words; a few are enough")));
    }
    Ok(words)
}

/// The pattern for text that contains this word.
fn containing(word: &str) -> Value {
    let mut pattern = String::from("%");
    for c in word.chars() {
        if matches!(c, '%' | '_' | '!') {
            pattern.push('!');
        }
        pattern.push(c);
    }
    pattern.push('%');
    Value::Text(pattern)
}

/// Start of that day in UTC, milliseconds since 1970.
fn day_ms(day: i64) -> Option<i64> {
    let part = |divisor: i64, of: i64| i8::try_from(day / divisor % of).ok();
    let date = Date::new(i16::try_from(day / 10_000).ok()?, part(100, 100)?, part(1, 100)?).ok()?;
    let since: jiff::Timestamp = format!("{date}T00:00:00Z").parse().ok()?;
    Some(since.as_millisecond())
}

fn day_name(day: i64) -> String {
    format!("{:04}-{:02}-{:02}", day / 10_000, day / 100 % 100, day % 100)
}

/// The first or the last day of a day, a month or a year.
fn day(text: &str, last: bool) -> Option<i64> {
    let digits = |part: &str, count: usize| {
        (part.len() == count && part.bytes().all(|b| b.is_ascii_digit())).then(|| part.parse::<i16>().ok()).flatten()
    };
    let mut parts = text.split('-');
    let year = digits(parts.next()?, 4).filter(|year| *year > 0)?;
    let month =
        parts.next().map(|part| digits(part, 2).and_then(|m| i8::try_from(m).ok()).ok_or(())).transpose().ok()?;
    let of_month =
        parts.next().map(|part| digits(part, 2).and_then(|d| i8::try_from(d).ok()).ok_or(())).transpose().ok()?;
    if parts.next().is_some() {
        return None;
    }
    let first = Date::new(year, month.unwrap_or(if last { 12 } else { 1 }), of_month.unwrap_or(1)).ok()?;
    Some(day_number(if last && of_month.is_none() { first.last_of_month() } else { first }))
}

/// `1764061200000.00ff00ff00ff00ff`
fn place(text: &str) -> Option<(i64, i64)> {
    let (ms, mark) = text.split_once('.')?;
    Some((ms.parse().ok()?, mark_named(mark)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn days_months_and_years() {
        assert_eq!((day("2024-02", false), day("2024-02", true)), (Some(20_240_201), Some(20_240_229)));
        assert_eq!((day("2026", false), day("2026", true)), (Some(20_260_101), Some(20_261_231)));
        assert_eq!(day("2026-11-25", true), Some(20_261_125));
        for bad in ["", "26", "2026-1", "2026-02-30", "2026-13", "2026-11-25-1", "0000", "２０２６", "2026-", "-2026"]
        {
            assert_eq!(day(bad, false), None, "{bad}");
        }
    }

    #[test]
    fn a_day_begins_at_midnight() {
        // `date -u -d 2026-11-25 +%s`
        assert_eq!(day_ms(20_261_125), Some(1_795_564_800_000));
        assert_eq!(day_ms(20_261_131), None);
    }

    #[test]
    fn signs_of_patterns_are_letters_here() {
        let query = Query::read([("bike", "100%_!"), ("out", "part_drop")]).unwrap();
        let (sql, values) = query.sql();
        assert_eq!(values[..2], [Value::Text("%100!%!_!!%".into()), Value::Text("%part!_drop%".into())]);
        assert!(!sql.contains("100"), "{sql}");
    }

    #[test]
    fn what_is_wrong_is_said() {
        let said = |fields: &[(&str, &str)]| Query::read(fields.iter().copied()).unwrap_err().to_string();
        assert!(said(&[("colour", "red")]).contains("it has bike, person, cause"));
        assert!(said(&[("bike", "a"), ("bike", "b")]).contains("twice"));
        assert!(said(&[("from", "soon")]).contains("2026-11-25"));
        assert!(said(&[("from", "2026"), ("to", "2025")]).contains("exchange"));
        assert!(said(&[("limit", "0")]).contains("up to 1000"));
        assert!(said(&[("cause", &"x".repeat(201))]).contains("200"));
        assert!(said(&[("cause", &"x ".repeat(9))]).contains("8 words"));
    }

    proptest! {
        #[test]
        fn any_fields_are_read_or_refused(
            fields in proptest::collection::vec(("(bike|person|cause|from|to|out|limit|before|\\PC{0,8})", "[\\PC\0-\u{1f}]{0,40}"), 0..6)
        ) {
            if let Ok(query) = Query::read(fields.iter().map(|(n, v)| (n.as_str(), v.as_str()))) {
                let (sql, values) = query.sql();
                // The text is the program's own. The user's letters never reach it.
                prop_assert!(sql.bytes().all(|b| b.is_ascii_alphanumeric() || b" _$'!<>=(),".contains(&b)), "{}", sql);
                prop_assert_eq!(sql.matches('$').count(), values.len());
                for value in &values {
                    if let Value::Text(text) = value {
                        prop_assert!(!text.contains('\0'));
                    }
                }
                let again = Query::read(query.fields().iter().map(|(n, v)| (*n, v.as_str())));
                prop_assert_eq!(again.unwrap(), query);
            }
        }

        #[test]
        fn a_search_comes_back(bike in "[a-zß%_!]{1,9}( [a-z0-9]{1,5}){0,3}", from in 1i64..3000, limit in 1u32..1001, ms in any::<i64>(), mark in any::<i64>()) {
            let query = Query {
                bike: bike.split(' ').map(|w| w.to_lowercase()).collect(),
                from: Some(from * 10_000 + 228),
                limit,
                before: Some((ms, mark)),
                ..Query::default()
            };
            let again = Query::read(query.fields().iter().map(|(n, v)| (*n, v.as_str())));
            prop_assert_eq!(again.unwrap(), query);
        }
    }
}
