//! Expressions in Common Expression Language: their syntax check, the names they use, and their evaluation within a budget of work and
//! memory. All numbers are doubles.

use super::budget::{self, MOST_LOOPS, MOST_STEPS};
use super::scope::{kept_values, same_values};
use super::syntax::{Count, called, make_doubles, parts};
use super::{Expression, Scope, sums};
use crate::source::Diagnostic;
use crate::source::shape::LONGEST_EXPRESSION;
use crate::sums::Sum;
use cel::common::ast::{Expr, IdedExpr};
use cel::objects::{Key, Map};
use cel::parser::Parser;
use cel::{Context, Value};
use serde_json::Value as Json;
use std::cell::{Cell, RefCell};
use std::collections::{BTreeSet, HashMap};
use std::rc::Rc;
use std::sync::Arc;

/// Deepest nesting in an expression.
const DEEPEST: u16 = 48;
/// Most terms in an expression, counted as nodes of its syntax tree.
const MOST_TERMS: usize = 1_000;
/// Most characters quoted from an evaluation error, which may contain a whole value.
const LONGEST_ERROR: usize = 300;

fn finding(expression: &Expression, message: String) -> Diagnostic {
    Diagnostic::error(&expression.place, "expression", message).help(format!("It reads: {}", **expression))
}

fn compile(expression: &Expression) -> Result<IdedExpr, Diagnostic> {
    if expression.len() > LONGEST_EXPRESSION {
        let message = format!("the expression is longer than {LONGEST_EXPRESSION} bytes");
        return Err(Diagnostic::error(&expression.place, "expression", message).help("Split it over several steps."));
    }
    let parsed = Parser::new().max_recursion_depth(DEEPEST).parse(expression);
    let mut tree = parsed.map_err(|errors| {
        let first = errors.errors.first().map(|error| error.msg.clone()).unwrap_or_default();
        // The parser's list of expected tokens helps nobody.
        let first = first.split(" expecting ").next().unwrap_or_default().replace("'<EOF>'", "end");
        finding(expression, format!("the expression is not well-formed: {first}"))
    })?;
    let mut count = Count::default();
    make_doubles(&mut tree, &mut count);
    let too_many =
        |most: usize, what: &str| Err(finding(expression, format!("the expression has more than {most} {what}")));
    match count {
        Count { terms, .. } if terms > MOST_TERMS => too_many(MOST_TERMS, "terms"),
        Count { loops, .. } if loops > MOST_LOOPS => too_many(MOST_LOOPS, "loops"),
        _ => Ok(tree),
    }
}

/// Checks the syntax of `expression`.
///
/// # Errors
/// The first syntax error.
pub fn check_syntax(expression: &Expression) -> Result<(), Diagnostic> {
    compile(expression).map(|_| ())
}

/// A name that an expression uses.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Name {
    /// As written: `seen.rest_voltage`, `bike.points`, `set.coil.id`.
    pub path: String,
    /// The expression uses it only in `has(...)`.
    pub only_asked_for: bool,
}

/// The dotted names that `expression` takes from outside. Empty if it is not well-formed.
pub fn names(expression: &Expression) -> Vec<Name> {
    let Ok(mut tree) = compile(expression) else { return Vec::new() };
    let mut found = NameUses::default();
    found.walk(&mut tree, &mut Vec::new());
    let asked = found.asked.iter().filter(|path| !found.used.contains(*path)).cloned();
    let guarded = |path: &String| found.asked.contains(path);
    let used = found.used.iter().map(|path| Name { path: path.clone(), only_asked_for: guarded(path) });
    used.chain(asked.map(|path| Name { path, only_asked_for: true })).collect()
}

#[derive(Default)]
struct NameUses {
    used: BTreeSet<String>,
    asked: BTreeSet<String>,
}

impl NameUses {
    fn walk(&mut self, tree: &mut IdedExpr, bound: &mut Vec<String>) {
        if let Some((path, asked)) = dotted(tree) {
            let root = path.split('.').next().unwrap_or_default();
            if !bound.iter().any(|name| name == root) && !root.starts_with('@') {
                if asked {
                    self.asked.insert(path)
                } else {
                    self.used.insert(path)
                };
            }
            return;
        }
        if let Expr::Comprehension(all) = &mut tree.expr {
            self.walk(&mut all.iter_range, bound);
            let outside = bound.len();
            bound.extend([all.iter_var.clone(), all.accu_var.clone()]);
            bound.extend(all.iter_var2.clone());
            for part in [&mut all.accu_init, &mut all.loop_cond, &mut all.loop_step, &mut all.result] {
                self.walk(part, bound);
            }
            bound.truncate(outside);
            return;
        }
        let mut inner = Vec::new();
        parts(tree, &mut |part| inner.push(part));
        inner.into_iter().for_each(|part| self.walk(part, bound));
    }
}

/// The dotted name that `tree` forms, and whether it stands in `has(...)`.
fn dotted(tree: &IdedExpr) -> Option<(String, bool)> {
    match &tree.expr {
        Expr::Ident(name) => Some((name.clone(), false)),
        Expr::Select(select) => {
            let (path, _) = dotted(&select.operand)?;
            Some((format!("{path}.{}", select.field), select.test))
        }
        _ => None,
    }
}

/// Most parsed expressions in the cache.
const MOST_READY: usize = 4096;
/// Most cached values of one expression: a few rounds, and what was seen in them.
const MOST_KNOWN: usize = 64;

/// Most steps' worth of cached values over all expressions.
const MOST_REMEMBERED: u64 = 1_000_000;

/// A parsed expression. A proof evaluates the same limit many thousand times.
struct Ready {
    tree: IdedExpr,
    /// The workshop sums that it calls.
    sums: Vec<&'static Sum>,
    /// The fields it reads of what was seen; `None` if it uses the whole object.
    fields: Option<BTreeSet<String>>,
    known: RefCell<Vec<Known>>,
}

/// A cached value and its inputs: the bike and the loops' items, which stay shared while they are cached, and the fields of what was seen
/// that the expression reads.
struct Known {
    with: Vec<(String, Arc<Json>)>,
    seen: Vec<Option<Json>>,
    value: Value,
}

thread_local! {
    /// Parsed expressions by text.
    static READY: RefCell<HashMap<String, Rc<Ready>>> = RefCell::default();
    /// Steps that the cached values took. No value is larger than its steps.
    static REMEMBERED: Cell<u64> = const { Cell::new(0) };
}

fn ready(expression: &Expression) -> Result<Rc<Ready>, Diagnostic> {
    if let Some(known) = READY.with_borrow(|all| all.get(&expression.value).cloned()) {
        return Ok(known);
    }
    let mut tree = compile(expression)?;
    let mut found = NameUses::default();
    found.walk(&mut tree, &mut Vec::new());
    let paths = || found.used.iter().chain(&found.asked);
    let field = |path: &String| Some(path.strip_prefix("seen.")?.split('.').next()?.to_owned());
    let fields = (!paths().any(|path| path == "seen")).then(|| paths().filter_map(field).collect());
    let sums = sums::among(&called(&mut tree));
    budget::bound(&mut tree);
    let made = Rc::new(Ready { sums, tree, fields, known: RefCell::default() });
    READY.with_borrow_mut(|all| {
        if all.len() >= MOST_READY {
            all.clear();
        }
        all.insert(expression.value.clone(), made.clone());
    });
    Ok(made)
}

/// The value of an expression and the steps it took; zero steps if it was cached.
fn evaluate(expression: &Expression, scope: &Scope) -> Result<(Value, u64), Diagnostic> {
    let ready = ready(expression)?;
    // Names that the expression does not use need no conversion.
    let named: Vec<(&str, &Arc<Json>)> = scope.shared().filter(|(name, _)| expression.contains(name)).collect();
    let seen = scope.seen();
    let fields: Vec<Option<&Json>> = ready.fields.iter().flatten().map(|field| seen.get(field)).collect();
    if ready.fields.is_some() {
        let same = |one: &&Known| {
            same_values(&one.with, &named) && one.seen.iter().map(Option::as_ref).eq(fields.iter().copied())
        };
        if let Some(one) = ready.known.borrow().iter().find(same) {
            return Ok((one.value.clone(), 0));
        }
    }
    let mut context = Context::with_env(budget::language());
    for (name, value) in &named {
        context.add_variable_from_value((*name).to_owned(), to_cel(value));
    }
    if expression.contains("seen") {
        context.add_variable_from_value("seen".to_owned(), to_cel(seen));
    }
    sums::add_to(&mut context, &ready.sums);
    let (value, steps) = budget::within(|| Value::resolve(&ready.tree, &context));
    let steps = steps.ok_or_else(|| {
        let message = format!("the expression does too much: it takes more than {MOST_STEPS} steps");
        Diagnostic::error(&expression.place, "expression", message)
            .help("Loop over less, compare or join less at once, or split it over several steps.")
    })?;
    let value = value.map_err(|error| {
        let error: String = error.to_string().chars().take(LONGEST_ERROR).collect();
        finding(expression, format!("the expression does not come out: {error}"))
    })?;
    if ready.fields.is_some() {
        if REMEMBERED.get() + steps > MOST_REMEMBERED {
            READY.with_borrow_mut(HashMap::clear);
            REMEMBERED.set(0);
        }
        REMEMBERED.set(REMEMBERED.get() + steps);
        let mut known = ready.known.borrow_mut();
        if known.len() >= MOST_KNOWN {
            known.clear();
        }
        known.push(Known {
            with: kept_values(&named),
            seen: fields.into_iter().map(|value| value.cloned()).collect(),
            value: value.clone(),
        });
    }
    Ok((value, steps))
}

/// The number of steps that an expression takes. For tests and measurements.
///
/// # Errors
/// As [`evaluate_bool`].
pub fn steps(expression: &Expression, scope: &Scope) -> Result<u64, Diagnostic> {
    evaluate(expression, scope).map(|(_, steps)| steps)
}

fn wanted<T>(expression: &Expression, what: &str, value: &Value) -> Result<T, Diagnostic> {
    let given = match value {
        Value::Bool(_) => "true or false",
        Value::Float(_) | Value::Int(_) | Value::UInt(_) => "a number",
        Value::String(_) => "a text",
        Value::List(_) => "a list",
        Value::Map(_) => "a mapping",
        _ => "something else",
    };
    let message = format!("the expression gives {given} where {what} is needed");
    Err(finding(expression, message))
}

/// Evaluates `expression` to a boolean.
///
/// # Errors
/// A syntax error, an unknown name, or a result of another type.
pub fn evaluate_bool(expression: &Expression, scope: &Scope) -> Result<bool, Diagnostic> {
    match evaluate(expression, scope)?.0 {
        Value::Bool(truth) => Ok(truth),
        other => wanted(expression, "true or false", &other),
    }
}

/// Evaluates `expression` to a finite number.
///
/// # Errors
/// As [`evaluate_bool`].
pub fn evaluate_number(expression: &Expression, scope: &Scope) -> Result<f64, Diagnostic> {
    match evaluate(expression, scope)?.0 {
        Value::Float(number) if number.is_finite() => Ok(number),
        Value::Float(_) => Err(finding(expression, "the expression gives no finite number".to_owned())),
        Value::Int(number) => Ok(number as f64),
        Value::UInt(number) => Ok(number as f64),
        other => wanted(expression, "a number", &other),
    }
}

/// Evaluates `expression` to a list.
///
/// # Errors
/// As [`evaluate_bool`].
pub fn evaluate_list(expression: &Expression, scope: &Scope) -> Result<Vec<Json>, Diagnostic> {
    /// Most rounds in a loop.
    const LONGEST: usize = 100;
    match evaluate(expression, scope)?.0 {
        Value::List(items) if items.len() <= LONGEST => Ok(items.iter().map(from_cel).collect()),
        Value::List(_) => Err(finding(expression, format!("the list has more than {LONGEST} items"))),
        other => wanted(expression, "a list", &other),
    }
}

fn to_cel(json: &Json) -> Value {
    match json {
        Json::Null => Value::Null,
        Json::Bool(truth) => Value::Bool(*truth),
        Json::Number(number) => Value::Float(number.as_f64().unwrap_or(f64::NAN)),
        Json::String(text) => Value::String(Arc::new(text.clone())),
        Json::Array(items) => Value::List(Arc::new(items.iter().map(to_cel).collect())),
        Json::Object(fields) => {
            let key = |name: &String| Key::String(Arc::new(name.clone()));
            let map: HashMap<Key, Value> = fields.iter().map(|(name, value)| (key(name), to_cel(value))).collect();
            Value::Map(Map { map: Arc::new(map) })
        }
    }
}

fn from_cel(value: &Value) -> Json {
    match value {
        Value::Bool(truth) => Json::Bool(*truth),
        Value::Float(number) => Json::from(*number),
        Value::Int(number) => Json::from(*number as f64),
        Value::UInt(number) => Json::from(*number as f64),
        Value::String(text) => Json::from(text.as_str()),
        Value::List(items) => items.iter().map(from_cel).collect(),
        Value::Map(map) => {
            let fields = map.map.iter().map(|(key, value)| (key.to_string(), from_cel(value)));
            let sorted: std::collections::BTreeMap<String, Json> = fields.collect();
            Json::Object(sorted.into_iter().collect())
        }
        _ => Json::Null,
    }
}
