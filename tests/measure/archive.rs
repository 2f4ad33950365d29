//! Measures searches in an archive of 100,000 invented sessions, on SQLite and on PostgreSQL. `cargo run --release --features shop
//! --example archive [SESSIONS]`.
//!
//! The program creates the archive. Rows with twelve readings each are then inserted by the thousand, because creating and verifying that
//! many folders would take hours. They have no journals; no search reads them. Every search makes the same calls as the command and the
//! pages. PROBESIDE_SEED repeats the random choices.

#[path = "../shop/postgres.rs"]
mod postgres;

use probeside::shop::{Archive, Mode, Query, compare};
use sqlx::{AnyConnection, Connection, Executor};
use std::error::Error;
use std::time::Instant;

/// Sessions in the archive.
const SESSIONS: usize = 100_000;
/// Readings in each session.
const READINGS: usize = 12;
/// Searches of each kind.
const ROUNDS: usize = 200;
/// Rows inserted in one transaction.
const BATCH: usize = 2_000;
/// Days over which the sessions are spread: ten years.
const DAYS: usize = 3_650;

const MAKES: [&str; 8] = ["Borage", "Fennel", "Comfrey", "Chervil", "Tarragon", "Caraway", "Dill", "Hyssop"];
const KINDS: [&str; 4] = ["Twin", "Single", "Twin Estate", "Single Estate"];
const PEOPLE: [&str; 10] = [
    "Marta Quill",
    "Ida Fenn",
    "Jo Marten",
    "Pia Holm",
    "Sam Reed",
    "Lena Moor",
    "Tove Lind",
    "Ben Ash",
    "Cora Weir",
    "Udo Birk",
];
const PARTS: [&str; 10] = [
    "key switch",
    "kill switch",
    "main feed",
    "left coil",
    "right coil",
    "points wire",
    "condenser",
    "ground path",
    "fuse",
    "connector",
];
const NAMES: [&str; 8] = [
    "part_drop",
    "rest_voltage",
    "coil_feed",
    "points_drop",
    "points_gap",
    "primary_resistance",
    "secondary_resistance",
    "ground_drop",
];

fn bike(dice: &mut fastrand::Rng) -> String {
    // Some 3,000 bikes, each with its own number plate.
    let make = dice.usize(..MAKES.len());
    format!("{} {} AB {:03}", MAKES[make], KINDS[dice.usize(..KINDS.len())], dice.usize(..96))
}

/// One session's row and its readings, as SQL values.
fn rows(at: usize, of: usize, dice: &mut fastrand::Rng) -> (String, String) {
    let mark = i64::try_from(dice.u64(..) >> 1).unwrap_or_default();
    let ms = 1_480_000_000_000 + (at * DAYS / of) as i64 * 86_400_000 + dice.i64(0..40_000_000);
    let time = jiff::Timestamp::from_millisecond(ms).expect("a time of our days").to_string();
    let day = time[..10].replace('-', "");
    let (bike, person) = (bike(dice), PEOPLE[dice.usize(..PEOPLE.len())]);
    let part = PARTS[dice.usize(..PARTS.len())];
    let cause = format!("The {part} loses {}.{} volts: it conducts badly.", dice.u8(..3), dice.u8(1..10));
    let bad = if dice.u8(..10) < 6 { dice.usize(1..3) } else { 0 };
    let outside: Vec<&str> = (0..bad).map(|_| NAMES[dice.usize(..NAMES.len())]).collect();
    let hash = format!("{:064x}", dice.u128(..));
    let session = format!(
        "({mark}, '{hash}', '{hash}', '{hash}', '1234 5678', 900, 1, '', '{time}-{at}', '{time}', '{time}', {ms}, {day}, 1, '{bike}', '{}', \
         '23450 km', 'Dies when warm.', '{person}', '{}', 'no-spark', 'part-resistive', '{cause}', '{} part-resistive', \
         'Clean or replace it.', {READINGS}, {bad}, '{}', '{time}')",
        bike.to_lowercase(),
        person.to_lowercase(),
        cause.to_lowercase(),
        outside.join(" ")
    );
    let readings: Vec<String> = (0..READINGS)
        .map(|place| {
            let name = outside.get(place).copied().unwrap_or(NAMES[place % NAMES.len()]);
            let (verdict, value) = if place < bad { ("bad", 0.7) } else { ("good", 0.05) };
            let value = value + dice.f64() / 50.0;
            format!("({mark}, {place}, '{name}', 'left', '{time}', 'plain', {value}, 'V', NULL, 0.18, '{verdict}')")
        })
        .collect();
    (session, readings.join(", "))
}

async fn fill(url: &str, sessions: usize, dice: &mut fastrand::Rng) -> Result<(), Box<dyn Error>> {
    sqlx::any::install_default_drivers();
    let mut database = AnyConnection::connect(url).await?;
    for begin in (0..sessions).step_by(BATCH) {
        let mut work = database.begin().await?;
        let batch: Vec<_> = (begin..(begin + BATCH).min(sessions)).map(|at| rows(at, sessions, dice)).collect();
        // A statement may hold some hundred rows: SQLite limits its length to 1,000,000 bytes.
        for some in batch.chunks(100) {
            let (first, second): (Vec<&str>, Vec<&str>) = some.iter().map(|(s, r)| (s.as_str(), r.as_str())).unzip();
            work.execute(format!("INSERT INTO session VALUES {}", first.join(", ")).as_str()).await?;
            work.execute(format!("INSERT INTO reading VALUES {}", second.join(", ")).as_str()).await?;
        }
        work.commit().await?;
    }
    // Both databases do this by themselves after a while.
    database.execute("ANALYZE").await?;
    if database.backend_name() == "PostgreSQL" {
        database.execute("VACUUM").await?;
    }
    database.close().await?;
    Ok(())
}

type Asked = fn(&mut fastrand::Rng) -> Vec<(&'static str, String)>;

const SEARCHES: [(&str, Asked); 11] = [
    ("newest first", |_| vec![]),
    ("bike, one make", |dice| vec![("bike", MAKES[dice.usize(..MAKES.len())].to_owned())]),
    ("bike, one number plate", |dice| vec![("bike", bike(dice))]),
    ("person", |dice| vec![("person", PEOPLE[dice.usize(..PEOPLE.len())].to_owned())]),
    ("cause, one part", |dice| vec![("cause", PARTS[dice.usize(..PARTS.len())].to_owned())]),
    ("cause, a word that none has", |dice| vec![("cause", format!("sabotage{}", dice.u8(..)))]),
    ("one month", |dice| {
        let month = format!("20{}-{:02}", dice.u8(17..26), dice.u8(1..13));
        vec![("from", month.clone()), ("to", month)]
    }),
    ("any reading out of limits", |_| vec![("out", "any".to_owned())]),
    ("one reading out of limits", |dice| vec![("out", NAMES[dice.usize(..NAMES.len())].to_owned())]),
    ("all five together", |dice| {
        let year = 2017 + dice.u32(..9);
        vec![
            ("bike", MAKES[dice.usize(..MAKES.len())].to_owned()),
            ("person", PEOPLE[dice.usize(..PEOPLE.len())].to_owned()),
            ("cause", PARTS[dice.usize(..PARTS.len())].to_owned()),
            ("from", year.to_string()),
            ("to", year.to_string()),
            ("out", NAMES[dice.usize(..NAMES.len())].to_owned()),
        ]
    }),
    ("a page from the middle", |dice| {
        let ms = 1_480_000_000_000 + dice.i64(0..DAYS as i64) * 86_400_000;
        vec![("before", format!("{ms}.0000000000000000"))]
    }),
];

async fn measure(name: &str, archive: &Archive, dice: &mut fastrand::Rng) -> Result<(), Box<dyn Error>> {
    for (kind, asked) in SEARCHES {
        let (mut taken, mut found) = (Vec::new(), 0);
        for _ in 0..ROUNDS {
            let fields = asked(dice);
            let query = Query::read(fields.iter().map(|(n, v)| (*n, v.as_str())))?;
            let began = Instant::now();
            found += archive.find(&query).await?.sessions.len();
            taken.push(began.elapsed().as_secs_f64() * 1e3);
        }
        print(name, kind, &mut taken, found);
    }
    let (mut taken, mut found) = (Vec::new(), 0);
    for _ in 0..ROUNDS {
        let bike = bike(dice);
        let began = Instant::now();
        found += compare(archive.visits(&bike).await?).visits.len();
        taken.push(began.elapsed().as_secs_f64() * 1e3);
    }
    print(name, "one bike's visits compared", &mut taken, found);
    Ok(())
}

fn print(name: &str, kind: &str, taken: &mut [f64], found: usize) {
    taken.sort_by(f64::total_cmp);
    println!(
        "| {name} | {kind} | {:.1} | {:.1} | {:.1} |",
        taken[taken.len() / 2],
        taken[taken.len() * 95 / 100],
        found as f64 / taken.len() as f64
    );
}

async fn on(name: &str, at: &str, url: &str, sessions: usize, seed: u64) -> Result<(), Box<dyn Error>> {
    let began = Instant::now();
    Archive::open(at, Mode::Write).await?.close().await;
    fill(url, sessions, &mut fastrand::Rng::with_seed(seed)).await?;
    eprintln!("{name}: {sessions} sessions in {:.0} s", began.elapsed().as_secs_f64());
    let archive = Archive::open(at, Mode::Read).await?;
    measure(name, &archive, &mut fastrand::Rng::with_seed(seed + 1)).await?;
    archive.close().await;
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    let sessions = std::env::args().nth(1).map_or(Ok(SESSIONS), |n| n.parse())?;
    let seed =
        std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(|| fastrand::u64(..u64::MAX));
    eprintln!("PROBESIDE_SEED={seed}");
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    println!("| database | search | median, ms | 95 %, ms | found, mean |\n| --- | --- | --- | --- | --- |");
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("archive.db");
    let at = path.to_str().ok_or("a folder with a plain name")?;
    runtime.block_on(on("SQLite", at, &format!("sqlite://{at}"), sessions, seed))?;
    match postgres::Server::start() {
        Some(server) => {
            let url = server.database("archive");
            runtime.block_on(on("PostgreSQL", &url, &url, sessions, seed))?;
        }
        None => eprintln!("no postgresql on this machine; models/setup test installs it"),
    }
    Ok(())
}
