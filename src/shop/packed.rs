//! Compresses stored data, and decompresses it.

use super::ShopError;
use crate::session::{limits, sha256_hex};
use flate2::Compression;
use flate2::read::{ZlibDecoder, ZlibEncoder};
use sqlx::{AnyConnection, Row};
use std::io::Read;

/// Why storing or loading failed, with the database's message separate.
pub(super) enum Failed {
    Sql(sqlx::Error),
    Shop(ShopError),
}

impl From<sqlx::Error> for Failed {
    fn from(error: sqlx::Error) -> Self {
        Self::Sql(error)
    }
}

/// The stored journal. Fails if its hash differs.
pub(super) async fn journal_of(connection: &mut AnyConnection, mark: i64, id: &str) -> Result<Vec<u8>, Failed> {
    let sql = "SELECT journal.packed, session.journal_sha256 FROM journal JOIN session ON session.mark = journal.session \
        WHERE journal.session = $1";
    let row = sqlx::query(sql).bind(mark).fetch_optional(connection).await?;
    let damaged = || Failed::Shop(ShopError::Damaged { session: id.to_owned(), why: "its journal".to_owned() });
    let row = row.ok_or_else(damaged)?;
    let (packed, wanted): (Vec<u8>, String) = (row.try_get("packed")?, row.try_get("journal_sha256")?);
    unpack(&packed, limits::JOURNAL).filter(|bytes| sha256_hex(bytes) == wanted).ok_or_else(damaged)
}

/// Compresses with deflate (RFC 1950).
pub(super) fn pack(bytes: &[u8]) -> Vec<u8> {
    let mut packed = Vec::new();
    // Reading from and writing to memory cannot fail.
    let _ = ZlibEncoder::new(bytes, Compression::default()).read_to_end(&mut packed);
    packed
}

/// Decompresses. `None` if the data is damaged or would exceed `limit`.
pub(super) fn unpack(packed: &[u8], limit: u64) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    ZlibDecoder::new(packed).take(limit + 1).read_to_end(&mut bytes).ok()?;
    (bytes.len() as u64 <= limit).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_packed_comes_back_and_never_larger_than_allowed() {
        let zeros = vec![0u8; 1 << 20];
        let packed = pack(&zeros);
        assert!(packed.len() < 4096);
        assert_eq!(unpack(&packed, 1 << 20).as_deref(), Some(&zeros[..]));
        assert_eq!(unpack(&packed, (1 << 20) - 1), None, "a small packet that swells is refused");
        assert_eq!(unpack(&packed[..packed.len() / 2], 1 << 20), None);
    }
}
