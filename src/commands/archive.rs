//! `probeside shop`: adds sessions to the archive, finds and shows them, and serves them as web pages.

use super::shop_args::{Add, Args, Find, Serve, Show, What};
use crate::hear::models::user_data;
use crate::review::{gather, plain, text};
use crate::run::{Failure, Outcome};
use crate::session::Clock;
use crate::shop::{
    Archive, Archived, Comparison, Guard, Kept, Mode, PreparedSession, Put, Query, SCHEMA, SCHEMA_VERSION,
    SearchResult, Serving, Shelf, ShopError, compare, day, mark_name, open_to_others, serve,
};
use crate::system::{Links, open};
use crate::terminal::{say, say_json};
use serde_json::json;
use std::path::Path;

/// Environment variable that names the archive.
const ARCHIVE_VARIABLE: &str = "PROBESIDE_ARCHIVE";
/// Environment variable that holds the token.
const TOKEN_VARIABLE: &str = "PROBESIDE_SHOP_TOKEN";
/// Largest token file, bytes.
const TOKEN_MOST: u64 = 4096;

/// Runs the command.
///
/// # Errors
/// The archive's error, as a sentence.
pub fn run(args: &Args) -> Outcome {
    let at = whereabouts(args.archive.as_deref())?;
    if let Some(warning) = open_to_others(&at) {
        crate::terminal::errln!("probeside: {}", plain(&warning));
    }
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::Lacks(format!("the system gives no event loop: {error}")))?;
    runtime.block_on(async {
        match &args.what {
            What::Add(add) => put(&at, add).await,
            What::Find(find) => found(&at, find).await,
            What::Show(show) => shown(&at, show).await,
            What::Serve(serve) => served(&at, serve).await,
        }
    })
}

fn whereabouts(given: Option<&str>) -> Result<String, Failure> {
    let named = std::env::var(ARCHIVE_VARIABLE).ok().filter(|named| !named.is_empty());
    if let Some(at) = given.map(str::to_owned).or(named) {
        return Ok(at);
    }
    let folder = user_data().ok_or_else(|| {
        Failure::Lacks("this user has no data folder for the archive; name one with --archive PATH".into())
    })?;
    let path = folder.join("probeside").join("archive.db");
    path.to_str().map(str::to_owned).ok_or_else(|| {
        Failure::Lacks(
            "the user's data folder has a name that is not UTF-8; name an archive with --archive PATH".into(),
        )
    })
}

impl From<ShopError> for Failure {
    fn from(error: ShopError) -> Self {
        let why = format!("probeside: {}", plain(&error.to_string()));
        match error.exit_code() {
            2 => Self::Usage(why),
            3 => Self::Lacks(why),
            _ => Self::Input(why),
        }
    }
}

async fn put(at: &str, add: &Add) -> Outcome {
    let archive = Archive::open(at, Mode::Write).await?;
    let mut worst = 0;
    for path in &add.sessions {
        match put_one(&archive, path, add.unverified).await {
            Ok(line) => say(&line),
            Err(error) => {
                worst = worst.max(error.exit_code());
                crate::terminal::errln!("probeside: {}", plain(&error.to_string()));
            }
        }
    }
    archive.close().await;
    Ok(worst)
}

async fn put_one(archive: &Archive, path: &Path, unverified: bool) -> Result<String, ShopError> {
    let now = Clock::start().now().wall;
    let prepared = PreparedSession::from(&mut Shelf::in_folder(path), unverified, &now)?;
    let put = archive.put(&prepared, &path.display().to_string()).await?;
    let row = prepared.row();
    let did = match put {
        Put::Added => "added",
        Put::Replaced => "replaced by this longer or verified record",
        Put::Unchanged => "there already, nothing changed",
        Put::Older => "there already in a longer record, nothing changed",
    };
    let mark = if row.verified { "" } else { ", NOT VERIFIED" };
    Ok(format!("{}  {}, digest {}: {did}{mark}\n", mark_name(row.mark), row.id, row.short))
}

async fn found(at: &str, find: &Find) -> Outcome {
    let given = [
        ("bike", &find.bike),
        ("person", &find.person),
        ("cause", &find.cause),
        ("from", &find.from),
        ("to", &find.to),
        ("out", &find.out),
        ("limit", &find.limit),
    ];
    let query = Query::read(given.into_iter().filter_map(|(name, value)| Some((name, value.as_deref()?))))?;
    let archive = Archive::open(at, Mode::Read).await?;
    let found = archive.find(&query).await?;
    archive.close().await;
    if find.json {
        let query: serde_json::Map<String, serde_json::Value> =
            query.fields().into_iter().map(|(name, value)| (name.to_owned(), value.into())).collect();
        return printed(&json!({
            "schema": SCHEMA, "version": SCHEMA_VERSION, "query": query, "sessions": found.sessions, "more": found.more,
        }));
    }
    say(&list(&found));
    Ok(0)
}

fn list(found: &SearchResult) -> String {
    if found.sessions.is_empty() {
        return "Nothing fits.\n".to_owned();
    }
    let mut out: String = found.sessions.iter().map(entry).collect();
    if found.more {
        out += &format!("{} shown; there are older ones: give --limit, or --to.\n", found.sessions.len());
    }
    out
}

/// The texts of an [`Archived`] contain no control characters.
fn entry(row: &Archived) -> String {
    let day = day(&row.began);
    let of = |before: &str, text: &str| if text.is_empty() { String::new() } else { format!("{before}{text}") };
    let mut out =
        format!("{day}  {}  {}{}{}\n", mark_name(row.mark), row.bike, of(", ", &row.mileage), of(", by ", &row.person));
    if let Some(fault) = &row.fault {
        out += &format!("            NOT VERIFIED: {fault}\n");
    }
    let cause = row.cause.as_deref().unwrap_or(if row.finished { "No conclusion." } else { "Not ended." });
    out += &format!("            {cause}\n");
    if row.outside > 0 {
        out += &format!("            {} of {} readings out of their limits\n", row.outside, row.readings);
    }
    out
}

async fn shown(at: &str, show: &Show) -> Outcome {
    let archive = Archive::open(at, Mode::Read).await?;
    if let Some(bike) = &show.bike {
        let visits = archive.visits(bike).await?;
        if visits.is_empty() {
            let bike = plain(bike);
            return Err(Failure::Input(format!(
                "probeside: the archive has no visit of a bike named exactly {bike:?}: `probeside shop find --bike` lists names"
            )));
        }
        let compared = compare(visits);
        return if show.json {
            printed(&json!({"schema": SCHEMA, "version": SCHEMA_VERSION, "comparison": compared}))
        } else {
            say(&side_by_side(&compared));
            Ok(0)
        };
    }
    let name = show.session.as_deref().unwrap_or_default();
    let named = archive.named(name).await?;
    let [one] = &named[..] else {
        let all: String = named.iter().map(entry).collect();
        let sentence = "probeside: several sessions have this id; name one by its mark, the 16 digits";
        return Err(Failure::Input(format!("{sentence}:\n{}", all.trim_end())));
    };
    let Kept { row, mut shelf } = archive.kept(one.mark).await?;
    let review = gather(&mut shelf).map_err(|error| Failure::Input(plain(&error.to_string())))?;
    if show.json {
        return printed(&json!({"schema": SCHEMA, "version": SCHEMA_VERSION, "session": row, "review": review}));
    }
    let kept = if row.verified { "verified when it was added" } else { "NOT VERIFIED when it was added" };
    say(&format!("Archive   {}, added {}, {kept}\n{}", mark_name(row.mark), row.added, text(&review)));
    Ok(0)
}

fn side_by_side(compared: &Comparison) -> String {
    let days: Vec<String> = compared.visits.iter().map(|visit| day(&visit.began)).collect();
    let mut out = format!("{}: {} visits\n\n", compared.bike, compared.visits.len());
    out += &compared.visits.iter().map(entry).collect::<String>();
    for series in &compared.series {
        let round = series.round.as_deref().map_or_else(String::new, |round| format!(", {round}"));
        let limits = series.limits.as_deref().unwrap_or("no limits");
        out += &format!("\n{}{round}: {} ({limits})\n", series.name.replace('_', " "), series.trend.words);
        for point in &series.points {
            let day = days.get(point.visit).map_or("", String::as_str);
            let after = match (&point.after, &point.after_verdict) {
                (Some(after), Some(verdict)) => format!(", after {after} ({verdict})"),
                _ => String::new(),
            };
            out += &format!("  {day}  {} ({}){after}\n", point.shown, point.verdict);
        }
    }
    if !compared.once.is_empty() {
        out += &format!("\nMeasured in one visit only: {}\n", compared.once.join("; "));
    }
    out
}

fn printed(value: &serde_json::Value) -> Outcome {
    let text = serde_json::to_string_pretty(value).map_err(|error| Failure::Input(error.to_string()))?;
    say_json(&(text + "\n"));
    Ok(0)
}

async fn served(at: &str, args: &Serve) -> Outcome {
    let token = token(args.token_file.as_deref())?;
    let guard = Guard::new(args.at.ip(), token.as_deref(), &args.names).map_err(Failure::Usage)?;
    let archive = Archive::open(at, Mode::Serve).await?;
    let listener = tokio::net::TcpListener::bind(args.at).await.map_err(|error| {
        Failure::Lacks(format!("{} cannot be served at ({error}); give another with --at ADDRESS:PORT", args.at))
    })?;
    let address = listener.local_addr().map_err(|error| Failure::Lacks(error.to_string()))?;
    let asks = if token.is_some() { ", which asks for the token as a password" } else { "" };
    say(&format!("The archive can be read at http://{address}/{asks}. Ctrl-C ends it.\n"));
    let stop = async {
        // If the program cannot wait for the signal, it is ended from outside.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    serve(listener, Serving::new(archive.clone(), guard), stop)
        .await
        .map_err(|error| Failure::Lacks(error.to_string()))?;
    archive.close().await;
    Ok(0)
}

/// The token, from a file or the environment. Never from the command line, which other users of the machine can see.
fn token(file: Option<&Path>) -> Result<Option<String>, Failure> {
    let Some(file) = file else { return Ok(std::env::var(TOKEN_VARIABLE).ok().filter(|token| !token.is_empty())) };
    let name = file.display();
    let cannot =
        |error: std::io::Error| Failure::Input(format!("{name} cannot be read ({error}); give the token's file"));
    let opened = open(file, Links::Follow).map_err(cannot)?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        if opened.metadata().map_err(cannot)?.permissions().mode() & 0o077 != 0 {
            return Err(Failure::Input(format!("{name} can be read by others; type: chmod 600 {name}")));
        }
    }
    let mut text = String::new();
    std::io::Read::read_to_string(&mut std::io::Read::take(opened, TOKEN_MOST), &mut text).map_err(cannot)?;
    Ok(Some(text.trim().to_owned()))
}
