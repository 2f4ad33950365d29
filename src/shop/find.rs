//! Finds sessions, and retrieves the archived data of one.

use super::packed::{Failed, journal_of, unpack};
use super::prepared::{Archived, folded, mark_named};
use super::query::Value;
use super::shelf::Shelf;
use super::visits::{Read, Visit};
use super::{Archive, Query, ShopError, limits};
use crate::session::{JOURNAL_FILE, limits as session_limits, sha256_hex};
use serde::Serialize;
use sqlx::any::{AnyArguments, AnyRow};
use sqlx::query::Query as Statement;
use sqlx::{Any, Row};
use std::collections::BTreeMap;

/// Columns of [`Archived`].
const COLUMNS: &str = "mark, id, verified, fault, digest, short, entries, began, ended, began_ms, finished, bike, mileage, complaint, \
    person, procedure_id, conclusion, cause, remedy, readings, outside, added";
/// Most visits of one bike to compare: the newest.
const VISITS: i64 = 100;
const DOING: &str = "searching";

/// The result of a search, newest first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SearchResult {
    /// The sessions.
    pub sessions: Vec<Archived>,
    /// Value of [`Query::before`] for the next page, if there are more.
    #[serde(skip)]
    pub next: Option<(i64, i64)>,
    /// Whether there are more.
    pub more: bool,
}

/// The archived data of a session.
#[derive(Debug)]
pub struct Kept {
    /// Its entry in the list.
    pub row: Archived,
    /// Its journal and copies, without audio.
    pub shelf: Shelf,
}

impl Archive {
    /// The sessions that match a search.
    ///
    /// # Errors
    /// The database fails.
    pub async fn find(&self, query: &Query) -> Result<SearchResult, ShopError> {
        let (condition, values) = query.sql();
        // A single index answers the inner search. Only its results are looked up.
        let sql = format!(
            "SELECT {COLUMNS} FROM session WHERE mark IN (SELECT mark FROM session {condition}) ORDER BY began_ms DESC, mark DESC"
        );
        let mut statement = sqlx::query(&sql);
        for value in values {
            statement = bound(statement, value);
        }
        let mut rows = statement.fetch_all(&self.pool).await.map_err(self.failed(DOING))?;
        let limit = query.limit as usize;
        let more = rows.len() > limit;
        rows.truncate(limit);
        let next = match rows.last() {
            Some(last) if more => {
                let number = |name: &str| last.try_get::<i64, _>(name).map_err(self.failed(DOING));
                Some((number("began_ms")?, number("mark")?))
            }
            _ => None,
        };
        let sessions = rows.iter().map(archived).collect::<Result<_, _>>().map_err(self.failed(DOING))?;
        Ok(SearchResult { sessions, next, more })
    }

    /// The sessions with this mark or id, newest first, at most ten.
    ///
    /// # Errors
    /// There is none, or the database fails.
    pub async fn named(&self, name: &str) -> Result<Vec<Archived>, ShopError> {
        let (column, value) = match mark_named(name) {
            Some(mark) => ("mark", Value::Number(mark)),
            // No text in the archive contains this character, and one of the databases rejects it.
            None => ("id", Value::Text(name.replace('\0', " "))),
        };
        let sql =
            format!("SELECT {COLUMNS} FROM session WHERE {column} = $1 ORDER BY began_ms DESC, mark DESC LIMIT 10");
        let rows = bound(sqlx::query(&sql), value).fetch_all(&self.pool).await.map_err(self.failed(DOING))?;
        if rows.is_empty() {
            return Err(ShopError::NoSuchSession(crate::review::plain(name).chars().take(100).collect()));
        }
        rows.iter().map(archived).collect::<Result<_, _>>().map_err(self.failed(DOING))
    }

    /// The archived data of the session with this mark.
    ///
    /// # Errors
    /// There is no such session, its data is damaged, or the database fails.
    pub async fn kept(&self, mark: i64) -> Result<Kept, ShopError> {
        let sql = format!("SELECT {COLUMNS} FROM session WHERE mark = $1");
        let row = sqlx::query(&sql).bind(mark).fetch_optional(&self.pool).await.map_err(self.failed(DOING))?;
        let row = row.ok_or_else(|| ShopError::NoSuchSession(super::mark_name(mark)))?;
        let row = archived(&row).map_err(self.failed(DOING))?;
        let mut connection = self.pool.acquire().await.map_err(self.failed(DOING))?;
        let mut files = BTreeMap::new();
        let journal = journal_of(&mut connection, mark, &row.id).await.map_err(|error| match error {
            Failed::Sql(error) => self.failed(DOING)(error),
            Failed::Shop(error) => error,
        })?;
        files.insert(JOURNAL_FILE.to_owned(), journal);
        let sql = "SELECT kept.name, kept.sha256, copy.packed FROM kept JOIN copy ON copy.sha256 = kept.sha256 WHERE kept.session = $1";
        let copies = sqlx::query(sql).bind(mark).fetch_all(&mut *connection).await.map_err(self.failed(DOING))?;
        for copy in copies {
            let name: String = copy.try_get("name").map_err(self.failed(DOING))?;
            let packed: Vec<u8> = copy.try_get("packed").map_err(self.failed(DOING))?;
            let wanted: String = copy.try_get("sha256").map_err(self.failed(DOING))?;
            let bytes = unpack(&packed, session_limits::COPY).filter(|bytes| sha256_hex(bytes) == wanted);
            let damaged = || ShopError::Damaged { session: row.id.clone(), why: format!("the copy {name}") };
            files.insert(name.clone(), bytes.ok_or_else(damaged)?);
        }
        let place = row.id.clone();
        Ok(Kept { row, shelf: Shelf::of(place, files) })
    }

    /// The visits of the bike with exactly this name (ignoring case), oldest first. At most the newest hundred.
    ///
    /// # Errors
    /// The database fails.
    pub async fn visits(&self, bike: &str) -> Result<Vec<Visit>, ShopError> {
        let words = folded(bike, limits::NAME);
        let inner = "SELECT mark FROM session WHERE bike_words = $1 ORDER BY began_ms DESC, mark DESC LIMIT $2";
        let sql = format!("SELECT {COLUMNS} FROM session WHERE mark IN ({inner}) ORDER BY began_ms, mark");
        let rows = sqlx::query(&sql).bind(words.clone()).bind(VISITS).fetch_all(&self.pool).await;
        let mut visits = Vec::new();
        for row in rows.map_err(self.failed(DOING))? {
            let began_ms = row.try_get("began_ms").map_err(self.failed(DOING))?;
            let session = archived(&row).map_err(self.failed(DOING))?;
            visits.push(Visit { session, began_ms, readings: Vec::new() });
        }
        let sql = format!(
            "SELECT session, name, round, time, kind, value, unit, low, high, verdict FROM reading WHERE session IN ({inner}) \
             ORDER BY session, place"
        );
        let rows =
            sqlx::query(&sql).bind(words).bind(VISITS).fetch_all(&self.pool).await.map_err(self.failed(DOING))?;
        let at: BTreeMap<i64, usize> = visits.iter().enumerate().map(|(at, v)| (v.session.mark, at)).collect();
        for row in &rows {
            let session: i64 = row.try_get("session").map_err(self.failed(DOING))?;
            let visit = at.get(&session).and_then(|at| visits.get_mut(*at));
            let reading = Read::from_row(row).map_err(self.failed(DOING))?;
            if let (Some(visit), Some(reading)) = (visit, reading) {
                visit.readings.push(reading);
            }
        }
        Ok(visits)
    }
}

fn bound<'q>(statement: Statement<'q, Any, AnyArguments<'q>>, value: Value) -> Statement<'q, Any, AnyArguments<'q>> {
    match value {
        Value::Text(text) => statement.bind(text),
        Value::Number(number) => statement.bind(number),
    }
}

fn archived(row: &AnyRow) -> Result<Archived, sqlx::Error> {
    let some = |name: &str| row.try_get::<String, _>(name).map(|text| Some(text).filter(|text| !text.is_empty()));
    Ok(Archived {
        mark: row.try_get("mark")?,
        id: row.try_get("id")?,
        verified: row.try_get::<i64, _>("verified")? != 0,
        fault: some("fault")?,
        digest: row.try_get("digest")?,
        short: row.try_get("short")?,
        entries: row.try_get("entries")?,
        began: row.try_get("began")?,
        ended: row.try_get("ended")?,
        finished: row.try_get::<i64, _>("finished")? != 0,
        bike: row.try_get("bike")?,
        mileage: row.try_get("mileage")?,
        complaint: row.try_get("complaint")?,
        person: row.try_get("person")?,
        procedure: some("procedure_id")?,
        conclusion: some("conclusion")?,
        cause: some("cause")?,
        remedy: some("remedy")?,
        readings: row.try_get("readings")?,
        outside: row.try_get("outside")?,
        added: row.try_get("added")?,
    })
}
