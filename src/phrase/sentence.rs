//! The sentences the walker says, as small Jinja templates out of the vocabulary file: which there must be, what each is given,
//! and how they are filled in. Undefined names are errors and fuel bounds a template's work.

use minijinja::{Environment, UndefinedBehavior, Value};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Steps of the template engine that one sentence may take; the longest built-in one takes under 100.
const FUEL: u64 = 20_000;

/// What a sentence is given under one name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Given {
    /// A text.
    Text(&'static str),
    /// A list of texts.
    List(&'static str),
    /// A whole number.
    Number(&'static str),
}

use Given::{List, Number, Text};

const TEXT: &[Given] = &[Text("text")];
const LIST: &[Given] = &[List("list")];
const WORDS: &[Given] = &[Text("words")];
const READ_BACK: &[Given] = &[Text("words"), Text("digits")];
const KIND_WORDS: &[Given] = &[Text("kind"), Text("words")];
const PAUSE: &[Given] = &[Text("resume")];
const READY: &[Given] = &[Text("ready")];

/// Every sentence a vocabulary must have, and what it is given.
pub const SENTENCES: &[(&str, &[Given])] = &[
    ("change-switch", &[Text("name"), Text("words"), Text("to")]),
    ("change-unplug", KIND_WORDS),
    ("change-plug-in", KIND_WORDS),
    ("change-points", &[Text("words"), Text("to")]),
    ("change-engine", &[Text("to")]),
    ("change-fit", &[Text("name"), Text("first"), Text("second")]),
    ("change-remove", &[Text("name")]),
    ("change-leads", &[Text("kind"), Text("words"), Text("first"), Text("second")]),
    ("change-lay-down", &[]),
    ("colour-pair", &[Text("main"), Text("tracer")]),
    ("wire", &[Text("colour")]),
    ("reminder", &[Text("ask")]),
    ("reminder-short", &[]),
    ("watch-ask", &[]),
    ("standby", PAUSE),
    ("standby-short", &[]),
    ("not-understood-1", &[Text("prompt")]),
    ("not-understood-2", &[Text("more")]),
    ("not-understood-3", &[Text("choices")]),
    ("choices", LIST),
    ("choices-number", &[Text("quantity"), Text("unit")]),
    ("acknowledge", READY),
    ("acknowledge-caution", READY),
    ("did-you-say", &[Text("a")]),
    ("this-or-that", &[Text("a"), Text("b")]),
    ("say-yes-or-no", &[Text("agree"), Text("disagree")]),
    ("answer-again", &[]),
    ("echo", WORDS),
    ("reading-back", READ_BACK),
    ("reading-back-about", READ_BACK),
    ("reading-over-range", &[]),
    ("reading-none", &[]),
    ("reading-implausible", READ_BACK),
    ("unit-doubt", &[Text("said"), Text("quantity"), Text("asked")]),
    ("unit-converted", &[Text("said"), Text("words"), Text("digits")]),
    ("last-reading", READ_BACK),
    ("no-reading-yet", &[]),
    ("corrected", &[Text("was"), Text("words"), Text("digits")]),
    ("correct-what", WORDS),
    ("battery-again", &[]),
    ("skip-why", &[]),
    ("skipped-why", &[Text("why")]),
    ("cannot-go-back", &[]),
    ("going-back", &[]),
    ("paused", PAUSE),
    ("key-off-paused", PAUSE),
    ("key-off", &[]),
    ("going-on", &[]),
    ("not-paused", &[]),
    ("where", &[Text("title"), Text("round"), Number("checks"), Text("prompt")]),
    ("note-go", &[]),
    ("note-kept", &[]),
    ("note-empty", &[]),
    ("shorter-on", &[]),
    ("longer-on", &[]),
    ("louder-on", &[]),
    ("quieter-on", &[]),
    ("stop-confirm", &[]),
    ("stopped", &[]),
    ("not-now", &[]),
    ("mic-lost", &[]),
    ("mic-back", &[]),
    ("storage-failed", &[Text("why")]),
    ("state-differs", &[List("changes")]),
    ("restate-state", &[List("facts")]),
    ("resumed", &[Text("title")]),
    ("hazards-again", &[]),
    ("left-right", &[]),
    ("manual-first", &[]),
    ("tools", LIST),
    ("caution", &[Text("signal"), Text("text")]),
    ("concluded-cause", TEXT),
    ("concluded-remedy", TEXT),
    ("concluded-rules-out", LIST),
    ("concluded-not-tested", LIST),
    ("concluded-recheck", LIST),
    ("put-back", LIST),
    ("nothing-to-put-back", &[]),
    ("escape-noted", WORDS),
    ("proved-again", &[]),
    ("finished", &[Text("title")]),
];

/// Why a sentence could not be said.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SentenceError {
    /// No such key.
    #[error("the vocabulary has no sentence `{key}`")]
    Unknown {
        /// The key asked for.
        key: String,
    },
    /// The template does not fit what it was given.
    #[error("the sentence `{key}` cannot be filled in: {why}")]
    Template {
        /// The sentence.
        key: String,
        /// What the template engine says.
        why: String,
    },
}

/// Templates by key, and the engine that fills them in.
#[derive(Debug, Clone)]
pub(super) struct Templates {
    engine: Arc<Environment<'static>>,
    by_key: BTreeMap<String, String>,
}

impl Templates {
    pub(super) fn new(by_key: BTreeMap<String, String>) -> Self {
        let mut engine = Environment::new();
        engine.set_undefined_behavior(UndefinedBehavior::Strict);
        engine.set_fuel(Some(FUEL));
        engine.set_auto_escape_callback(|_| minijinja::AutoEscape::None);
        engine.add_filter("upper_first", upper_first);
        Self { engine: Arc::new(engine), by_key }
    }

    pub(super) fn fill(&self, key: &str, given: &serde_json::Value) -> Result<String, SentenceError> {
        let source = self.by_key.get(key).ok_or_else(|| SentenceError::Unknown { key: key.to_owned() })?;
        self.fill_source(key, source, given)
    }

    pub(super) fn fill_source(
        &self,
        key: &str,
        source: &str,
        given: &serde_json::Value,
    ) -> Result<String, SentenceError> {
        self.engine.render_str(source, to_template_value(given)).map_err(|e| SentenceError::Template {
            key: key.to_owned(),
            why: e.detail().map_or_else(|| e.kind().to_string(), str::to_owned),
        })
    }
}

/// The text with its first letter in upper case; the rest stays.
pub(super) fn upper_first(text: String) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

fn to_template_value(json: &serde_json::Value) -> Value {
    match json {
        serde_json::Value::Null => Value::from(()),
        serde_json::Value::Bool(b) => Value::from(*b),
        serde_json::Value::Number(n) => match n.as_i64() {
            Some(whole) => Value::from(whole),
            None => Value::from(n.as_f64().unwrap_or(f64::NAN)),
        },
        serde_json::Value::String(s) => Value::from(s.as_str()),
        serde_json::Value::Array(items) => items.iter().map(to_template_value).collect(),
        serde_json::Value::Object(fields) => {
            let fields = fields.iter().map(|(name, value)| (name.clone(), to_template_value(value)));
            Value::from(fields.collect::<BTreeMap<String, Value>>())
        }
    }
}

/// Made-up data of the right shape, to try a template with.
pub(super) fn sample(given: &[Given]) -> serde_json::Value {
    let fields = given.iter().map(|g| match g {
        Text(name) => ((*name).to_owned(), "words".into()),
        List(name) => ((*name).to_owned(), vec!["first", "second"].into()),
        Number(name) => ((*name).to_owned(), 2.into()),
    });
    serde_json::Value::Object(fields.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn one(source: &str) -> Templates {
        Templates::new([("key".to_owned(), source.to_owned())].into())
    }

    #[test]
    fn an_undefined_name_is_an_error_with_the_key() {
        let error = one("{{ a }} or {{ b }}").fill("key", &json!({"a": "x"})).unwrap_err();
        assert!(error.to_string().contains("`key`"), "{error}");
        assert!(one("").fill("other", &json!({})).is_err());
    }

    #[test]
    fn a_template_that_never_ends_runs_out_of_fuel() {
        let endless = "{% for a in range(9999) %}{% for b in range(9999) %}x{% endfor %}{% endfor %}";
        assert!(one(endless).fill("key", &json!({})).is_err());
    }

    #[test]
    fn text_is_not_escaped_for_any_markup() {
        assert_eq!(one("{{ a | upper_first }}").fill("key", &json!({"a": "ü < 5 & \"x\""})).unwrap(), "Ü < 5 & \"x\"");
    }
}
