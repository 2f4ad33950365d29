//! The archive as a file: another program's database is never touched, anything but a plain file never blocks, looking creates nothing, and
//! the archive is private.

use super::sessions::Made;
use super::wait;
use sqlx::{AnyConnection, Connection, Executor, Row};
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

/// Set for a copy of this test program that writes to an archive under another umask; its value is the archive's file.
const WRITES: &str = "PROBESIDE_TEST_ARCHIVE";
/// What can be answered at once is answered within this time on a busy machine; what is waited for takes ten seconds.
const AT_ONCE: Duration = Duration::from_secs(8);

fn shop(archive: &str, arguments: &[&str]) -> (i32, String) {
    let began = Instant::now();
    let mut child = Command::new("timeout")
        .args(["60", env!("CARGO_BIN_EXE_probeside"), "shop", "--archive", archive])
        .args(arguments)
        .stdin(std::process::Stdio::null())
        .output()
        .unwrap();
    assert!(began.elapsed() < AT_ONCE, "{archive} {arguments:?}: {:?}", began.elapsed());
    child.stdout.extend(&child.stderr);
    (child.status.code().unwrap(), String::from_utf8_lossy(&child.stdout).into_owned())
}

/// Everything that is asked of an archive.
fn questions(session: &str) -> [Vec<&str>; 4] {
    [vec!["add", session], vec!["find"], vec!["show", "x"], vec!["serve", "--at", "127.0.0.1:0"]]
}

fn sql(file: &Path, statements: &[&str]) {
    sqlx::any::install_default_drivers();
    wait(async {
        let mut direct = AnyConnection::connect(&format!("sqlite://{}?mode=rwc", file.display())).await.unwrap();
        for statement in statements {
            direct.execute(*statement).await.unwrap();
        }
        direct.close().await.unwrap();
    });
}

/// Whose a SQLite file says that it is: bytes 68 to 71 (SQLite's file format, 1.3.14).
fn owner(file: &Path) -> [u8; 4] {
    std::fs::read(file).unwrap()[68..72].try_into().unwrap()
}

#[test]
fn another_programs_database_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let session = Made::default().write(folder.path(), "session");
    sql(&at("shop.db"), &["CREATE TABLE customer (name TEXT)", "INSERT INTO customer VALUES ('Ida Fenn')"]);
    sql(&at("named.db"), &["CREATE TABLE session (x TEXT)", "PRAGMA application_id = 1196444487"]);
    // One that happens to have a table of the same name; one that is kept by the same library.
    sql(&at("same.db"), &["CREATE TABLE session (x TEXT)"]);
    sql(&at("library.db"), &["CREATE TABLE _sqlx_migrations (version BIGINT)", "CREATE TABLE customer (x TEXT)"]);
    sql(&at("wal.db"), &["PRAGMA journal_mode = WAL", "CREATE TABLE customer (name TEXT)"]);
    std::fs::write(at("text.db"), "no database, and longer than the hundred bytes of a header: ".repeat(9)).unwrap();
    std::fs::write(at("short.db"), "SQLite format 3\0").unwrap();
    for name in ["shop.db", "named.db", "same.db", "library.db", "wal.db", "text.db", "short.db"] {
        let before = std::fs::read(at(name)).unwrap();
        for arguments in questions(session.to_str().unwrap()) {
            let (code, said) = shop(at(name).to_str().unwrap(), &arguments);
            assert!(code == 1 && said.contains("is no archive of probeside"), "{name} {arguments:?}: {code} {said}");
            assert!(said.contains("name another with --archive"), "{said}");
            assert_eq!(std::fs::read(at(name)).unwrap(), before, "{name} {arguments:?}");
        }
    }
}

#[test]
fn an_archive_is_named_and_one_that_was_made_before_is_taken() {
    let folder = tempfile::tempdir().unwrap();
    let archive = folder.path().join("archive.db");
    let place = archive.to_str().unwrap();
    let [first, second] = ["2025-03-01", "2026-11-25"]
        .map(|day| Made { day: day.into(), ..Made::default() }.write(folder.path(), day).to_str().unwrap().to_owned());
    assert_eq!(shop(place, &["add", &first]).0, 0);
    assert_eq!(&owner(&archive), b"pbsd");
    // As archives were before: nobody's.
    sql(&archive, &["PRAGMA application_id = 0"]);
    assert_eq!(owner(&archive), [0; 4]);
    assert_eq!(shop(place, &["find"]).0, 0);
    assert_eq!(owner(&archive), [0; 4], "reading changes nothing");
    let (code, said) = shop(place, &["add", &second]);
    assert!(code == 0 && said.contains(": added"), "{said}");
    assert_eq!(&owner(&archive), b"pbsd");
    assert_eq!(shop(place, &["find"]).1.matches("Borage Twin").count(), 2);
    // One that was killed before it held anything.
    std::fs::write(folder.path().join("begun.db"), b"").unwrap();
    assert_eq!(shop(folder.path().join("begun.db").to_str().unwrap(), &["add", &second]).0, 0);
}

#[test]
fn looking_makes_nothing_and_says_so_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let nowhere = folder.path().join("deep/archive.db");
    for place in [nowhere.to_str().unwrap(), folder.path().join("archive.db").to_str().unwrap()] {
        for arguments in &questions("x")[1..] {
            let (code, said) = shop(place, arguments);
            assert!(code == 1 && said.contains("holds no archive yet"), "{arguments:?}: {code} {said}");
        }
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    // Nobody listens at this port: it was free a moment ago.
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    for arguments in questions("x") {
        let (code, said) = shop(&format!("postgres://shop@127.0.0.1:{port}/archive"), &arguments);
        assert!(code == 3 && said.contains("opening the archive did not work"), "{arguments:?}: {code} {said}");
    }
}

#[test]
fn what_is_no_plain_file_is_named_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let session = Made::default().write(folder.path(), "session");
    let at = |name: &str| folder.path().join(name);
    assert!(Command::new("mkfifo").arg(at("pipe")).status().unwrap().success());
    let _listener = std::os::unix::net::UnixListener::bind(at("socket")).unwrap();
    symlink(at("pipe"), at("link")).unwrap();
    symlink("/dev/zero", at("device")).unwrap();
    for (name, kind) in [
        ("pipe", "a pipe"),
        ("socket", "a socket"),
        ("link", "a pipe"),
        ("device", "a device"),
        ("session", "a folder"),
    ] {
        for arguments in questions(session.to_str().unwrap()) {
            let (code, said) = shop(at(name).to_str().unwrap(), &arguments);
            assert!(code == 3 && said.contains(&format!("it is {kind}")), "{name} {arguments:?}: {code} {said}");
        }
    }
    let (code, said) = shop("x", &["serve", "--token-file", at("pipe").to_str().unwrap()]);
    assert!(code == 1 && said.contains("it is a pipe"), "{code} {said}");
    // A link to an archive is one: whoever keeps it laid it.
    assert_eq!(shop(at("archive.db").to_str().unwrap(), &["add", session.to_str().unwrap()]).0, 0);
    symlink(at("archive.db"), at("other.db")).unwrap();
    assert_eq!(shop(at("other.db").to_str().unwrap(), &["find"]).0, 0);
}

/// Not a test by itself: writes to the archive in the process of the test below, and looks at what lies beside it meanwhile.
#[test]
fn the_other_process() {
    let Some(archive) = std::env::var_os(WRITES).map(PathBuf::from) else { return };
    sqlx::any::install_default_drivers();
    wait(async {
        let url = format!("sqlite://{}?mode=rw", archive.display());
        for (mode, beside) in [("DELETE", &["-journal"][..]), ("WAL", &["-wal", "-shm"])] {
            let mut direct = AnyConnection::connect(&url).await.unwrap();
            let row = sqlx::query(&format!("PRAGMA journal_mode = {mode}")).fetch_one(&mut direct).await.unwrap();
            assert_eq!(row.get::<String, _>(0).to_uppercase(), mode);
            direct.execute("BEGIN IMMEDIATE").await.unwrap();
            direct.execute("UPDATE session SET bike = 'Fennel'").await.unwrap();
            for ending in beside {
                let file = PathBuf::from(format!("{}{ending}", archive.display()));
                let mode =
                    std::fs::metadata(&file).unwrap_or_else(|e| panic!("{}: {e}", file.display())).permissions().mode();
                assert_eq!(mode & 0o777, 0o600, "{}", file.display());
            }
            direct.execute("COMMIT").await.unwrap();
            direct.close().await.unwrap();
        }
    });
}

#[test]
fn the_archive_and_what_sqlite_puts_beside_it_are_its_owners_alone() {
    for umask in ["000", "077", "777"] {
        let folder = tempfile::tempdir().unwrap();
        let session = Made::default().write(folder.path(), "session");
        let archive = folder.path().join("kept/shop/archive.db");
        let sh = |script: &str, program: &Path| {
            let mut command = Command::new("sh");
            command
                .args(["-c", &format!("umask {umask}; exec \"$0\" {script}")])
                .arg(program)
                .env("PROBESIDE_ARCHIVE", &archive);
            command
        };
        let added = sh("\"$@\"", Path::new(env!("CARGO_BIN_EXE_probeside")))
            .args(["shop", "add"])
            .arg(&session)
            .output()
            .unwrap();
        assert!(added.status.success(), "{}", String::from_utf8_lossy(&added.stderr));
        let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
        let found = [mode(&archive), mode(archive.parent().unwrap()), mode(&folder.path().join("kept"))];
        assert_eq!(found, [0o600, 0o700, 0o700], "umask {umask}");
        let wrote = sh("--exact files::the_other_process", &std::env::current_exe().unwrap())
            .env(WRITES, &archive)
            .output()
            .unwrap();
        assert!(wrote.status.success(), "umask {umask}: {}", String::from_utf8_lossy(&wrote.stdout));
    }
}

#[test]
fn an_archive_that_others_can_read_is_said_with_the_command_that_mends_it() {
    let folder = tempfile::tempdir().unwrap();
    let session = Made::default().write(folder.path(), "session");
    let archive = folder.path().join("archive.db");
    let place = archive.to_str().unwrap();
    assert!(!shop(place, &["add", session.to_str().unwrap()]).1.contains("can be read by others"));
    std::fs::set_permissions(&archive, std::fs::Permissions::from_mode(0o644)).unwrap();
    let (code, said) = shop(place, &["find"]);
    assert_eq!(code, 0);
    assert_eq!(said.matches(&format!("type: chmod 600 {place}")).count(), 1, "{said}");
}
