//! A review as one self-contained HTML page: for the reviewer, and as a single sheet without voices for the customer.
//!
//! Everything from the journal is plain text here. The templates escape it, the content security policy forbids the page to run or load
//! anything, and characters that change the writing direction are removed.

mod checks;
mod clips;
mod customer;
mod feed;
mod gauge;
mod path;
mod suspects;
mod titles;

use super::whole::pieces_in_words;
use super::{Review, plain};
use crate::bike::{self, Bike};
use crate::parts::Catalogue;
use crate::procedure::{self, Procedure, draw};
use crate::session::{Storage, limits, sha256_hex};
use crate::source::{template, tree};
use crate::system::Kind;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use minijinja::Error;
use serde::Serialize;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// A page as an output file.
pub const PAGE_FILE: Kind =
    Kind { name: "page", begins: "<!DOCTYPE html>\n", goes_on: &["<meta name=\"generator\" content=\"probeside\">"] };

const HEAD: &str = include_str!("head.html");
const PAGE: &str = include_str!("page.html");
const CUSTOMER: &str = include_str!("customer.html");
const STYLE: &str = include_str!("page.css");

/// How the reviewer's page is embedded in other pages.
#[derive(Debug, Clone, Copy, Default, Serialize)]
pub struct Around<'a> {
    /// Leaves out the audio of answers. The page still says what is missing or altered, and where the rest is.
    pub silent: bool,
    /// Links at its top: target and text.
    pub links: &'a [(String, String)],
    /// A sentence that must be seen first.
    pub alarm: Option<&'a str>,
}

/// The reviewer's page. Audio, procedures and the bike are read from the session's `storage`. Missing and altered files are left out and
/// reported.
///
/// # Errors
/// The page cannot be built. The journal's content never causes this.
pub fn page(review: &Review, storage: &mut dyn Storage) -> Result<String, Error> {
    page_in(review, storage, Around::default())
}

/// As [`page`], embedded in other pages.
///
/// # Errors
/// As [`page`].
pub fn page_in(review: &Review, storage: &mut dyn Storage, around: Around<'_>) -> Result<String, Error> {
    let procedures = procedures(review, storage);
    let bike = bike_of(review, storage);
    let room = if around.silent { 0 } else { clips::MOST_BYTES };
    let checks = checks::checks(review, &mut clips::Clips::new(review, storage, room));
    let ways = path::pictures(review, &checks, &procedures);
    let feeds: Vec<Value> = bike
        .iter()
        .flat_map(|bike| feed::feeds(review, bike))
        .enumerate()
        .map(|(at, feed)| json!({"picture": feed.picture(&format!("feed-{at}")), "sentence": feed.sentence()}))
        .collect();
    let of = |keep: &dyn Fn(&&checks::Check) -> bool| -> Vec<usize> {
        checks.iter().filter(keep).map(|c| c.number).collect()
    };
    let unsure = of(&|c| c.answers.iter().any(|a| a.unsure || a.confirmed));
    let repeats: Vec<Value> = checks
        .iter()
        .filter_map(|c| c.repeats.map(|before| json!({"number": c.number, "title": c.title, "before": before})))
        .collect();
    let corrections: Vec<&checks::GivenAnswer> =
        checks.iter().flat_map(|c| &c.answers).filter(|a| a.correction.starts_with("Corrects")).collect();
    let readings: Vec<&checks::GivenAnswer> =
        checks.iter().flat_map(|c| &c.answers).filter(|a| a.reading.is_some()).collect();
    let mut context = json!({
        "title": titles::page_title(review, "what was found"), "review": review, "checks": checks, "ways": ways, "feeds": feeds, "unsure": unsure, "repeats": repeats,
        "suspects": suspects::suspects(review), "corrections": corrections, "readings": readings, "around": around,
        "whole": pieces_in_words(review),
    });
    titles::Titles::of(review).put_into(&mut context);
    dressed(PAGE, context, "'none'")
}

/// The customer's page: what was found and done, before and after, what was not tested, and what to watch. Without voices.
///
/// # Errors
/// As [`page`].
pub fn customer(review: &Review) -> Result<String, Error> {
    let mut context = customer::context(review);
    titles::Titles::of(review).put_into(&mut context);
    dressed(CUSTOMER, context, "'none'")
}

fn style() -> String {
    format!("{}{STYLE}{}", draw::PALETTE, draw::STYLE)
}

/// The content security policy (W3C CSP 3) for a page in this style: nothing runs and nothing is loaded. `forms` is where forms may lead.
pub fn policy(forms: &str) -> String {
    let hash = STANDARD.encode(Sha256::digest(style().as_bytes()));
    format!("default-src 'none'; style-src 'sha256-{hash}'; media-src data:; base-uri 'none'; form-action {forms}")
}

/// Builds a page from one of the program's own templates, which starts at the body. The head has `context`'s `title`, this style and this
/// [`policy`]. Every text in `context` is made harmless and escaped.
///
/// # Errors
/// An error in the template.
pub fn dressed(template: &str, mut context: Value, forms: &str) -> Result<String, Error> {
    harmless(&mut context);
    context["policy"] = Value::String(policy(forms));
    context["style"] = Value::String(style());
    template::html(&format!("{HEAD}{template}"), &context)
}

/// Removes control characters from every text.
fn harmless(value: &mut Value) {
    match value {
        Value::String(text) => *text = plain(text),
        Value::Array(items) => items.iter_mut().for_each(harmless),
        Value::Object(fields) => fields.values_mut().for_each(harmless),
        _ => {}
    }
}

/// The text of a copy in the session's folder, if it is unaltered.
fn copy(review: &Review, storage: &mut dyn Storage, name: &str) -> Option<String> {
    let copy = review.session.files.iter().find(|copy| copy.name == name)?;
    let bytes = storage.read(name, limits::COPY).ok()?;
    (sha256_hex(&bytes) == copy.sha256).then(|| String::from_utf8(bytes).ok()).flatten()
}

fn procedures(review: &Review, storage: &mut dyn Storage) -> BTreeMap<String, Procedure> {
    let names: Vec<String> = review.session.files.iter().map(|copy| copy.name.clone()).collect();
    names
        .iter()
        .filter(|name| name.starts_with("procedure/"))
        .filter_map(|name| procedure::parse(&copy(review, storage, name)?, name).ok())
        .map(|procedure| (procedure.id.clone(), procedure))
        .collect()
}

fn bike_of(review: &Review, storage: &mut dyn Storage) -> Option<Bike> {
    let name = review.session.files.iter().find(|copy| copy.name.starts_with("bike/"))?.name.clone();
    let text = copy(review, storage, &name)?;
    let mut catalogue = Catalogue::shipped().clone();
    let parts: Vec<String> =
        review.session.files.iter().map(|copy| copy.name.clone()).filter(|name| name.starts_with("parts/")).collect();
    for part in parts {
        catalogue.add(&copy(review, storage, &part)?, &part).ok()?;
    }
    bike::from_tree(&tree::parse(&text, &name).ok()?, &catalogue).ok()
}
