//! Instruments that a step uses and the list of tools does not name.
//!
//! Why: who starts without the spark tester finds out halfway, with greasy hands.
//!
//! Example: `instrument: {feeler: ...}` where `tools` names no feeler gauge.
//!
//! The words are looked for in English, so procedures in other languages are passed over.

use super::Findings;
use crate::bike::InstrumentKind;
use crate::procedure::Procedure;
use crate::source::Diagnostic;

/// Words of which one must stand in `tools`.
fn words(kind: InstrumentKind) -> &'static [&'static str] {
    match kind {
        InstrumentKind::Lamp => &["test lamp", "lamp"],
        InstrumentKind::Voltmeter => &["voltmeter", "multimeter"],
        InstrumentKind::Ohmmeter => &["ohmmeter", "multimeter"],
        InstrumentKind::Ammeter => &["ammeter", "multimeter"],
        InstrumentKind::Feeler => &["feeler gauge", "feeler"],
        InstrumentKind::SparkTester => &["spark tester"],
    }
}

pub(super) fn check(procedure: &Procedure, found: &mut Findings) {
    if procedure.language != "en" && !procedure.language.starts_with("en-") {
        return;
    }
    let tools: Vec<String> = procedure.tools.iter().map(|tool| tool.to_lowercase()).collect();
    let named = |words: &[&str]| tools.iter().any(|tool| words.iter().any(|word| tool.contains(word)));
    for step in &procedure.steps {
        if let Some((kind, first, _)) = &step.state.instrument
            && !named(words(*kind))
        {
            let message = format!("the step `{}` uses a {} and `tools` names none", *step.id, words(*kind)[0]);
            found.add(Diagnostic::error(&first.place, "tool", message).help("Add it to `tools`."));
        }
        for (name, _) in &step.state.fit {
            let word = name.split('-').next_back().unwrap_or(name).to_lowercase();
            if !named(&[word.as_str()]) {
                let message = format!("the step `{}` fits a {} and `tools` names none", *step.id, **name);
                found.add(Diagnostic::error(&name.place, "tool", message).help("Add it to `tools`."));
            }
        }
    }
}
