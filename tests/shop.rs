//! The shop's archive: the same suite on SQLite and PostgreSQL, strangers' sessions, and attacks on the served pages.

#[path = "shop/attacks.rs"]
mod attacks;
#[path = "page/browser.rs"]
mod browser;
#[path = "shop/cli.rs"]
mod cli;
#[path = "support/disk.rs"]
mod disk;
#[path = "shop/files.rs"]
#[cfg(unix)]
mod files;
#[path = "support/fits.rs"]
mod fits;
#[path = "shop/hostile.rs"]
mod hostile;
#[path = "page/session.rs"]
#[allow(dead_code)]
mod long;
#[path = "shop/postgres.rs"]
mod postgres;
#[path = "support/rebuilt.rs"]
mod rebuilt;
#[path = "shop/sessions.rs"]
mod sessions;
#[path = "support/stage.rs"]
#[allow(dead_code)]
mod stage;
#[path = "shop/suite.rs"]
mod suite;
#[path = "support/walked.rs"]
mod walked;

use std::future::Future;

/// Runs a future that waits for a database.
fn wait<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(work)
}

#[test]
fn on_sqlite() {
    let folder = tempfile::tempdir().unwrap();
    suite::all(&|name| folder.path().join(format!("{name}.db")).to_str().unwrap().to_owned());
}

#[test]
fn on_postgresql() {
    let Some(server) = postgres::Server::start() else {
        assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "postgresql is missing; models/setup test installs it");
        eprintln!("skipped: postgresql is missing; models/setup test installs it");
        return;
    };
    suite::all(&|name| server.database(name));
    encrypted(&server);
}

/// Over a network, the connection is encrypted, and only to a server that the named authority vouches for.
fn encrypted(server: &postgres::Server) {
    use probeside::shop::{Archive, Mode, ShopError};
    server.database("encrypted");
    wait(async {
        let url = server.over_tls("encrypted", "ca.pem");
        Archive::open(&url, Mode::Write).await.unwrap().close().await;
        let mut direct: sqlx::AnyConnection = sqlx::Connection::connect(&url).await.unwrap();
        let sql = "SELECT CAST(ssl AS TEXT) AS ssl FROM pg_stat_ssl WHERE pid = pg_backend_pid()";
        let row = sqlx::query(sql).fetch_one(&mut direct).await.unwrap();
        assert_eq!(sqlx::Row::get::<String, _>(&row, "ssl"), "true");
        let error = Archive::open(&server.over_tls("encrypted", "other.pem"), Mode::Read).await.unwrap_err();
        assert!(matches!(&error, ShopError::Database { why, .. } if why.contains("certificate")), "{error}");
    });
}
