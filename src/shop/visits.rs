//! Compares one bike's visits: the same reading in each, and whether it rises.

use super::limits::NAME;
use super::prepared::{Archived, PreparedSession};
use crate::phrase::{Reading as Said, ReadingKind};
use crate::review::{limits, plain, short, shown};
use crate::units::{Quantity, Unit};
use serde::Serialize;
use sqlx::Row;
use sqlx::any::AnyRow;
use std::collections::BTreeMap;

/// Differences up to this share of the largest reading count as none. Chosen, no source; a hand-held meter's own error is about as large.
const STEADY: f64 = 0.02;
/// Milliseconds in a year of 365.25 days.
const YEAR_MS: f64 = 365.25 * 86_400_000.0;

/// A session of a bike with the readings that count.
#[derive(Debug, Clone, PartialEq)]
pub struct Visit {
    /// The session.
    pub session: Archived,
    /// Start time, milliseconds since 1970.
    pub began_ms: i64,
    /// Its readings, in order.
    pub readings: Vec<Read>,
}

/// An archived reading, for comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Read {
    /// Name.
    pub name: String,
    /// Loop item. Empty if none.
    pub round: String,
    /// Wall time, RFC 3339.
    pub time: String,
    /// How the user gave it.
    pub kind: ReadingKind,
    /// The number, if there is one.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: Unit,
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
    /// `good`, `bad`, `neither`.
    pub verdict: String,
}

/// A reading as a database row.
pub(super) struct ReadRow {
    pub name: String,
    pub round: String,
    pub time: String,
    pub kind: &'static str,
    pub value: Option<f64>,
    pub unit: Unit,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub verdict: String,
}

/// The names of the kinds, as in the journal.
const KINDS: [(ReadingKind, &str); 4] = [
    (ReadingKind::Plain, "plain"),
    (ReadingKind::About, "about"),
    (ReadingKind::OverRange, "over-range"),
    (ReadingKind::NoReading, "no-reading"),
];

fn name_of(text: &str) -> String {
    plain(text).chars().take(NAME / 4).collect()
}

impl PreparedSession {
    pub(super) fn reading_rows(&self) -> impl Iterator<Item = ReadRow> {
        self.readings.iter().map(|r| ReadRow {
            name: name_of(&r.name),
            round: r.round.as_deref().map(name_of).unwrap_or_default(),
            time: name_of(&r.time),
            kind: KINDS.iter().find(|(kind, _)| *kind == r.kind).map_or("no-reading", |(_, name)| name),
            value: r.value.filter(|v| v.is_finite()),
            unit: r.unit,
            low: r.low.filter(|v| v.is_finite()),
            high: r.high.filter(|v| v.is_finite()),
            verdict: name_of(&r.verdict),
        })
    }
}

impl Read {
    /// The reading in a row. `None` if its kind or unit is unknown.
    pub(super) fn from_row(row: &AnyRow) -> Result<Option<Read>, sqlx::Error> {
        let (kind, unit): (String, String) = (row.try_get("kind")?, row.try_get("unit")?);
        let kind = KINDS.iter().find(|(_, name)| *name == kind).map(|(kind, _)| *kind);
        let (Some(kind), Some(unit)) = (kind, Unit::named(&unit)) else { return Ok(None) };
        Ok(Some(Read {
            name: row.try_get("name")?,
            round: row.try_get("round")?,
            time: row.try_get("time")?,
            kind,
            value: row.try_get("value")?,
            unit,
            low: row.try_get("low")?,
            high: row.try_get("high")?,
            verdict: row.try_get("verdict")?,
        }))
    }

    fn shown(&self) -> String {
        let said = Said { kind: self.kind, value: self.value.unwrap_or(0.0), unit: self.unit, said_unit: None };
        shown(&said, self.unit)
    }
}

/// A comparison of a bike's visits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// The bike's name at the latest visit.
    pub bike: String,
    /// The visits, oldest first.
    pub visits: Vec<Archived>,
    /// Readings taken in more than one visit: those out of limits first, then those that rise, then the rest.
    pub series: Vec<Series>,
    /// Names of readings taken in only one visit.
    pub once: Vec<String>,
}

/// One reading over the visits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// Name.
    pub name: String,
    /// Loop item.
    pub round: Option<String>,
    /// The measured quantity.
    pub quantity: Quantity,
    /// The unit of all its numbers, taken from the latest reading.
    pub unit: Unit,
    /// Lower limit at the latest visit.
    pub low: Option<f64>,
    /// Upper limit at the latest visit.
    pub high: Option<f64>,
    /// The limits in words.
    pub limits: Option<String>,
    /// One point for each visit that has the reading.
    pub points: Vec<Point>,
    /// Its trend.
    pub trend: Trend,
}

/// A reading in one visit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Point {
    /// Index into [`Comparison::visits`].
    pub visit: usize,
    /// Start of the visit, milliseconds since 1970 in UTC.
    pub began_ms: i64,
    /// The value as found: the first reading of the visit, in [`Series::unit`]. `None` if the meter showed no number.
    pub value: Option<f64>,
    /// The value as found, in words.
    pub shown: String,
    /// `good`, `bad`, `neither`.
    pub verdict: String,
    /// The value after work: the last reading of the visit in words, if it was read again.
    pub after: Option<String>,
    /// Verdict on that reading.
    pub after_verdict: Option<String>,
}

/// The direction of a trend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// It rises or stays from visit to visit.
    Rises,
    /// It falls or stays from visit to visit.
    Falls,
    /// It stays.
    Stays,
    /// It goes up and down.
    Varies,
}

/// The trend of a reading as found, from visit to visit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trend {
    /// Its direction.
    pub way: Way,
    /// Change from the first visit to the last.
    pub change: f64,
    /// Change per year: the median of the slopes between all pairs of visits (Theil 1950, Sen 1968). Needs three visits.
    pub per_year: Option<f64>,
    /// In words.
    pub words: String,
}

/// Readings with one name: the index of each visit that has some, and its readings in order.
type Group<'a> = Vec<(usize, Vec<&'a Read>)>;

/// Compares visits, which come oldest first.
pub fn compare(visits: Vec<Visit>) -> Comparison {
    let mut groups: BTreeMap<(String, String, Quantity), Group<'_>> = BTreeMap::new();
    for (at, visit) in visits.iter().enumerate() {
        for reading in &visit.readings {
            let key = (reading.name.clone(), reading.round.clone(), reading.unit.quantity());
            let group = groups.entry(key).or_default();
            match group.last_mut() {
                Some((last, readings)) if *last == at => readings.push(reading),
                _ => group.push((at, vec![reading])),
            }
        }
    }
    let (mut series, mut once) = (Vec::new(), Vec::new());
    for ((name, round, quantity), group) in groups {
        let round = Some(round).filter(|round| !round.is_empty());
        match one(&visits, &name, &round, quantity, &group) {
            Some(found) => series.push(found),
            None => once.push(titled(&name, round.as_deref())),
        }
    }
    let out =
        |s: &Series| s.points.last().is_some_and(|p| p.verdict == "bad" || p.after_verdict.as_deref() == Some("bad"));
    series.sort_by_key(|s| (!out(s), s.trend.way));
    Comparison {
        bike: visits.last().map(|visit| visit.session.bike.clone()).unwrap_or_default(),
        visits: visits.into_iter().map(|visit| visit.session).collect(),
        series,
        once,
    }
}

/// `part drop, key`
pub(super) fn titled(name: &str, round: Option<&str>) -> String {
    let name = name.replace('_', " ");
    round.map_or_else(|| name.clone(), |round| format!("{name}, {round}"))
}

fn one(
    visits: &[Visit],
    name: &str,
    round: &Option<String>,
    quantity: Quantity,
    group: &[(usize, Vec<&Read>)],
) -> Option<Series> {
    let latest = group.last()?.1.last()?;
    let unit = latest.unit;
    let point = |(visit, readings): &(usize, Vec<&Read>)| {
        let first = readings.first()?;
        let again = readings.last().filter(|_| readings.len() > 1);
        Some(Point {
            visit: *visit,
            began_ms: visits.get(*visit)?.began_ms,
            value: first.value.and_then(|v| first.unit.convert(v, unit)).filter(|v| v.is_finite()),
            shown: first.shown(),
            verdict: first.verdict.clone(),
            after: again.map(|last| last.shown()),
            after_verdict: again.map(|last| last.verdict.clone()),
        })
    };
    let points: Vec<Point> = group.iter().filter_map(point).collect();
    let values: Vec<(i64, f64)> = points.iter().filter_map(|p| p.value.map(|v| (p.began_ms, v))).collect();
    let trend = trend(&values, unit)?;
    let (low, high) = (latest.low, latest.high);
    Some(Series {
        name: name.to_owned(),
        round: round.clone(),
        quantity,
        unit,
        low,
        high,
        limits: limits(low, high, unit.name()),
        points,
        trend,
    })
}

/// The trend of values over time. `None` for fewer than two.
fn trend(values: &[(i64, f64)], unit: Unit) -> Option<Trend> {
    let ((_, first), (_, last)) = (values.first()?, values.get(1..)?.last()?);
    let largest = values.iter().fold(0.0f64, |most, (_, v)| most.max(v.abs()));
    let none = largest * STEADY;
    let change = last - first;
    if !change.is_finite() {
        return None;
    }
    let steps = || values.windows(2).map(|pair| pair[1].1 - pair[0].1);
    let way = if values.iter().all(|(_, v)| (v - first).abs() <= none) {
        Way::Stays
    } else if change > none && steps().all(|step| step >= -none) {
        Way::Rises
    } else if change < -none && steps().all(|step| step <= none) {
        Way::Falls
    } else {
        Way::Varies
    };
    let per_year = if values.len() > 2 { slope(values) } else { None };
    let from_to = format!("from {} to {} {unit}", short(*first), short(*last));
    let rate = per_year.map_or_else(String::new, |rate| format!(", {} {unit} a year", signed(rate)));
    let words = match way {
        Way::Rises => format!("rises {from_to}{rate}"),
        Way::Falls => format!("falls {from_to}{rate}"),
        Way::Stays => format!("stays at {} {unit}", short(*last)),
        Way::Varies => format!("varies, {from_to}"),
    };
    Some(Trend { way, change, per_year, words })
}

fn signed(value: f64) -> String {
    let sign = if value > 0.0 { "+" } else { "" };
    format!("{sign}{}", short(value))
}

/// The median of the slopes of all pairs, per year.
fn slope(values: &[(i64, f64)]) -> Option<f64> {
    let mut slopes: Vec<f64> = values
        .iter()
        .enumerate()
        .flat_map(|(at, (from, a))| {
            values[at + 1..].iter().map(move |(to, b)| (b - a) / ((to - from) as f64) * YEAR_MS)
        })
        .filter(|slope| slope.is_finite())
        .collect();
    slopes.sort_by(f64::total_cmp);
    let middle = slopes.len() / 2;
    match slopes.len() {
        0 => None,
        n if n % 2 == 1 => Some(slopes[middle]),
        _ => Some(slopes[middle - 1] / 2.0 + slopes[middle] / 2.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const YEAR: i64 = 31_557_600_000;

    #[test]
    fn a_drop_that_grows_is_said_to() {
        let grows = trend(&[(0, 0.05), (YEAR, 0.11), (2 * YEAR, 0.21)], Unit::Volt).unwrap();
        assert_eq!(grows.way, Way::Rises);
        assert!((grows.per_year.unwrap() - 0.08).abs() < 1e-9, "median of 0.06, 0.08, 0.10");
        assert_eq!(grows.words, "rises from 0.05 to 0.21 V, +0.08 V a year");
        let way = |values: &[f64]| {
            let values: Vec<(i64, f64)> = values.iter().enumerate().map(|(at, v)| (at as i64 * YEAR, *v)).collect();
            trend(&values, Unit::Volt).unwrap().way
        };
        assert_eq!(way(&[12.6, 12.58, 12.62]), Way::Stays);
        assert_eq!(way(&[12.6, 12.0, 11.4]), Way::Falls);
        assert_eq!(way(&[0.1, 0.5, 0.1]), Way::Varies);
        assert_eq!(way(&[0.0, 0.0]), Way::Stays);
        assert!(trend(&[(0, 1.0)], Unit::Volt).is_none());
        assert!(trend(&[(0, -f64::MAX), (1, f64::MAX)], Unit::Volt).is_none(), "no number holds the change");
    }

    proptest! {
        #[test]
        fn any_values_have_a_trend_or_none(values in proptest::collection::vec((any::<i32>(), any::<f64>()), 0..8)) {
            let mut values: Vec<(i64, f64)> = values.into_iter().map(|(t, v)| (i64::from(t), v)).filter(|(_, v)| v.is_finite()).collect();
            values.sort_by_key(|(t, _)| *t);
            if let Some(trend) = trend(&values, Unit::Volt) {
                prop_assert!(trend.change.is_finite() && trend.per_year.is_none_or(f64::is_finite));
            }
        }
    }
}
