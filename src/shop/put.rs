//! Adds a session to the archive once, or replaces an earlier state of it, completely or not at all.

use super::archive::failed;
use super::packed::{Failed, journal_of, pack};
use super::prepared::Archived;
use super::{Archive, PreparedSession, ShopError};
use crate::session::chain;
use sqlx::{AnyConnection, Row};

/// The outcome of [`Archive::put`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Put {
    /// The session was new.
    Added,
    /// It replaced a shorter record of the same session, or one that failed verification.
    Replaced,
    /// The same record was already there. Nothing changed.
    Unchanged,
    /// The archive has a longer record of it. Nothing changed.
    Older,
}

const DOING: &str = "adding the session";

const INSERT: &str = "INSERT INTO session (mark, origin, journal_sha256, digest, short, entries, verified, fault, id, began, ended, \
    began_ms, day, finished, bike, bike_words, mileage, complaint, person, person_words, procedure_id, conclusion, cause, cause_words, \
    remedy, readings, outside, outside_words, added) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, \
    $17, $18, $19, $20, $21, $22, $23, $24, $25, $26, $27, $28, $29)";

impl Archive {
    /// Adds a session. `place` is its folder, for messages.
    ///
    /// # Errors
    /// The archive has a different record of this session, or the database fails. Nothing has changed then.
    pub async fn put(&self, session: &PreparedSession, place: &str) -> Result<Put, ShopError> {
        let mut again = true;
        loop {
            match self.try_put(session, place).await {
                // Another bench added the same session, or a copy of it, at the same time.
                Err(Failed::Sql(sqlx::Error::Database(error))) if again && error.is_unique_violation() => again = false,
                Err(Failed::Sql(error)) => return Err(failed(&self.place, DOING, &error)),
                Err(Failed::Shop(error)) => return Err(error),
                Ok(put) => return Ok(put),
            }
        }
    }

    async fn try_put(&self, session: &PreparedSession, place: &str) -> Result<Put, Failed> {
        let mut work = self.pool.begin().await?;
        // A writing statement comes first. It blocks another writer of the same session (in SQLite any other writer).
        sqlx::query("UPDATE session SET added = added WHERE mark = $1")
            .bind(session.row.mark)
            .execute(&mut *work)
            .await?;
        let sha256 = crate::session::sha256_hex(&session.journal);
        let put = match stored(&mut work, session.row.mark).await? {
            None => Put::Added,
            Some(stored) => self.decide(&mut work, session, &sha256, &stored, place).await?,
        };
        if matches!(put, Put::Unchanged | Put::Older) {
            return Ok(put);
        }
        if put == Put::Replaced {
            for sql in [
                "DELETE FROM reading WHERE session = $1",
                "DELETE FROM journal WHERE session = $1",
                "DELETE FROM kept WHERE session = $1",
                "DELETE FROM session WHERE mark = $1",
            ] {
                sqlx::query(sql).bind(session.row.mark).execute(&mut *work).await?;
            }
        }
        insert(&mut work, session, sha256).await?;
        work.commit().await?;
        Ok(put)
    }

    async fn decide(
        &self,
        work: &mut AnyConnection,
        session: &PreparedSession,
        sha256: &str,
        stored: &Stored,
        place: &str,
    ) -> Result<Put, Failed> {
        if stored.origin != session.origin {
            let why = "another session in the archive has the same mark, which does not happen by chance".to_owned();
            return Err(Failed::Shop(ShopError::NotAdded { place: place.to_owned(), why }));
        }
        let same = stored.journal_sha256 == sha256;
        let goes_on = line(&session.hashes, stored.entries) == Some(&stored.digest);
        match (stored.verified, session.row.verified) {
            (true, true) | (false, false) if same => Ok(Put::Unchanged),
            (false, true) => Ok(Put::Replaced),
            (true, false) if same => Ok(Put::Unchanged),
            (true, true) | (false, false) if goes_on => Ok(Put::Replaced),
            (true, true) => {
                let journal = journal_of(work, session.row.mark, &session.row.id).await?;
                let mut hashes = Vec::new();
                chain::scan(&journal, |_, _, hash, fits| {
                    if fits {
                        hashes.push(hash.to_owned());
                    }
                });
                let inside = line(&hashes, session.row.entries) == Some(&session.row.digest);
                if inside { Ok(Put::Older) } else { Err(Failed::Shop(differs(stored, place))) }
            }
            (true, false) | (false, false) => Err(Failed::Shop(differs(stored, place))),
        }
    }
}

fn differs(stored: &Stored, place: &str) -> ShopError {
    ShopError::Differs { place: place.to_owned(), short: stored.short.clone() }
}

/// The hash of the last of the first `entries` lines.
fn line(hashes: &[String], entries: i64) -> Option<&String> {
    usize::try_from(entries).ok()?.checked_sub(1).and_then(|at| hashes.get(at))
}

struct Stored {
    origin: String,
    journal_sha256: String,
    digest: String,
    short: String,
    entries: i64,
    verified: bool,
}

async fn stored(work: &mut AnyConnection, mark: i64) -> Result<Option<Stored>, sqlx::Error> {
    let sql = "SELECT origin, journal_sha256, digest, short, entries, verified FROM session WHERE mark = $1";
    let Some(row) = sqlx::query(sql).bind(mark).fetch_optional(work).await? else { return Ok(None) };
    Ok(Some(Stored {
        origin: row.try_get("origin")?,
        journal_sha256: row.try_get("journal_sha256")?,
        digest: row.try_get("digest")?,
        short: row.try_get("short")?,
        entries: row.try_get("entries")?,
        verified: row.try_get::<i64, _>("verified")? != 0,
    }))
}

async fn insert(
    work: &mut AnyConnection,
    session: &PreparedSession,
    journal_sha256: String,
) -> Result<(), sqlx::Error> {
    let r: &Archived = &session.row;
    let or_empty = |text: &Option<String>| text.clone().unwrap_or_default();
    sqlx::query(INSERT)
        .bind(r.mark)
        .bind(session.origin.clone())
        .bind(journal_sha256)
        .bind(r.digest.clone())
        .bind(r.short.clone())
        .bind(r.entries)
        .bind(i64::from(r.verified))
        .bind(or_empty(&r.fault))
        .bind(r.id.clone())
        .bind(r.began.clone())
        .bind(r.ended.clone())
        .bind(session.began_ms)
        .bind(session.day)
        .bind(i64::from(r.finished))
        .bind(r.bike.clone())
        .bind(session.bike_words.clone())
        .bind(r.mileage.clone())
        .bind(r.complaint.clone())
        .bind(r.person.clone())
        .bind(session.person_words.clone())
        .bind(or_empty(&r.procedure))
        .bind(or_empty(&r.conclusion))
        .bind(or_empty(&r.cause))
        .bind(session.cause_words.clone())
        .bind(or_empty(&r.remedy))
        .bind(r.readings)
        .bind(r.outside)
        .bind(session.outside_words.clone())
        .bind(r.added.clone())
        .execute(&mut *work)
        .await?;
    for (place, reading) in session.reading_rows().enumerate() {
        // A missing number is written as NULL in the SQL text: bound, it would have another type than a present number.
        let numbers = [reading.value, reading.low, reading.high];
        let mut bound = 8;
        let names = numbers.map(|number| match number {
            None => "NULL".to_owned(),
            Some(_) => {
                bound += 1;
                format!("${bound}")
            }
        });
        let sql = format!(
            "INSERT INTO reading (session, place, name, round, time, kind, unit, verdict, value, low, high) \
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8, {})",
            names.join(", ")
        );
        let mut statement = sqlx::query(&sql)
            .bind(r.mark)
            .bind(i64::try_from(place).unwrap_or(i64::MAX))
            .bind(reading.name)
            .bind(reading.round)
            .bind(reading.time)
            .bind(reading.kind)
            .bind(reading.unit.name())
            .bind(reading.verdict);
        for number in numbers.into_iter().flatten() {
            statement = statement.bind(number);
        }
        statement.execute(&mut *work).await?;
    }
    let bytes = |bytes: &[u8]| i64::try_from(bytes.len()).unwrap_or(i64::MAX);
    sqlx::query("INSERT INTO journal (session, bytes, packed) VALUES ($1, $2, $3)")
        .bind(r.mark)
        .bind(bytes(&session.journal))
        .bind(pack(&session.journal))
        .execute(&mut *work)
        .await?;
    for (copy, text) in &session.copies {
        sqlx::query("INSERT INTO copy (sha256, bytes, packed) VALUES ($1, $2, $3) ON CONFLICT (sha256) DO NOTHING")
            .bind(copy.sha256.clone())
            .bind(bytes(text))
            .bind(pack(text))
            .execute(&mut *work)
            .await?;
        sqlx::query("INSERT INTO kept (session, name, sha256) VALUES ($1, $2, $3)")
            .bind(r.mark)
            .bind(copy.name.clone())
            .bind(copy.sha256.clone())
            .execute(&mut *work)
            .await?;
    }
    Ok(())
}
