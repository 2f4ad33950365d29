//! A real browser: headless chromium without a network. A script in the test reports through the console.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

/// Longest wait for a report; nothing is measured by it.
const PATIENCE: Duration = Duration::from_secs(240);
/// What a report begins with.
const REPORT: &str = "PROBESIDE-REPORT ";

/// The browser's program, or none on this machine.
pub fn program() -> Option<PathBuf> {
    let paths = std::env::var_os("PATH")?;
    let names = ["chromium", "chromium-browser", "google-chrome"];
    std::env::split_paths(&paths).flat_map(|folder| names.map(|name| folder.join(name))).find(|file| file.is_file())
}

fn command(home: &Path) -> Command {
    let mut command = Command::new(program().expect("asked only where there is one"));
    command
        .args(["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"])
        .args(["--disable-background-networking", "--disable-component-update", "--proxy-server=127.0.0.1:9"])
        .args(["--autoplay-policy=no-user-gesture-required", "--enable-logging=stderr", "--log-level=0"])
        .arg(format!("--user-data-dir={}", home.display()))
        .stdin(Stdio::null())
        .stdout(Stdio::null());
    command
}

struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Opens a file and waits for `console.log(REPORT + ...)` in it; what it reported, and everything else the browser logged.
pub fn report(file: &Path, home: &Path) -> (String, Vec<String>) {
    let mut child =
        Ended(command(home).arg(format!("file://{}", file.display())).stderr(Stdio::piped()).spawn().unwrap());
    let lines = BufReader::new(child.0.stderr.take().unwrap());
    let (to, from) = mpsc::channel();
    std::thread::spawn(move || {
        let lines = lines.split(b'\n').map_while(Result::ok);
        lines.map(|line| String::from_utf8_lossy(&line).into_owned()).try_for_each(|line| to.send(line))
    });
    let mut log = Vec::new();
    loop {
        let line = from.recv_timeout(PATIENCE).unwrap_or_else(|_| panic!("the browser reported nothing: {log:#?}"));
        if let Some((_, report)) = line.split_once(REPORT) {
            let end = report.rfind("\", source:").unwrap_or(report.len());
            return (report[..end].to_owned(), log);
        }
        log.push(line);
    }
}

/// Prints a file to PDF.
#[allow(dead_code)]
pub fn pdf(file: &Path, to: &Path, home: &Path) {
    let status = command(home)
        .arg("--no-pdf-header-footer")
        .arg(format!("--print-to-pdf={}", to.display()))
        .arg(format!("file://{}", file.display()))
        .stderr(Stdio::null())
        .status()
        .unwrap();
    assert!(status.success() && to.is_file());
}

/// The page with a script of the test's, whose hash is let into the page's own policy and nothing else; where the script needs more, `free`
/// takes the policy away.
pub fn with_script(page: &str, script: &str, free: bool) -> String {
    use base64::Engine;
    use sha2::Digest;
    let hash = base64::engine::general_purpose::STANDARD.encode(sha2::Sha256::digest(script.as_bytes()));
    let policy = if free { "x-none" } else { "Content-Security-Policy" };
    let page = page.replacen("http-equiv=\"Content-Security-Policy\"", &format!("http-equiv=\"{policy}\""), 1);
    let allowed = format!("default-src &#x27;none&#x27;; script-src &#x27;sha256-{hash}&#x27;");
    let allowed = if page.contains("default-src &#x27;none&#x27;") {
        page.replacen("default-src &#x27;none&#x27;", &allowed, 1)
    } else {
        page
    };
    allowed.replacen("</body>", &format!("<script>{script}</script></body>"), 1)
}

/// Runs axe-core and returns the number of passed rules, the serious faults, and the paper's colour.
const AXE: &str = "async () => {
    const found = await axe.run();
    const bad = found.violations.filter(v => v.impact === 'serious' || v.impact === 'critical');
    const paper = getComputedStyle(document.documentElement).getPropertyValue('--paper');
    return {passes: found.passes.length, paper, bad: bad.map(v => [v.id, v.nodes.slice(0, 3).map(n => n.target.join(' '))])};
}";

/// A script that calls the function `each` under the light and then under the dark palette, and reports both results by their theme.
pub fn in_both_themes(each: &str) -> String {
    format!(
        "addEventListener('load', async () => {{
            const each = {each}, themes = {{}}, styles = [...document.querySelectorAll('style')].map(s => [s, s.textContent]);
            for (const [theme, query] of [['light', 'not all'], ['dark', 'all']]) {{
                for (const [style, text] of styles) style.textContent = text.replaceAll('(prefers-color-scheme: dark)', query);
                themes[theme] = await each();
            }}
            console.log('{REPORT}' + JSON.stringify(themes));
        }});"
    )
}

/// Checks that axe-core finds no serious fault in a page, in either theme. `axe` is its program text.
#[allow(dead_code)]
pub fn is_accessible(name: &str, page: &str, axe: &str) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("page.html");
    std::fs::write(&file, with_script(page, &format!("{axe}\n;{}", in_both_themes(AXE)), true)).unwrap();
    let (report, _) = report(&file, &folder.path().join("home"));
    let told: serde_json::Value = serde_json::from_str(&report).unwrap_or_else(|_| panic!("{name}: {report}"));
    assert_ne!(told["light"]["paper"], told["dark"]["paper"], "{name}: the palette did not change");
    for theme in ["light", "dark"] {
        let told = &told[theme];
        assert!(told["passes"].as_u64().is_some_and(|n| n > 10), "{name}, {theme}: axe did not run: {report}");
        assert_eq!(told["bad"], serde_json::json!([]), "{name}, {theme}");
    }
}
