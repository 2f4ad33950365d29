//! Checks the faults that a conclusion means: each name has to mean a fault of the library on at least one bike, and a conclusion that
//! condemns a part has to say which faults it means.
//!
//! Why it matters: a proof judges a conclusion by what it means. One that means nothing is never right, and a misspelt name never comes true.
//!
//! Example findings:
//! - ``on no bike `points-oily:points-middle` is a fault of the library `ignition` ``
//! - ``the conclusion `coil-bad` condemns a part and means no fault``

use super::findings::{Findings, Surroundings};
use super::walks::Walks;
use crate::expression::render_names;
use crate::procedure::Procedure;
use crate::source::{Diagnostic, Place};
use std::collections::BTreeMap;

/// The names that conclusions mean, over all bikes.
#[derive(Default)]
pub(super) struct Causes {
    /// At each place in the file every name that came out there on some bike, if none of them meant a fault so far.
    unknown: BTreeMap<Place, Option<String>>,
}

impl Causes {
    /// Looks at the conclusions that are reached on one bike.
    pub fn check(&mut self, walks: &Walks<'_>, around: &Surroundings<'_>, found: &mut Findings) {
        let Some(library) = around.faults else { return };
        // The library's own check tells what does not come out.
        let Ok(known) = library.names_on(walks.bike, around.words) else { return };
        for end in walks.concluded.iter().filter(|end| end.procedure == 0) {
            for text in &end.conclusion.means {
                for name in render_names(std::slice::from_ref(text), &end.scope).unwrap_or_default() {
                    if !library.has_kind(name.split([':', '@']).next().unwrap_or(&name)) {
                        found.add(unknown(&text.place, &name, &library.name));
                    }
                    let at = self.unknown.entry(text.place.clone()).or_insert_with(|| Some(name.clone()));
                    if known.contains(&name) {
                        *at = None;
                    }
                }
            }
        }
    }

    /// What no bike made true, once all were tried; and what condemns without meaning anything.
    pub fn finish(self, procedure: &Procedure, around: &Surroundings<'_>, found: &mut Findings) {
        let Some(library) = around.faults else { return };
        for (place, name) in &self.unknown {
            if let Some(name) = name {
                found.add(unknown(place, name, &library.name));
            }
        }
        for conclusion in &procedure.conclusions {
            if !conclusion.condemns.is_empty() && conclusion.means.is_empty() {
                let message = format!("the conclusion `{}` condemns a part and means no fault", *conclusion.id);
                let help = "Name the faults with `means`, or leave `condemns` out.";
                found.add(Diagnostic::error(&conclusion.id.place, "means-nothing", message).help(help));
            }
        }
    }
}

fn unknown(place: &Place, name: &str, library: &str) -> Diagnostic {
    let message = format!("on no bike `{name}` is a fault of the library `{library}`");
    Diagnostic::error(place, "unknown-fault", message).help("Name KIND, KIND:PLACE or KIND@SEVERITY.")
}
