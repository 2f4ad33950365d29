//! Attacks on the pages of `probeside shop serve`, with the real program over real connections.

use super::browser;
use super::long::{self, EVIL};
use super::sessions::{Made, copied};
use super::wait;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use probeside::session::Folder;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const TOKEN: &str = "0123456789abcdef0123456789abcdef";
/// Words that only the archive has.
const SECRET: &str = "Marta Quill";

struct Served {
    child: Child,
    at: SocketAddr,
    folder: tempfile::TempDir,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_probeside"));
    for variable in ["PROBESIDE_ARCHIVE", "PROBESIDE_SHOP_TOKEN"] {
        command.env_remove(variable);
    }
    command
}

/// An archive of three sessions, one of them full of markup and one that does not verify, in a folder with a file that is nobody's business.
fn archive(folder: &Path) -> PathBuf {
    let path = folder.join("archive.db");
    std::fs::write(folder.join("secret.txt"), SECRET).unwrap();
    let evil = folder.join("evil");
    long::write(Folder::create(&evil).unwrap(), 10, 1);
    let good = Made { day: "2025-03-01".into(), drops: vec![0.1], ..Made::default() }.write(folder, "good");
    let bad = copied(&good, &folder.join("bad"));
    let journal = std::fs::read_to_string(bad.join("journal.jsonl")).unwrap();
    std::fs::write(bad.join("journal.jsonl"), journal.replace("T100000-good", "T100000-bad")).unwrap();
    let add = program()
        .args(["shop", "add", "--unverified", "--archive"])
        .arg(&path)
        .args([&evil, &good, &bad])
        .output()
        .unwrap();
    assert!(add.status.success(), "{}", String::from_utf8_lossy(&add.stderr));
    path
}

/// Starts `shop serve` with these arguments, through a shell that first does `before`.
fn served(before: &str, arguments: &[&str], token: Option<&str>) -> Served {
    let folder = tempfile::tempdir().unwrap();
    let path = archive(folder.path());
    let mut command = Command::new("bash");
    command.args([
        "-c",
        &format!("{before} exec \"$@\""),
        "bash",
        env!("CARGO_BIN_EXE_probeside"),
        "shop",
        "serve",
        "--archive",
    ]);
    command.arg(&path).args(arguments).env_remove("PROBESIDE_SHOP_TOKEN").current_dir(folder.path());
    if let Some(token) = token {
        command.env("PROBESIDE_SHOP_TOKEN", token);
    }
    let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let address =
        line.split("http://").nth(1).and_then(|rest| rest.split('/').next()).unwrap_or_else(|| panic!("{line}"));
    let mut at: SocketAddr = address.parse().unwrap();
    if at.ip().is_unspecified() {
        at.set_ip("127.0.0.1".parse().unwrap());
    }
    Served { child, at, folder }
}

/// An answer: its status, its head in small letters, its body.
struct Answer {
    status: u16,
    head: String,
    body: String,
}

impl Served {
    /// Sends bytes and takes everything that comes until the connection ends.
    fn raw(&self, bytes: &[u8]) -> Option<Answer> {
        let mut stream = TcpStream::connect(self.at).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        // The server may have hung up already.
        let _ = stream.write_all(bytes);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let text = String::from_utf8_lossy(&all).into_owned();
        let (head, body) = text.split_once("\r\n\r\n")?;
        let status = head.split(' ').nth(1)?.parse().ok()?;
        Some(Answer { status, head: head.to_lowercase(), body: body.to_owned() })
    }

    fn ask(&self, method: &str, target: &str, headers: &[(&str, &str)]) -> Answer {
        let mut text = format!("{method} {target} HTTP/1.1\r\n");
        if !headers.iter().any(|(name, _)| name.eq_ignore_ascii_case("host")) {
            text += &format!("Host: {}\r\n", self.at);
        }
        for (name, value) in headers {
            text += &format!("{name}: {value}\r\n");
        }
        self.raw((text + "\r\n").as_bytes()).unwrap_or_else(|| panic!("{method} {target:.60}: no answer"))
    }

    fn get(&self, target: &str) -> Answer {
        self.ask("GET", target, &[])
    }

    /// No data of the archive is in the answer, and it is a refusal.
    fn refused(&self, answer: &Answer, what: &str) {
        assert!((400..600).contains(&answer.status), "{what}: {}", answer.status);
        for data in [SECRET, "Borage", "key switch", "root:"] {
            assert!(!answer.body.contains(data), "{what}: {:.200}", answer.body);
        }
    }

    fn alive(&mut self) {
        assert!(self.child.try_wait().unwrap().is_none(), "the server ended");
    }
}

/// The first link to something in a page.
fn link(page: &str, begin: &str) -> String {
    let unescaped = page.replace("&#x2f;", "/");
    let at = unescaped.find(&format!("href=\"{begin}")).unwrap_or_else(|| panic!("no link to {begin}"));
    unescaped[at + 6..].split('"').next().unwrap().to_owned()
}

#[test]
fn pages_show_and_harm_nobody() {
    let served = served("", &["--at", "127.0.0.1:0"], None);
    let list = served.get("/");
    assert_eq!(list.status, 200);
    assert!(list.body.contains(SECRET) && list.body.contains("Not verified.") && list.body.contains("<form"));
    let evil = served.get(&link(&list.body, "/session/"));
    assert_eq!(evil.status, 200);
    assert!(evil.body.contains("Record of a fault search") && evil.body.contains("The archive</a>"));
    let bike = served.get(&link(&list.body, "/bike?"));
    assert_eq!(bike.status, 200);
    assert!(bike.body.contains("class=\"plot\"") && bike.body.contains("part drop, key: "), "{:.300}", bike.body);
    for (name, page) in [
        ("list", &list),
        ("session", &evil),
        ("bike", &bike),
        ("echo", &served.get("/?bike=%3Cscript%3Ealert(1)%3C/script%3E")),
    ] {
        assert!(
            !page.body.contains("<script") && !page.body.contains("<img") && !page.body.contains("onerror=\""),
            "{name}"
        );
        assert!(!page.body.contains("<audio"), "{name}: no voice is served");
        for line in [
            "x-content-type-options: nosniff",
            "x-frame-options: deny",
            "referrer-policy: no-referrer",
            "cache-control: no-store",
            "cross-origin-resource-policy: same-origin",
            "content-security-policy: default-src 'none'; style-src 'sha256-",
            "frame-ancestors 'none'",
            "content-type: text/html; charset=utf-8",
        ] {
            assert!(page.head.contains(line), "{name}: {line} is missing in {}", page.head);
        }
    }
    assert_eq!(served.get("/?bike=Borage&out=any&from=2026").status, 200);
    let wrong = served.get("/?from=soon");
    assert!(wrong.status == 400 && wrong.body.contains("role=\"alert\"") && wrong.body.contains("value=\"soon\""));
    let head = served.ask("HEAD", "/", &[]);
    assert!(head.status == 200 && head.body.is_empty());
    // The words of the evil session stand in its report, as words.
    assert!(EVIL.contains("<script>") && evil.body.contains("&lt;script&gt;"));
}

/// In a real browser: wide and narrow, light and dark, nothing is refused by the pages' own policy, nothing is wider than the window, and
/// axe-core (https://github.com/dequelabs/axe-core, 4.11) finds nothing serious.
#[test]
fn a_browser_takes_the_pages() {
    let axe = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/cache/axe-core/axe.min.js");
    let (Some(_), Ok(axe)) = (browser::program(), std::fs::read_to_string(axe)) else {
        assert!(
            std::env::var_os("PROBESIDE_MUST").is_none(),
            "chromium or axe-core is missing; models/setup test installs it"
        );
        eprintln!("skipped: chromium or axe-core is missing; models/setup test installs it");
        return;
    };
    let served = served("", &["--at", "127.0.0.1:0"], None);
    let list = served.get("/").body;
    let bike = served.get(&link(&list, "/bike?")).body;
    let session = served.get(&link(&list, "/session/")).body;
    let folder = tempfile::tempdir().unwrap();
    let in_browser = |page: &str, script: &str| {
        let file = folder.path().join("page.html");
        std::fs::write(&file, browser::with_script(page, script, false)).unwrap();
        let (report, log) = browser::report(&file, &folder.path().join("home"));
        let told: serde_json::Value = serde_json::from_str(&report).unwrap_or_else(|_| panic!("{report}"));
        (told, log)
    };
    let look = "addEventListener('load', () => console.log('PROBESIDE-REPORT ' + JSON.stringify({
        wide: document.documentElement.scrollWidth <= innerWidth, rule: getComputedStyle(document.querySelector('h2')).borderBottomWidth})));";
    for (name, page) in [("list", list), ("bike", bike), ("session", session)] {
        let (told, log) = in_browser(&page, look);
        assert_eq!(
            (&told["wide"], &told["rule"]),
            (&true.into(), &"2px".into()),
            "{name}: too wide, or without its style"
        );
        let refused: Vec<_> = log.iter().filter(|line| line.contains("Refused") || line.contains("violates")).collect();
        assert!(refused.is_empty(), "{name}: {refused:?}");
        browser::is_accessible(name, &page, &axe);
    }
}

#[test]
fn other_hosts_and_sites_get_nothing() {
    let mut served = served("", &["--at", "127.0.0.1:0"], None);
    let own = served.at.to_string();
    for headers in [
        &[("Host", "evil.test")][..],
        &[("Host", "rebound.evil.test:80")],
        &[("Host", "127.0.0.1.evil.test")],
        &[("Host", "")],
        &[("Host", &own), ("Host", "evil.test")],
        &[("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Mode", "navigate")],
        &[("Sec-Fetch-Site", "same-site")],
        &[("Origin", "http://evil.test")],
        &[("Origin", "null")],
        &[("Origin", "http://localhost:1")],
    ] {
        for target in ["/", "/bike?name=Borage%20Twin%20360"] {
            served.refused(&served.ask("GET", target, headers), &format!("{headers:?}"));
        }
    }
    let by_uri = served.ask("GET", "http://evil.test/", &[]);
    served.refused(&by_uri, "another host in the request's target");
    let without = served.raw(b"GET / HTTP/1.1\r\n\r\n").unwrap();
    served.refused(&without, "no host");
    for method in ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "MKCOL"] {
        let answer = served.ask(method, if method == "CONNECT" { "evil.test:80" } else { "/" }, &[]);
        served.refused(&answer, method);
        assert!(!answer.head.contains("access-control-allow"), "{method}");
    }
    assert_eq!(served.ask("GET", "/", &[("Sec-Fetch-Site", "same-origin")]).status, 200);
    served.alive();
}

#[test]
fn no_path_leads_to_a_file() {
    let mut served = served("", &["--at", "127.0.0.1:0"], None);
    let folder = served.folder.path().to_str().unwrap().to_owned();
    let whole = format!("{folder}/secret.txt");
    let climbs = [
        "/secret.txt",
        "/../secret.txt",
        "/%2e%2e/secret.txt",
        "/..%2fsecret.txt",
        "/..%5csecret.txt",
        "/..%255c..%255csecret.txt",
        "/%252e%252e%252fsecret.txt",
        "/.%00./secret.txt",
        "/session/../../secret.txt",
        "/session/..%2f..%2fsecret.txt",
        "/session/%2e%2e%2f%2e%2e%2fetc%2fpasswd",
        "/session//etc/passwd",
        "/session/0000000000000000",
        "/session/ffffffffffffffff%00",
        "/session/' OR 1=1 --",
        "/session/%27%20OR%201=1%20--",
        "/archive.db",
        "//evil.test/",
        "/bike?name=../../etc/passwd",
        "/bike?name=%27%20OR%20%271%27=%271",
        "/bike?name=%25",
        "/bike?name=",
        "/bike?name=Borage%20Twin%20360&name=x",
        "/bike?file=secret.txt",
        "/?archive=/etc/passwd",
        "/?bike=a&bike=b",
        "/?before=9223372036854775808.0000000000000000",
        "/%c0%ae%c0%ae/secret.txt",
        "/\u{ff0e}\u{ff0e}/secret.txt",
        whole.as_str(),
    ];
    for target in climbs {
        let answer = served.raw(format!("GET {target} HTTP/1.1\r\nHost: {}\r\n\r\n", served.at).as_bytes());
        let Some(answer) = answer else { continue };
        served.refused(&answer, target);
    }
    for odd in ["/?cause=%27%20OR%20%271%27=%271", "/?bike=%ff%fe", "/?bike=%25%25", "/?out=%00"] {
        let answer = served.get(odd);
        assert!(answer.status == 200 || answer.status == 400, "{odd}: {}", answer.status);
        assert!(!answer.body.contains(SECRET) || odd == "/?out=%00", "{odd}: every sign is a letter to look for");
    }
    served.alive();
}

#[test]
fn bound_elsewhere_it_wants_its_token() {
    let folder = tempfile::tempdir().unwrap();
    let path = archive(folder.path());
    let run = |arguments: &[&str], token: Option<&str>| {
        let mut command = program();
        command.args(["shop", "serve", "--archive"]).arg(&path).args(arguments);
        if let Some(token) = token {
            command.env("PROBESIDE_SHOP_TOKEN", token);
        }
        let out = command.stdin(Stdio::null()).output().unwrap();
        (out.status.code(), String::from_utf8_lossy(&out.stderr).into_owned())
    };
    let (code, said) = run(&["--at", "0.0.0.0:0"], None);
    assert!(code == Some(2) && said.contains("give a token"), "{said}");
    let (code, said) = run(&["--at", "0.0.0.0:0"], Some("short"));
    assert!(code == Some(2) && said.contains("at least 20"), "{said}");
    let (code, said) = run(&["--at", "0.0.0.0:0", "--token", TOKEN], None);
    assert!(code == Some(2) && said.contains("--token"), "a token is not taken from the command line: {said}");
    let file = folder.path().join("token");
    std::fs::write(&file, TOKEN).unwrap();
    std::fs::set_permissions(&file, std::os::unix::fs::PermissionsExt::from_mode(0o644)).unwrap();
    let (code, said) = run(&["--at", "0.0.0.0:0", "--token-file", file.to_str().unwrap()], None);
    assert!(code == Some(1) && said.contains("chmod 600"), "{said}");

    let mut served = served("", &["--at", "0.0.0.0:0", "--name", "bench.shop.test"], Some(TOKEN));
    let bearer = format!("Bearer {TOKEN}");
    let basic = |both: &str| format!("Basic {}", STANDARD.encode(both));
    for given in [
        "",
        "Bearer",
        TOKEN,
        &format!("Bearer {}", &TOKEN[1..]),
        &format!("Bearer {TOKEN}0"),
        "Basic =",
        &basic(TOKEN),
        &basic("shop:"),
        &basic("shop:wrong"),
    ] {
        for target in ["/", "/bike?name=Borage%20Twin%20360", "/nothing", "/?token=0123456789abcdef0123456789abcdef"] {
            let headers = if given.is_empty() { vec![] } else { vec![("Authorization", given)] };
            let answer = served.ask("GET", target, &headers);
            served.refused(&answer, given);
            assert!(
                answer.status == 401 && answer.head.contains("www-authenticate: basic"),
                "{given}: {}",
                answer.status
            );
        }
    }
    for given in [&bearer, &basic(&format!("anybody:{TOKEN}"))] {
        let answer = served.ask("GET", "/", &[("Authorization", given)]);
        assert!(answer.status == 200 && answer.body.contains(SECRET));
        assert_eq!(served.ask("GET", "/", &[("Authorization", given), ("Host", "bench.shop.test")]).status, 200);
        served.refused(&served.ask("GET", "/", &[("Authorization", given), ("Host", "evil.test")]), "a rebound name");
        let cross = served.ask("GET", "/", &[("Authorization", given), ("Sec-Fetch-Site", "cross-site")]);
        served.refused(&cross, "cross-site, with the token the browser remembers");
    }
    served.alive();
}

#[test]
fn what_is_large_slow_or_broken_is_hung_up_on() {
    let mut served = served("", &["--at", "127.0.0.1:0"], None);
    let host = format!("Host: {}\r\n", served.at);
    let many: String = (0..200).map(|n| format!("X-{n}: y\r\n")).collect();
    for (what, bytes) in [
        ("a long target", format!("GET /?bike={} HTTP/1.1\r\n{host}\r\n", "x".repeat(8_000))),
        ("a longer target", format!("GET /?bike={} HTTP/1.1\r\n{host}\r\n", "x".repeat(100_000))),
        ("a long header", format!("GET / HTTP/1.1\r\n{host}X: {}\r\n\r\n", "x".repeat(1 << 20))),
        ("many headers", format!("GET / HTTP/1.1\r\n{host}{many}\r\n")),
        ("a body", format!("GET / HTTP/1.1\r\n{host}Content-Length: 5\r\n\r\nhello")),
        ("a huge body", format!("POST / HTTP/1.1\r\n{host}Content-Length: 99999999999\r\n\r\nhello")),
        ("chunks", format!("GET / HTTP/1.1\r\n{host}Transfer-Encoding: chunked\r\n\r\nfffffff\r\n")),
        ("two lengths", format!("GET / HTTP/1.1\r\n{host}Content-Length: 0\r\nContent-Length: 7\r\n\r\n")),
        ("nonsense", "\u{0}\u{1}\u{2} nonsense\r\n\r\n".to_owned()),
        ("another protocol", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".to_owned()),
    ] {
        if let Some(answer) = served.raw(bytes.as_bytes()) {
            served.refused(&answer, what);
        }
    }
    // Whoever sends one byte a second has five seconds for a head.
    let mut slow = TcpStream::connect(served.at).unwrap();
    let began = Instant::now();
    let mut ended = false;
    slow.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
    while began.elapsed() < Duration::from_secs(25) && !ended {
        ended = slow.write_all(b"G").is_err() || slow.read(&mut [0; 512]).is_ok();
    }
    assert!(ended, "a slow head was waited for");
    assert_eq!(served.get("/").status, 200);
    served.alive();
}

/// A thousand connections at once: every one is answered whole, and the server goes on; also where it may open few files.
#[test]
fn a_thousand_at_once() {
    const AT_ONCE: usize = 1_000;
    let _ = Command::new("prlimit").args(["--pid", &std::process::id().to_string(), "--nofile=8192:"]).status();
    for before in ["", "ulimit -n 64;"] {
        let mut served = served(before, &["--at", "127.0.0.1:0"], None);
        let at = served.at;
        let whole = served.get("/").body.len();
        let answered = wait(async move {
            let one = move || async move {
                use tokio::io::{AsyncReadExt, AsyncWriteExt};
                let mut stream = tokio::net::TcpStream::connect(at).await?;
                stream.write_all(format!("GET / HTTP/1.1\r\nHost: {at}\r\n\r\n").as_bytes()).await?;
                let mut all = Vec::new();
                stream.read_to_end(&mut all).await?;
                let at = all.windows(4).position(|w| w == b"\r\n\r\n").unwrap_or(all.len());
                Ok::<usize, std::io::Error>(if all.starts_with(b"HTTP/1.1 200") {
                    all.len().saturating_sub(at + 4)
                } else {
                    0
                })
            };
            let all: Vec<_> = (0..AT_ONCE).map(|_| tokio::spawn(one())).collect();
            let mut answered = 0;
            for one in all {
                answered += usize::from(one.await.unwrap().is_ok_and(|length| length == whole));
            }
            answered
        });
        assert_eq!(answered, AT_ONCE, "answered whole, {before:?}");
        served.alive();
        assert_eq!(served.get("/").status, 200);
    }
}
