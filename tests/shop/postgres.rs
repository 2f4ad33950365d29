//! A PostgreSQL server for the test, from Debian's package. It runs in a temporary folder and is reached through a Unix socket there. If
//! the test runs as root, the server runs as an unprivileged user, because it refuses root. It also listens on loopback, with a certificate
//! from an authority made for the test.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The user whom Debian's package makes.
const USER: &str = "postgres";
/// How long the server may take to begin.
const PATIENCE: Duration = Duration::from_secs(60);

/// A running server; ended when dropped.
pub struct Server {
    child: Child,
    programs: PathBuf,
    folder: tempfile::TempDir,
    port: u16,
}

/// The newest of the installed versions.
fn programs() -> Option<PathBuf> {
    let mut found: Vec<(u32, PathBuf)> = std::fs::read_dir("/usr/lib/postgresql")
        .ok()?
        .filter_map(|entry| {
            let entry = entry.ok()?;
            let version = entry.file_name().to_str()?.parse().ok()?;
            Some((version, entry.path().join("bin"))).filter(|(_, bin)| bin.join("initdb").is_file())
        })
        .collect();
    found.sort();
    found.pop().map(|(_, bin)| bin)
}

fn root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|id| id.stdout == b"0\n")
}

/// A program of the server's, as a user that it accepts.
fn as_user(program: &Path) -> Command {
    if !root() {
        return Command::new(program);
    }
    let mut command = Command::new("setpriv");
    command.args(["--reuid", USER, "--regid", USER, "--clear-groups"]).arg(program);
    command
}

/// Makes an authority `ca.pem`, another one `other.pem`, and the server's key and certificate for `localhost` by the first.
fn certificates(folder: &Path) {
    let openssl = |arguments: &[&str]| {
        let made = Command::new("openssl").args(arguments).current_dir(folder).output().expect("openssl runs");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    };
    let new = ["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"];
    for name in ["ca", "other"] {
        let (key, file, subject) = (format!("{name}.key"), format!("{name}.pem"), format!("/CN={name} of a test"));
        openssl(&[&new[..], &["-keyout", &key, "-out", &file, "-subj", &subject]].concat());
    }
    let by = ["-CA", "ca.pem", "-CAkey", "ca.key", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"];
    let end = ["-addext", "basicConstraints=critical,CA:FALSE", "-keyout", "server.key", "-out", "server.pem"];
    openssl(&[&new[..], &by, &end].concat());
    if root() {
        let owned = Command::new("chown").arg(USER).args(["server.key", "server.pem"]).current_dir(folder).status();
        assert!(owned.expect("chown runs").success());
    }
}

/// A port that nobody has at this moment.
fn free_port() -> u16 {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    listener.local_addr().expect("its address").port()
}

impl Server {
    /// Starts one; none where the package is not installed.
    pub fn start() -> Option<Server> {
        let programs = programs()?;
        let folder = tempfile::Builder::new().prefix("pg").tempdir().expect("a folder for the server");
        if root() {
            let owned = Command::new("chown").arg(USER).arg(folder.path()).status().expect("chown runs");
            assert!(owned.success(), "the user {USER} owns the server's folder");
        }
        let data = folder.path().join("data");
        let made = as_user(&programs.join("initdb"))
            .args(["--username=shop", "--auth=trust", "--encoding=UTF8", "--locale=C", "--no-sync", "--pgdata"])
            .arg(&data)
            .current_dir("/")
            .output()
            .expect("initdb runs");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        certificates(folder.path());
        let port = free_port();
        let file = |option: &str, name: &str| format!("{option}={}", folder.path().join(name).display());
        let log = std::fs::File::create(folder.path().join("log")).expect("a log for the server");
        let child = as_user(&programs.join("postgres"))
            .arg("-D")
            .arg(&data)
            .arg("-k")
            .arg(folder.path())
            .args(["-c", "listen_addresses=127.0.0.1", "-c", "fsync=off", "-c", "max_connections=60", "-c", "ssl=on"])
            .args(["-c", &file("ssl_cert_file", "server.pem"), "-c", &file("ssl_key_file", "server.key")])
            .args(["-p", &port.to_string()])
            .current_dir("/")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .expect("the server starts");
        let server = Server { child, programs, folder, port };
        let began = Instant::now();
        while !server.sql("SELECT 1") {
            let log = || std::fs::read_to_string(server.folder.path().join("log")).unwrap_or_default();
            assert!(began.elapsed() < PATIENCE, "the server does not answer: {}", log());
            std::thread::sleep(Duration::from_millis(100));
        }
        Some(server)
    }

    /// Has a statement carried out; whether it was.
    pub fn sql(&self, statement: &str) -> bool {
        Command::new(self.programs.join("psql"))
            .arg("--host")
            .arg(self.folder.path())
            .args(["--port", &self.port.to_string()])
            .args(["--username=shop", "--dbname=postgres", "--no-psqlrc", "--quiet", "--command", statement])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|status| status.success())
    }

    /// The address of an empty database of this name.
    pub fn database(&self, name: &str) -> String {
        assert!(self.sql(&format!("CREATE DATABASE {name}")), "the database {name} is made");
        let folder = self.folder.path().to_str().expect("a plain path").replace('/', "%2F");
        format!("postgres://shop@localhost:{}/{name}?host={folder}", self.port)
    }

    /// The address of a database over the network, encrypted, the server's certificate checked against this authority.
    #[allow(dead_code)]
    pub fn over_tls(&self, name: &str, authority: &str) -> String {
        let authority = self.folder.path().join(authority).to_str().expect("a plain path").replace('/', "%2F");
        format!("postgres://shop@localhost:{}/{name}?sslmode=verify-full&sslrootcert={authority}", self.port)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // SIGINT: "fast shutdown" (PostgreSQL documentation, 19.5).
        let _ = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        let began = Instant::now();
        while began.elapsed() < Duration::from_secs(20) {
            if !matches!(self.child.try_wait(), Ok(None)) {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
