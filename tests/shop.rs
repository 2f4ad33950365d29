//! The shop's archive: the same suite on SQLite and on PostgreSQL, strangers' sessions, and attacks on the pages it serves.

#[path = "shop/attacks.rs"]
mod attacks;
#[path = "page/browser.rs"]
mod browser;
#[path = "shop/cli.rs"]
mod cli;
#[path = "support/fits.rs"]
mod fits;
#[path = "shop/hostile.rs"]
mod hostile;
#[path = "page/session.rs"]
#[allow(dead_code)]
mod long;
#[path = "shop/postgres.rs"]
mod postgres;
#[path = "shop/sessions.rs"]
mod sessions;
#[path = "shop/suite.rs"]
mod suite;

use std::future::Future;

/// Runs what waits for a database.
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
}
