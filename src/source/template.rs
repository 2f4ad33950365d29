//! Jinja templates: their syntax, the names they use, and rendering with strict names and bounded work. A whole number is written without
//! decimals: "12 volt", not "12.0 volt".

use super::shape::LONGEST_TEXT;
use super::{Diagnostic, Written};
use minijinja::value::ValueKind;
use minijinja::{Environment, Error, ErrorKind, Output, State, UndefinedBehavior, Value};
use std::collections::{BTreeMap, BTreeSet};

/// Most steps of work for one text.
const FUEL: u64 = 20_000;
/// Longest output of a template, bytes.
const LONGEST: usize = 20_000;

/// Longest piece in braces, characters. Deeper nesting would exhaust the stack. The longest shipped piece has about seventy.
const LONGEST_PIECE: usize = 300;
/// Allowed tags. The others can assign names. A list that contains itself repeatedly takes hardly any work to build, but writing or
/// comparing it exceeds any memory.
const TAGS: [&str; 6] = ["if", "elif", "else", "endif", "for", "endfor"];
/// Filters and functions that build lists of lists, or write out a list.
const NO_FILTERS: [&str; 13] = [
    "batch", "chain", "dictsort", "format", "groupby", "indent", "items", "list", "map", "pprint", "slice", "string",
    "zip",
];
const NO_FUNCTIONS: [&str; 3] = ["debug", "dict", "namespace"];

/// The engine for templates from files. Unknown names are errors, and work is bounded.
pub fn environment() -> Environment<'static> {
    let mut env = Environment::new();
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    env.set_fuel(Some(FUEL));
    env.set_auto_escape_callback(|_| minijinja::AutoEscape::None);
    env.set_formatter(|out, state, value| match value.kind() {
        ValueKind::Seq | ValueKind::Map | ValueKind::Iterable => Err(Error::new(
            ErrorKind::InvalidOperation,
            "a list or a mapping cannot be said; take an item, or join them",
        )),
        _ => format_value(out, state, value),
    });
    NO_FILTERS.iter().for_each(|name| env.remove_filter(name));
    NO_FUNCTIONS.iter().for_each(|name| env.remove_global(name));
    env
}

/// Why a template is not allowed: a forbidden construct, or so much length that its nesting would exhaust the stack.
pub fn beyond_bounds(template: &str) -> Option<String> {
    if template.chars().nth(LONGEST_TEXT).is_some() {
        return Some(format!("it is longer than {LONGEST_TEXT} characters"));
    }
    let mut rest = template;
    while let Some(at) = rest.find("{%") {
        rest = &rest[at + 2..];
        let inner = rest.split("%}").next().unwrap_or_default().trim_matches(['-', '+', ' ', '\t', '\n', '\r']);
        let (tag, head) = inner.split_at(inner.find(|c: char| !c.is_alphanumeric()).unwrap_or(inner.len()));
        if !TAGS.contains(&tag) {
            return Some(format!("`{tag}` is not among its tags: if, elif, else, for"));
        }
        let of = head.split(" in ").nth(1).unwrap_or_default().split(" if ").next().unwrap_or_default();
        let is_name = |c: char| c.is_alphanumeric() || matches!(c, '_' | '.' | ' ');
        if tag == "for" && !of.chars().all(is_name) {
            return Some(format!("`for` goes over what has a name, not over `{}`", of.trim()));
        }
    }
    let pieces = ["{{", "{%"].into_iter().flat_map(|begin| template.split(begin).skip(1));
    for piece in pieces {
        let piece = piece.split("}}").next().and_then(|piece| piece.split("%}").next()).unwrap_or_default();
        if piece.chars().nth(LONGEST_PIECE).is_some() {
            return Some(format!("what stands in its braces is longer than {LONGEST_PIECE} characters"));
        }
        if piece.contains('~') {
            return Some("`~` is not among its operators; write the two side by side".to_owned());
        }
    }
    None
}

fn format_value(out: &mut Output<'_>, state: &mut State<'_, '_>, value: &Value) -> Result<(), Error> {
    const WHOLE_BELOW: f64 = 1e15;
    let number = if value.is_number() { f64::try_from(value.clone()).ok() } else { None };
    match number {
        Some(number) if number.fract() == 0.0 && number.abs() < WHOLE_BELOW => {
            out.write_str(&format!("{number:.0}")).map_err(Error::from)
        }
        _ => minijinja::escape_formatter(out, state, value),
    }
}

fn finding(template: &Written<String>, error: &Error, verb: &str) -> Diagnostic {
    let detail = error.detail().map(|detail| format!(" ({detail})")).unwrap_or_default();
    let line = match error.line() {
        Some(line) if line > 1 => format!(" in its line {line}"),
        _ => String::new(),
    };
    let message = format!("the template {verb}{line}: {}{detail}", error.kind());
    Diagnostic::error(&template.place, "template", message).help(format!("It reads: {}", **template))
}

/// Rejects a template that exceeds the bounds.
fn bounded(template: &Written<String>) -> Result<(), Diagnostic> {
    beyond_bounds(template).map_or(Ok(()), |why| {
        let message = format!("the template does not come out: {why}");
        Err(Diagnostic::error(&template.place, "template", message).help("Write it with fewer means, or say less."))
    })
}

/// Checks the syntax of `template`.
///
/// # Errors
/// The syntax error.
pub fn check_syntax(template: &Written<String>) -> Result<(), Diagnostic> {
    bounded(template)?;
    let env = environment();
    env.template_from_str(template).map(|_| ()).map_err(|error| finding(template, &error, "is not well-formed"))
}

/// The dotted names that `template` takes from outside: `bike.name`, `set.side_words`.
pub fn names(template: &str) -> BTreeSet<String> {
    if beyond_bounds(template).is_some() {
        return BTreeSet::new();
    }
    let env = environment();
    env.template_from_str(template).map(|t| t.undeclared_variables(true).into_iter().collect()).unwrap_or_default()
}

/// Whether the text contains anything to render.
pub fn is_template(text: &str) -> bool {
    text.contains(['{', '}'])
}

/// Renders `template` with `given`, the values by name.
///
/// # Errors
/// An unknown name, a filter that fails, too much work or text.
pub fn render<'v>(
    template: &Written<String>,
    given: impl Iterator<Item = (&'v str, &'v serde_json::Value)>,
) -> Result<String, Diagnostic> {
    if !is_template(template) {
        return Ok(template.value.clone());
    }
    bounded(template)?;
    let env = environment();
    // Names that the text does not use need no conversion.
    let named = given.filter(|(name, _)| template.contains(name));
    let named: BTreeMap<String, Value> = named.map(|(name, value)| (name.to_owned(), to_value(value))).collect();
    let text = env
        .template_from_str(template)
        .and_then(|parsed| parsed.render(Value::from(named)))
        .map_err(|error| finding(template, &error, "does not come out"))?;
    if text.len() > LONGEST {
        return Err(Diagnostic::error(
            &template.place,
            "template",
            format!("the template gives more than {LONGEST} bytes"),
        ));
    }
    Ok(text)
}

/// Renders an HTML page: `template` with `given`. Every text is escaped unless the template says `safe`. Only for the program's own
/// templates, because the work is not bounded.
///
/// # Errors
/// An error in the template, or an unknown name.
pub fn html(template: &str, given: &serde_json::Value) -> Result<String, Error> {
    let mut env = Environment::new();
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    env.set_auto_escape_callback(|_| minijinja::AutoEscape::Html);
    env.set_formatter(format_value);
    env.template_from_str(template)?.render(to_value(given))
}

fn to_value(json: &serde_json::Value) -> Value {
    use serde_json::Value as Json;
    match json {
        Json::Null => Value::from(()),
        Json::Bool(truth) => Value::from(*truth),
        Json::Number(number) => Value::from(number.as_f64().unwrap_or(f64::NAN)),
        Json::String(text) => Value::from(text.as_str()),
        Json::Array(items) => items.iter().map(to_value).collect(),
        Json::Object(fields) => map_value(fields),
    }
}

fn map_value(fields: &serde_json::Map<String, serde_json::Value>) -> Value {
    let fields: BTreeMap<String, Value> = fields.iter().map(|(name, value)| (name.clone(), to_value(value))).collect();
    Value::from(fields)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::whole_file;
    use serde_json::json;

    fn text(template: &str) -> Written<String> {
        Written { value: template.to_owned(), place: whole_file("f") }
    }

    #[test]
    fn pages_are_escaped() {
        let given = json!({"a": "<script>\"'&", "n": 3.0, "b": ["<b>"]});
        let page = html("{{ a }} {{ n }} {% for x in b %}{{ x }}{% endfor %}", &given).unwrap();
        assert_eq!(page, "&lt;script&gt;&quot;&#x27;&amp; 3 &lt;b&gt;");
        assert!(html("{{ absent }}", &given).is_err());
    }

    #[test]
    fn renders_strictly_and_within_bounds() {
        let given = json!({"bike": {"volt": 12.0, "ohm": 4.5, "name": "A & B"}});
        let out = |t: &str| {
            render(&text(t), given.as_object().unwrap().iter().map(|(n, v)| (n.as_str(), v))).map_err(|d| d.message)
        };
        assert_eq!(
            out("{{ bike.volt }} volt, {{ bike.ohm }} ohm, {{ bike.name }}").unwrap(),
            "12 volt, 4.5 ohm, A & B"
        );
        assert!(out("{{ bike.none }}").unwrap_err().contains("undefined"));
        assert!(out("{% for a in range(9000) %}{% for b in range(9000) %}x{% endfor %}{% endfor %}").is_err());
        assert!(check_syntax(&text("{{ bike")).is_err());
        assert_eq!(
            names("{{ bike.volt }} {{ set.side_words }}"),
            ["bike.volt", "set.side_words"].map(String::from).into()
        );
    }
}
