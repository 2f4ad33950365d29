//! The requirements for both databases. Each part gets an empty archive.

use super::sessions::{Made, copied, forged, go_on, header, record};
use super::{hostile, wait};
use probeside::session::Record;
use probeside::shop::{Archive, Archived, Mode, PreparedSession, Put, Query, Shelf, ShopError, Way, compare};
use std::collections::BTreeSet;
use std::path::Path;

const NOW: &str = "2026-11-25T12:00:00.000+01:00";

/// Everything; `fresh` names an empty place for an archive.
pub fn all(fresh: &dyn Fn(&str) -> String) {
    for (name, part) in [
        ("twice", twice as fn(&str)),
        ("verified", verified),
        ("visits", visits),
        ("found", found),
        ("random", random),
        ("at_once", at_once),
        ("reading", reading),
        ("newer", newer),
        ("strangers", hostile::on),
    ] {
        eprintln!("part {name}");
        part(&fresh(name));
    }
}

/// Reads a folder.
pub fn prepared(folder: &Path) -> PreparedSession {
    PreparedSession::from(&mut Shelf::in_folder(folder), false, NOW).unwrap()
}

/// Puts a folder in.
pub async fn put(archive: &Archive, folder: &Path) -> Put {
    archive.put(&prepared(folder), &folder.display().to_string()).await.unwrap()
}

async fn every(archive: &Archive) -> Vec<Archived> {
    archive.find(&Query::default()).await.unwrap().sessions
}

/// Importing the same session twice changes nothing; a longer journal of it takes its place; another one is refused.
fn twice(at: &str) {
    let folder = tempfile::tempdir().unwrap();
    let session = Made { drops: vec![0.7, 0.05], ..Made::default() }.write(folder.path(), "a");
    let short = copied(&session, &folder.path().join("short"));
    let fork = copied(&session, &folder.path().join("fork"));
    wait(async {
        let archive = Archive::open(at, Mode::Write).await.unwrap();
        assert_eq!(put(&archive, &session).await, Put::Added);
        let before = every(&archive).await;
        assert_eq!((before.len(), before[0].readings, before[0].outside), (1, 3, 1));
        assert_eq!(put(&archive, &session).await, Put::Unchanged);
        assert_eq!(put(&archive, &copied(&session, &folder.path().join("elsewhere"))).await, Put::Unchanged);
        assert_eq!(every(&archive).await, before);

        go_on(&session, "The switch was replaced.");
        assert_eq!(put(&archive, &session).await, Put::Replaced);
        let after = every(&archive).await;
        assert_eq!(after.len(), 1);
        assert_eq!(after[0].mark, before[0].mark);
        assert!(after[0].entries > before[0].entries && after[0].digest != before[0].digest);
        let mut kept = archive.kept(after[0].mark).await.unwrap();
        let review = probeside::review::gather(&mut kept.shelf).unwrap();
        assert!(review.notes.iter().any(|note| note.what.contains("The switch was replaced.")));
        assert_eq!(put(&archive, &session).await, Put::Unchanged);
        assert_eq!(put(&archive, &short).await, Put::Older, "a copy from before is no news");

        go_on(&fork, "Nothing was done.");
        let prepared = prepared(&fork);
        let error = archive.put(&prepared, "fork").await.unwrap_err();
        assert!(matches!(error, ShopError::Differs { .. }), "{error}");
        assert_eq!(every(&archive).await, after);
        let visits = archive.visits("borage twin").await.unwrap();
        assert_eq!(visits.len(), 1);
        assert_eq!(visits[0].readings.len(), 3, "readings are not there twice");
        archive.close().await;
    });
}

/// What does not verify is refused in the words of `verify`, or marked; a verified record never gives way to one that is not.
fn verified(at: &str) {
    let folder = tempfile::tempdir().unwrap();
    let good = Made::default().write(folder.path(), "good");
    let bad = copied(&good, &folder.path().join("bad"));
    let journal = std::fs::read_to_string(bad.join("journal.jsonl")).unwrap();
    std::fs::write(bad.join("journal.jsonl"), journal.replace("\"value\":0.7", "\"value\":0.1")).unwrap();
    let faults = probeside::review::verify(&mut Shelf::in_folder(&bad), None).unwrap().faults;
    let error = PreparedSession::from(&mut Shelf::in_folder(&bad), false, NOW).unwrap_err().to_string();
    assert!(error.contains(&faults[0].what) && error.contains(&faults[0].place), "{error}");
    let marked = PreparedSession::from(&mut Shelf::in_folder(&bad), true, NOW).unwrap();
    wait(async {
        let archive = Archive::open(at, Mode::Write).await.unwrap();
        assert_eq!(archive.put(&marked, "bad").await.unwrap(), Put::Added);
        assert_eq!(archive.put(&marked, "bad").await.unwrap(), Put::Unchanged);
        let there = every(&archive).await;
        assert!(!there[0].verified && there[0].fault.as_deref().is_some_and(|fault| fault.contains(&faults[0].what)));
        assert_eq!(put(&archive, &good).await, Put::Replaced);
        let there = every(&archive).await;
        assert!(there[0].verified && there[0].fault.is_none());
        assert!(archive.put(&marked, "bad").await.is_err());
        assert_eq!(every(&archive).await, there);
        archive.close().await;
    });
}

/// The drop that grows, side by side.
fn visits(at: &str) {
    let folder = tempfile::tempdir().unwrap();
    let made = [
        ("2024-04-02", vec![0.05], Some(12.7)),
        ("2025-05-10", vec![0.12], None),
        ("2026-11-25", vec![0.31, 0.04], Some(12.68)),
    ];
    wait(async {
        let archive = Archive::open(at, Mode::Write).await.unwrap();
        for (day, drops, rest) in made {
            let session = Made { day: day.into(), drops, rest, ..Made::default() };
            put(&archive, &session.write(folder.path(), day)).await;
        }
        let other = Made { bike: "Borage Twin of the neighbour".into(), drops: vec![9.0], ..Made::default() };
        put(&archive, &other.write(folder.path(), "other")).await;
        let compared = compare(archive.visits(" BORAGE  twin").await.unwrap());
        assert_eq!(compared.visits.len(), 3, "the neighbour's is another bike");
        let days: Vec<&str> = compared.visits.iter().map(|visit| &visit.began[..10]).collect();
        assert_eq!(days, ["2024-04-02", "2025-05-10", "2026-11-25"]);
        let drop = &compared.series[0];
        assert_eq!((drop.name.as_str(), drop.round.as_deref(), drop.trend.way), ("part_drop", Some("key"), Way::Rises));
        let values: Vec<Option<f64>> = drop.points.iter().map(|p| p.value).collect();
        assert_eq!(values, [Some(0.05), Some(0.12), Some(0.31)], "as found, not as it was afterwards");
        assert_eq!(drop.points[2].after.as_deref(), Some("0.04 V"));
        assert_eq!(drop.limits.as_deref(), Some("good up to 0.18 V"));
        // Slopes per year of 365.25 days: 0.0634 over 403 days, 0.1231 over 564, 0.0981 over 967; the median.
        assert!((drop.trend.per_year.unwrap() - 0.26 / 967.0 * 365.25).abs() < 1e-3, "{:?}", drop.trend.per_year);
        let rest = &compared.series[1];
        assert_eq!((rest.name.as_str(), rest.trend.way, rest.points.len()), ("rest_voltage", Way::Stays, 2));
        assert!(archive.visits("fennel").await.unwrap().is_empty());
        archive.close().await;
    });
}

fn query(fields: &[(&str, &str)]) -> Query {
    Query::read(fields.iter().copied()).unwrap()
}

/// Every field alone and together; letters that mean something to a database mean nothing here.
fn found(at: &str) {
    let folder = tempfile::tempdir().unwrap();
    let odd = "100% Größe_! ' \" \\ ; DROP TABLE session; --";
    wait(async {
        let archive = Archive::open(at, Mode::Write).await.unwrap();
        let plain = Made::default();
        let made = [
            plain.clone(),
            Made { bike: "Fennel Single".into(), day: "2026-10-31".into(), drops: vec![0.05], ..plain.clone() },
            Made {
                person: "Ida Fenn".into(),
                day: "2025-01-01".into(),
                rest: Some(11.9),
                drops: vec![],
                ..plain.clone()
            },
            Made { bike: odd.into(), cause: "The ÖLER leaks\u{0}.".into(), day: "2024-02-29".into(), ..plain.clone() },
        ];
        for (at, session) in made.iter().enumerate() {
            put(&archive, &session.write(folder.path(), &format!("s{at}"))).await;
        }
        let days = async |fields: &[(&str, &str)]| -> Vec<String> {
            let found = archive.find(&query(fields)).await.unwrap();
            found.sessions.iter().map(|s| s.began[..10].to_owned()).collect()
        };
        let all = ["2026-11-25", "2026-10-31", "2025-01-01", "2024-02-29"];
        assert_eq!(days(&[]).await, all, "the newest first");
        for (fields, wanted) in [
            (&[("bike", "fennel")][..], &all[1..2]),
            (&[("bike", "TWIN borage")], &[all[0], all[2]]),
            (&[("person", "fenn")], &all[2..3]),
            (&[("cause", "key switch")], &all[..3]),
            (&[("cause", "PART-resistive öler")], &all[3..]),
            (&[("from", "2025-01-01"), ("to", "2026-10-31")], &all[1..3]),
            (&[("from", "2026")], &all[..2]),
            (&[("to", "2024-02")], &all[3..]),
            (&[("out", "any")], &[all[0], all[2], all[3]]),
            (&[("out", "part drop")], &[all[0], all[3]]),
            (&[("out", "rest")], &all[2..3]),
            (&[("out", "part"), ("bike", "borage"), ("from", "2026"), ("cause", "0.7")], &all[..1]),
            (&[("bike", "%")], &all[3..]),
            (&[("bike", "_")], &all[3..]),
            (&[("bike", "!")], &all[3..]),
            (&[("bike", "'")], &all[3..]),
            (&[("bike", "\\")], &all[3..]),
            (&[("bike", "größe")], &all[3..]),
            (&[("bike", "drop table session;")], &all[3..]),
            (&[("bike", "nothing")], &[]),
            (&[("out", "p_rt")], &[]),
        ] {
            assert_eq!(days(fields).await, wanted, "{fields:?}");
        }
        assert_eq!(archive.named("2026-11-25T100000-s0").await.unwrap().len(), 1);
        for none in ["2026", "'; --", "\0", "0000000000000000", "../../etc/passwd"] {
            assert!(matches!(archive.named(none).await, Err(ShopError::NoSuchSession(_))), "{none:?}");
        }
        assert_eq!(archive.visits(odd).await.unwrap().len(), 1);
        archive.close().await;
    });
}

/// Random sessions and searches, against the same search done plainly; and page by page, nothing twice and nothing lost.
fn random(at: &str) {
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(|| fastrand::u64(..));
    eprintln!("PROBESIDE_SEED={seed}");
    let mut dice = fastrand::Rng::with_seed(seed);
    let folder = tempfile::tempdir().unwrap();
    let bikes = ["Borage Twin", "Borage Single", "Fennel Single"];
    let people = ["Marta Quill", "Ida Fenn", "Jo Marten"];
    let causes = ["The key switch loses volts.", "The coil is open.", "The points are burnt."];
    let made: Vec<Made> = (0..40)
        .map(|_| Made {
            bike: bikes[dice.usize(..3)].into(),
            person: people[dice.usize(..3)].into(),
            cause: causes[dice.usize(..3)].into(),
            // Few days, so that some share one and the mark has to decide their order.
            day: format!("2026-{:02}-{:02}", dice.u8(1..4), dice.u8(1..4)),
            drops: if dice.bool() { vec![f64::from(dice.u8(0..40)) / 100.0] } else { vec![] },
            rest: dice.bool().then(|| f64::from(dice.u8(110..130)) / 10.0),
        })
        .collect();
    wait(async {
        let archive = Archive::open(at, Mode::Write).await.unwrap();
        for (at, session) in made.iter().enumerate() {
            put(&archive, &session.write(folder.path(), &format!("r{at}"))).await;
        }
        for _ in 0..100 {
            let mut fields: Vec<(&str, String)> = Vec::new();
            let word = |dice: &mut fastrand::Rng, of: &[&str]| -> String {
                let words: Vec<&str> = of[dice.usize(..of.len())].split(' ').collect();
                words[dice.usize(..words.len())].to_owned()
            };
            for (name, of) in [("bike", &bikes), ("person", &people), ("cause", &causes)] {
                if dice.u8(..3) == 0 {
                    fields.push((name, word(&mut dice, of)));
                }
            }
            let (from, to) =
                (format!("2026-{:02}-{:02}", dice.u8(1..4), dice.u8(1..4)), format!("2026-{:02}", dice.u8(1..4)));
            if dice.u8(..3) == 0 && from[..7] <= to[..] {
                fields.extend([("from", from.clone()), ("to", to.clone())]);
            }
            if dice.u8(..3) == 0 {
                fields.push(("out", ["any", "drop", "rest", "o"][dice.usize(..4)].to_owned()));
            }
            let get = |name: &str| fields.iter().find(|(n, _)| *n == name).map(|(_, v)| v.to_lowercase());
            let has = |text: &str, name: &str| get(name).is_none_or(|word| text.to_lowercase().contains(&word));
            let fits = |m: &&Made| {
                has(&m.bike, "bike")
                    && has(&m.person, "person")
                    && has(&format!("{} part-resistive", m.cause), "cause")
                    && get("from").is_none_or(|from| m.day >= from)
                    && get("to").is_none_or(|to| m.day[..7] <= to[..])
                    && get("out").is_none_or(|out| m.out(&out))
            };
            let wanted = made.iter().filter(fits).count();
            let limit = dice.u32(1..20);
            fields.push(("limit", limit.to_string()));
            let mut ask = Query::read(fields.iter().map(|(n, v)| (*n, v.as_str()))).unwrap();
            let (mut marks, mut last) = (BTreeSet::new(), "9999".to_owned());
            loop {
                let page = archive.find(&ask).await.unwrap();
                assert!(page.sessions.len() <= limit as usize);
                for session in &page.sessions {
                    assert!(session.began <= last, "{fields:?}: not in order");
                    last.clone_from(&session.began);
                    assert!(marks.insert(session.mark), "{fields:?}: {} twice", session.id);
                }
                assert_eq!(page.more, page.next.is_some());
                match page.next {
                    Some(next) => ask.before = Some(next),
                    None => break,
                }
            }
            assert_eq!(marks.len(), wanted, "{fields:?}");
        }
        archive.close().await;
    });
}

/// Eight benches begin the archive together, and put in the same and different sessions.
fn at_once(at: &str) {
    let folder = tempfile::tempdir().unwrap();
    let shared = Made::default().write(folder.path(), "shared");
    let benches: Vec<_> = (0..8)
        .map(|bench| {
            let own = Made { day: format!("2026-01-{:02}", bench + 1), ..Made::default() };
            let own = own.write(folder.path(), &format!("own{bench}"));
            let (at, shared) = (at.to_owned(), shared.clone());
            std::thread::spawn(move || {
                wait(async {
                    let archive = Archive::open(&at, Mode::Write).await.unwrap();
                    let first = put(&archive, &shared).await;
                    assert_eq!(put(&archive, &own).await, Put::Added);
                    archive.close().await;
                    first
                })
            })
        })
        .collect();
    let firsts: Vec<Put> = benches.into_iter().map(|bench| bench.join().unwrap()).collect();
    assert_eq!(firsts.iter().filter(|put| **put == Put::Added).count(), 1, "{firsts:?}");
    assert_eq!(firsts.iter().filter(|put| **put == Put::Unchanged).count(), 7, "{firsts:?}");
    wait(async {
        let archive = Archive::open(at, Mode::Read).await.unwrap();
        assert_eq!(every(&archive).await.len(), 9);
        archive.close().await;
    });
}

/// What is opened for reading cannot be written, by the database's own refusal; what is not there is not made.
fn reading(at: &str) {
    let folder = tempfile::tempdir().unwrap();
    let session = prepared(&Made::default().write(folder.path(), "a"));
    wait(async {
        assert!(matches!(Archive::open(at, Mode::Read).await, Err(ShopError::NoArchive { .. })));
        Archive::open(at, Mode::Write).await.unwrap().close().await;
        let archive = Archive::open(at, Mode::Read).await.unwrap();
        let error = archive.put(&session, "a").await.unwrap_err();
        assert!(matches!(error, ShopError::Database { .. }), "{error}");
        assert!(every(&archive).await.is_empty());
        archive.close().await;
    });
}

/// An archive of a newer version is left alone.
fn newer(at: &str) {
    wait(async {
        let archive = Archive::open(at, Mode::Write).await.unwrap();
        archive.close().await;
        sqlx::any::install_default_drivers();
        let url = if at.contains("://") { at.to_owned() } else { format!("sqlite://{at}") };
        let mut direct: sqlx::AnyConnection = sqlx::Connection::connect(&url).await.unwrap();
        let later = "UPDATE _sqlx_migrations SET version = 99";
        sqlx::Executor::execute(&mut direct, later).await.unwrap();
        for mode in [Mode::Read, Mode::Write] {
            let error = Archive::open(at, mode).await.unwrap_err();
            assert!(matches!(error, ShopError::Newer { .. }), "{error}");
        }
    });
}

/// A session whose words are the strangers' own.
#[test]
fn too_much_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let entered = record(|record| matches!(record, Record::Entered { .. }));
    let entries: Vec<_> = (0..5_001).map(|_| ("record", entered.clone())).collect();
    forged(folder.path(), header("Borage", Vec::new()), &entries, "2026-11-25T10:00:00.000+01:00");
    let error = PreparedSession::from(&mut Shelf::in_folder(folder.path()), false, NOW).unwrap_err();
    assert!(error.to_string().contains("more than 5000"), "{error}");
    for (bike, wall, why) in [("", NOW, "names no bike"), ("Borage", "soon", "time of its first entry")] {
        let folder = tempfile::tempdir().unwrap();
        forged(folder.path(), header(bike, Vec::new()), &[], wall);
        let error = PreparedSession::from(&mut Shelf::in_folder(folder.path()), false, NOW).unwrap_err();
        assert!(error.to_string().contains(why), "{error}");
    }
}
