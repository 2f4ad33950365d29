//! The web pages: the list with its search, the comparison of one bike's visits, and a session's report as the review renders it.

use super::chart::chart;
use super::prepared::mark_name;
use super::query::FIELDS;
use super::visits::{Comparison, titled};
use super::{Kept, Query, SearchResult};
use crate::review::{Around, dressed, gather, page_in, plain};
use serde_json::{Value, json};

const LIST: &str = include_str!("pages/list.html");
const BIKE: &str = include_str!("pages/bike.html");
/// Where the forms of these pages may lead.
pub(super) const FORMS: &str = "'self'";

/// The list. `given` holds the fields as they arrived, so that the form shows them again. `found` is the result, or what is wrong with the
/// fields.
///
/// # Errors
/// The page cannot be built.
pub fn list(query: &Query, given: &[(String, String)], found: Result<&SearchResult, &str>) -> Result<String, String> {
    let shown = ["bike", "person", "cause", "from", "to", "out"];
    let fields: Vec<Value> = FIELDS
        .iter()
        .filter(|(name, _)| shown.contains(name))
        .map(|(name, about)| {
            let value = given.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value.as_str());
            let value: String = value.chars().take(200).collect();
            json!({"name": name, "about": about, "value": value})
        })
        .collect();
    let (sessions, next, wrong) = match found {
        Ok(found) => {
            let next = found.next.map(|place| Query { before: Some(place), ..query.clone() });
            (found.sessions.iter().map(line).collect(), next.map(|next| address(&next)), None)
        }
        Err(why) => (Vec::new(), None, Some(plain(why))),
    };
    let all = query.fields().is_empty();
    let context = json!({"title": "The shop's archive", "fields": fields, "sessions": sessions, "next": next, "wrong": wrong, "all": all});
    dressed(LIST, context, FORMS).map_err(|error| format!("{error:#}"))
}

/// A session in the list.
fn line(session: &super::Archived) -> Value {
    json!({
        "href": href(session.mark),
        "day": day(&session.began),
        "bike": session.bike,
        "bike_href": bike_href(&session.bike),
        "person": session.person,
        "cause": session.cause,
        "complaint": session.complaint,
        "outside": session.outside,
        "readings": session.readings,
        "verified": session.verified,
        "finished": session.finished,
    })
}

/// The day of an RFC 3339 time, in its own offset.
pub fn day(time: &str) -> String {
    time.chars().take("2026-11-25".len()).collect()
}

fn href(mark: i64) -> String {
    format!("/session/{}", mark_name(mark))
}

fn bike_href(bike: &str) -> String {
    format!("/bike?name={}", escaped(bike))
}

fn address(query: &Query) -> String {
    let fields: Vec<String> = query.fields().iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
    format!("/?{}", fields.join("&"))
}

/// Text for an address (RFC 3986, unreserved characters unchanged).
fn escaped(text: &str) -> String {
    text.bytes()
        .map(|b| {
            if b.is_ascii_alphanumeric() || b"-._~".contains(&b) {
                char::from(b).to_string()
            } else {
                format!("%{b:02X}")
            }
        })
        .collect()
}

/// One bike's visits.
///
/// # Errors
/// The page cannot be built.
pub fn bike(comparison: &Comparison) -> Result<String, String> {
    let days: Vec<String> = comparison.visits.iter().map(|visit| day(&visit.began)).collect();
    let days: Vec<&str> = days.iter().map(String::as_str).collect();
    let visits: Vec<Value> = comparison
        .visits
        .iter()
        .map(|visit| {
            let mut shown = line(visit);
            shown["mileage"] = json!(visit.mileage);
            shown
        })
        .collect();
    let series: Vec<Value> = comparison
        .series
        .iter()
        .enumerate()
        .map(|(at, series)| {
            let points: Vec<Value> = series
                .points
                .iter()
                .map(|p| {
                    json!({"day": days.get(p.visit), "shown": p.shown, "verdict": p.verdict, "after": p.after, "after_verdict": p.after_verdict})
                })
                .collect();
            json!({
                "title": titled(&series.name, series.round.as_deref()),
                "words": series.trend.words,
                "limits": series.limits,
                "points": points,
                "picture": chart(series, &days, &format!("chart-{at}")),
            })
        })
        .collect();
    let title = format!("{}: visits", comparison.bike);
    let context =
        json!({"title": title, "bike": comparison.bike, "visits": visits, "series": series, "once": comparison.once});
    dressed(BIKE, context, FORMS).map_err(|error| format!("{error:#}"))
}

/// A session's report, built from its archived data.
///
/// # Errors
/// The report cannot be built.
pub fn session(kept: Kept) -> Result<String, String> {
    let Kept { row, mut shelf } = kept;
    let review = gather(&mut shelf).map_err(|error| error.to_string())?;
    let links = [
        ("/".to_owned(), "The archive".to_owned()),
        (bike_href(&row.bike), format!("All visits of {}", plain(&row.bike))),
    ];
    let alarm = row.fault.as_ref().map(|fault| {
        format!("This record did not verify when it was put into the archive: {fault}. Do not rely on it.")
    });
    let around = Around { silent: true, links: &links, alarm: alarm.as_deref() };
    page_in(&review, &mut shelf, around).map_err(|error| format!("{error:#}"))
}
