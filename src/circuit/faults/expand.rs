//! Expands a library for a bike: every kind at every place in every severity, each tried on the bike's wiring.
//!
//! A fault counts if a plug then fails to fire, unless the kind says otherwise. A short that draws more than the fuse can carry has blown the
//! fuse. The circuit shows this; no file says it.

use super::counts::{IN_RESERVE, kicked, least_reserve};
use super::{Fault, Kind, Library, Shown, kinds};
use crate::bike::{Bike, BikeState, EnglishWords, Words, as_value};
use crate::circuit::{Alteration, CircuitError, Model};
use crate::expression::{Scope, evaluate_bool, evaluate_list, render, render_names};
use crate::source::Diagnostic;
use std::collections::BTreeSet;

/// A fuse blows within minutes at this share of its rating (ISO 8820-3: 135 % opens within 0.75 to 600 s; from memory).
const BLOWS_AT: f64 = 1.35;
/// Most single faults of one bike. A proof walks each of them, and a four-cylinder bike has about three hundred.
const MOST_FAULTS: usize = 5_000;
/// The name of the look at a fuse, and what a blown fuse shows.
const BLOWN: (&str, &str) = ("fuse", "blown");

impl Library {
    /// Every single fault of a bike, in the library's order.
    ///
    /// # Errors
    /// Everything that cannot be expanded for this bike, with its place in the library.
    pub fn for_bike(&self, bike: &Bike) -> Result<Vec<Fault>, Vec<Diagnostic>> {
        self.for_bike_in(bike, &EnglishWords)
    }

    /// As [`Library::for_bike`], with parts named in these words.
    ///
    /// # Errors
    /// As [`Library::for_bike`].
    pub fn for_bike_in(&self, bike: &Bike, words: &dyn Words) -> Result<Vec<Fault>, Vec<Diagnostic>> {
        let plain = Scope::new(as_value(bike, words));
        let healthy = Model::new(bike);
        let mut faults = Vec::new();
        let mut findings = Vec::new();
        for kind in &self.kinds {
            match kind.sites(&plain).and_then(|sites| sites.iter().map(|site| kind.fault(site, &healthy)).collect()) {
                Ok(all) => faults.extend::<Vec<Fault>>(all),
                Err(finding) => findings.push(finding),
            }
            if faults.len() > MOST_FAULTS {
                let message =
                    format!("with `{}` the {} has more than {MOST_FAULTS} faults to be tried", *kind.id, bike.name);
                let help = "Give the kinds fewer places or severities.";
                findings.push(Diagnostic::error(&kind.id.place, "count", message).help(help));
                break;
            }
        }
        if findings.is_empty() { Ok(faults) } else { Err(findings) }
    }

    /// What a conclusion can call the single faults of a bike: `KIND`, `KIND:PLACE` and `KIND@SEVERITY`. Asks no circuit.
    ///
    /// # Errors
    /// The first thing that does not come out for this bike.
    pub fn names_on(&self, bike: &Bike, words: &dyn Words) -> Result<BTreeSet<String>, Diagnostic> {
        let plain = Scope::new(as_value(bike, words));
        let mut all = BTreeSet::new();
        for kind in &self.kinds {
            for site in kind.sites(&plain)? {
                all.extend(kinds(&kind.id, &site.place, site.severity));
            }
        }
        Ok(all)
    }
}

/// Where a kind of fault can be on a bike, and how bad.
struct Site {
    /// [`Fault::id`].
    id: String,
    place: String,
    severity: Option<f64>,
    /// With the item and the severity bound.
    scope: Scope,
    /// How often it occurs, relative to the library's other faults.
    likelihood: f64,
}

impl Kind {
    /// Every place on the bike in every severity.
    fn sites(&self, plain: &Scope) -> Result<Vec<Site>, Diagnostic> {
        let mut scopes = vec![(plain.clone(), String::new())];
        if let (Some(over), Some(bind)) = (&self.over, &self.bind) {
            let items = evaluate_list(over, plain)?;
            let bound = |item: serde_json::Value| {
                let id = item.get("id").and_then(|id| id.as_str()).unwrap_or_default().to_owned();
                let mut scope = plain.clone();
                scope.bind(bind, item);
                (scope, id)
            };
            scopes = items.into_iter().map(bound).collect();
        }
        let mut all = Vec::new();
        for (mut scope, id) in scopes {
            let values: Vec<Option<f64>> = match self.severities.as_slice() {
                [] => vec![None],
                several => several.iter().copied().map(Some).collect(),
            };
            let likelihood = self.likelihood / values.len() as f64;
            for severity in values {
                if let Some(severity) = severity {
                    scope.bind("severity", serde_json::Value::from(severity));
                }
                if self.when.as_ref().map_or(Ok(true), |when| evaluate_bool(when, &scope))? {
                    let place = self.place.as_ref().map_or(Ok(id.clone()), |place| render(place, &scope))?;
                    let mut id = self.id.value.clone();
                    if !place.is_empty() {
                        id += &format!(":{place}");
                    }
                    if let Some(severity) = severity {
                        id += &format!("@{severity}");
                    }
                    all.push(Site { id, place, severity, scope: scope.clone(), likelihood });
                }
            }
        }
        Ok(all)
    }

    /// The fault at a site, tried on the bike's wiring.
    fn fault(&self, site: &Site, healthy: &Model<'_>) -> Result<Fault, Diagnostic> {
        let (Site { id, scope, .. }, bike) = (site, healthy.bike);
        let parts: Vec<String> = self.parts.iter().map(|part| render(part, scope)).collect::<Result<_, _>>()?;
        let known = bike.fault_places();
        if let Some((part, written)) = parts.iter().zip(&self.parts).find(|(part, _)| !known.contains(*part)) {
            let names: Vec<&str> = known.iter().map(String::as_str).collect();
            let message = format!("for the {}, `{id}` names the part `{part}`, which it has not", bike.name);
            let help = crate::source::shape::suggestion(part, &names);
            return Err(Diagnostic::error(&written.place, "unknown-part", message).help(help));
        }
        let mut looks = Vec::new();
        for (look, at, is) in &self.looks {
            let is = render(is, scope)?;
            let at = render_names(std::slice::from_ref(at), scope)?;
            looks.extend(at.into_iter().map(|at| Shown { look: look.value.clone(), at, is: is.clone() }));
        }
        let mut alterations = Vec::new();
        for change in &self.alter {
            alterations.extend(change.on(scope)?);
        }
        let mut fault = Fault {
            id: id.clone(),
            kind: self.id.value.clone(),
            place: site.place.clone(),
            severity: site.severity,
            unit: self.unit.clone(),
            counts: false,
            // A side without words leaves a double space.
            words: render(&self.words, scope)?.split_whitespace().collect::<Vec<_>>().join(" "),
            parts,
            cure: render(&self.cure, scope)?.split_whitespace().collect::<Vec<_>>().join(" "),
            likelihood: site.likelihood,
            only_by_substitution: self.only_by_substitution.clone(),
            alterations,
            looks,
        };
        let not_laid = |error: CircuitError| {
            let message = format!("for the {}, `{}` cannot be laid over the wiring: {error}", bike.name, id);
            Diagnostic::error(&self.id.place, "alteration", message)
        };
        for fuse in blown_fuses(healthy, &fault.alterations).map_err(not_laid)? {
            let (look, is) = BLOWN;
            fault.looks.push(Shown { look: look.to_owned(), at: fuse.clone(), is: is.to_owned() });
            fault.alterations.push(Alteration::Open { branch: fuse });
        }
        fault.counts = match &self.counts {
            Some(counts) => evaluate_bool(counts, scope)?,
            // Where nothing sparks, every fault is one to be found.
            None if bike.plugs.is_empty() => true,
            None => least_reserve(healthy, &fault.alterations, IN_RESERVE).map_err(not_laid)? < IN_RESERVE,
        };
        Ok(fault)
    }
}

/// The fuses that carry more than they can with these alterations, with all switches on and all points closed.
fn blown_fuses(healthy: &Model<'_>, changes: &[Alteration]) -> Result<Vec<String>, CircuitError> {
    let bike = healthy.bike;
    let state = BikeState { engine: None, ..kicked(bike) };
    let closed: BTreeSet<String> = bike.points.iter().map(|set| set.id.clone()).collect();
    let model = healthy.altered(changes.iter().cloned());
    let wiring = model.wiring(&state, &closed)?;
    let (network, elements) = wiring.network()?;
    let point = network.operating_point()?;
    let mut blown = Vec::new();
    for (fuse, ampere) in model.fuses() {
        let carries = elements.get(&fuse).is_some_and(|element| point.current(*element).abs() > BLOWS_AT * ampere);
        blown.extend(carries.then_some(fuse));
    }
    Ok(blown)
}
