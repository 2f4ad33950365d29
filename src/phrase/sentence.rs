//! The walker's sentences, as small Jinja templates from the vocabulary file: the required sentences, the data each receives, and the code
//! that fills them in. Undefined names are errors, and fuel limits the work of a template.

use crate::source::template;
use minijinja::{Environment, Value};
use std::collections::BTreeMap;
use std::sync::Arc;

/// A named field of a sentence's data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Field {
    /// A text.
    Text(&'static str),
    /// A list of texts.
    List(&'static str),
    /// A whole number.
    Number(&'static str),
    /// True or false.
    Flag(&'static str),
}

use Field::{Flag, List, Number, Text};

/// Every sentence a vocabulary must have, and its fields besides `taught`.
pub(super) const SENTENCES: &[(&str, &[Field])] = &[
    ("change-switch", &[Text("name"), Text("words"), Text("to")]),
    ("change-unplug", &[Text("kind"), Text("words")]),
    ("change-plug-in", &[Text("kind"), Text("words")]),
    ("change-points", &[Text("words"), Text("to")]),
    ("change-engine", &[Text("to")]),
    ("change-fit", &[Text("name"), Text("first"), Text("second")]),
    ("change-remove", &[Text("name")]),
    ("change-leads", &[Text("kind"), Text("words"), Text("first"), Text("second")]),
    ("change-lay-down", &[]),
    ("plug-lead", &[Text("side"), Text("id")]),
    ("terminal", &[Text("part"), Text("end")]),
    ("colour-pair", &[Text("main"), Text("tracer")]),
    ("wire", &[Text("colour")]),
    ("still-there", &[]),
    ("watch-ask", &[]),
    ("standby", &[]),
    ("waits-for-you", &[]),
    ("not-understood-1", &[]),
    ("not-understood-2", &[]),
    ("not-understood-3", &[]),
    ("choices", &[List("choices")]),
    ("say-a-number", &[Text("unit")]),
    ("say-anything", &[]),
    ("acknowledge", &[]),
    ("acknowledge-again", &[]),
    ("did-you-say", &[Text("a")]),
    ("this-or-that", &[Text("a"), Text("b")]),
    ("echo", &[Text("answer")]),
    ("reading-back", &[Text("words"), Text("digits"), Flag("about")]),
    ("reading-back-over-range", &[]),
    ("over-range-words", &[]),
    ("no-reading-words", &[]),
    ("over-range-unexpected", &[]),
    ("reading-implausible", &[Text("reading")]),
    ("unit-doubt", &[Text("asked"), Text("said")]),
    ("last-reading", &[Text("name"), Text("reading"), Flag("told")]),
    ("no-reading-yet", &[]),
    ("correct-what", &[Text("name"), Text("reading")]),
    ("amended-leads-elsewhere", &[]),
    ("battery-again", &[]),
    ("told-what", &[Text("check")]),
    ("told-not", &[]),
    ("told-leave", &[List("changes")]),
    ("told-back", &[]),
    ("told-see", &[]),
    ("told-words", &[Text("answer")]),
    ("not-tested-told", &[Text("step"), Text("prompt"), Text("side"), Text("answer")]),
    ("skip-why", &[]),
    ("left-out", &[]),
    ("not-tested-step", &[Text("step"), Text("prompt"), Text("side")]),
    ("nothing-before", &[]),
    ("going-back", &[]),
    ("paused", &[]),
    ("power-off", &[List("changes")]),
    ("coils-hot", &[List("changes")]),
    ("power-not-confirmed", &[]),
    ("caution-again", &[]),
    ("once-more", &[]),
    ("loudspeaker-back", &[]),
    ("going-on", &[]),
    ("where", &[Text("title"), Text("step"), Text("side"), Number("answers")]),
    ("left", &[List("suspects"), Text("others"), Text("outside"), List("because")]),
    ("left-hardly", &[]),
    ("left-outside", &[]),
    ("left-nothing-yet", &[]),
    ("left-no-model", &[]),
    ("why", &[List("outcomes"), Text("minutes"), Text("otherwise")]),
    ("why-outcome", &[Text("answer"), List("suspects")]),
    ("why-band", &[Text("from"), Text("below")]),
    ("why-written", &[]),
    ("follows", &[List("outcomes")]),
    ("follows-outcome", &[Text("answer"), Text("check")]),
    ("follows-written", &[]),
    ("fits-sometimes", &[]),
    ("goes-without", &[Text("name")]),
    ("does-not-fit", &[Text("check"), Text("answer")]),
    ("repeat-same", &[]),
    ("repeat-differs", &[]),
    ("not-ruled-out-one", &[Text("words"), Text("share")]),
    ("note-go", &[]),
    ("note-kept", &[]),
    ("sum-ask", &[Text("ask"), Text("usual")]),
    ("sum-range", &[Text("value"), Text("low"), Text("high")]),
    ("sum-refused", &[Text("why")]),
    ("sum-result", &[Text("name"), Text("given"), Text("result"), Text("of")]),
    ("shorter", &[]),
    ("longer", &[]),
    ("louder", &[]),
    ("quieter", &[]),
    ("stop-confirm", &[]),
    ("stopped", &[]),
    ("escape-flickers", &[]),
    ("escape-sometimes", &[]),
    ("escape-changed", &[]),
    ("colours-differ", &[]),
    ("mic-lost", &[]),
    ("mic-back", &[]),
    ("clock-set-back", &[]),
    ("storage-failed", &[Text("why")]),
    ("storage-waits", &[]),
    ("record-nearly-full", &[]),
    ("record-refused", &[Text("why")]),
    ("sound-not-kept", &[]),
    ("record-kept", &[]),
    ("record-not-kept", &[Text("why"), Number("readings"), Text("place")]),
    ("state-differs", &[Text("changes")]),
    ("restate-state", &[Text("state")]),
    ("resumed", &[]),
    ("repaired", &[]),
    ("finished", &[Text("title")]),
    ("digest", &[Text("digits"), Text("figures")]),
    ("left-right", &[]),
    ("manual-first", &[]),
    ("signal-danger", &[]),
    ("signal-warning", &[]),
    ("signal-caution", &[]),
    ("signal-notice", &[]),
    ("caution", &[Text("signal"), Text("text")]),
    ("concluded-cause", &[Text("cause")]),
    ("concluded-because", &[List("items")]),
    ("concluded-remedy", &[Text("remedy")]),
    ("concluded-disagrees", &[Text("words"), Text("share"), Text("check")]),
    ("concluded-not-ruled-out", &[List("items")]),
    ("concluded-rules-out", &[List("items")]),
    ("concluded-not-tested", &[List("items")]),
    ("concluded-recheck", &[List("items")]),
    ("concluded-put-back", &[List("items")]),
];

/// Why a sentence could not be formed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SentenceError {
    /// No such key.
    #[error("the vocabulary has no sentence `{key}`")]
    Unknown {
        /// The key asked for.
        key: String,
    },
    /// The template does not fit its data.
    #[error("the sentence `{key}` cannot be filled in: {why}")]
    Template {
        /// The sentence.
        key: String,
        /// The template engine's message.
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
    /// `taught`: the words that any sentence may teach.
    pub(super) fn new(by_key: BTreeMap<String, String>, taught: &serde_json::Value) -> Self {
        let mut engine = template::environment();
        engine.add_filter("upper_first", upper_first);
        engine.add_global("taught", to_template_value(taught));
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
        if let Some(why) = template::beyond_bounds(source) {
            return Err(SentenceError::Template { key: key.to_owned(), why });
        }
        self.engine.render_str(source, to_template_value(given)).map_err(|e| SentenceError::Template {
            key: key.to_owned(),
            why: e.detail().map_or_else(|| e.kind().to_string(), str::to_owned),
        })
    }
}

/// The text with its first letter in upper case. The rest is unchanged.
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

/// Made-up data of the right shape, for trying out a template.
pub(super) fn sample(given: &[Field]) -> serde_json::Value {
    let fields = given.iter().map(|field| match field {
        Text(name) => ((*name).to_owned(), "words".into()),
        List(name) => ((*name).to_owned(), vec!["first", "second"].into()),
        Number(name) => ((*name).to_owned(), 2.into()),
        Flag(name) => ((*name).to_owned(), true.into()),
    });
    serde_json::Value::Object(fields.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn one(source: &str) -> Templates {
        Templates::new([("key".to_owned(), source.to_owned())].into(), &json!({}))
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
