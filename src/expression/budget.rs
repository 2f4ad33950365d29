//! Limits the work and the memory of one expression.
//!
//! Each evaluation has a budget of [`MOST_STEPS`]. One round of a loop costs as many steps as its body has terms. A value that may be
//! larger than a number costs its size ([`size`]) every time it is used: in a call, a comparison, a concatenation, a list or a loop, or as
//! the result. So the work is at most proportional to the steps, and so is the memory: a new value consists of values that were paid for,
//! and is itself paid for before anything larger is built from it. An evaluation over budget stops at once. An `||` or a loop that would
//! swallow the error stops at its own next step.
//!
//! The steps are calls of a function that no text can name. They are inserted into the syntax tree before evaluation.

use super::syntax::parts;
use cel::common::ast::{CallExpr, ComprehensionExpr, EntryExpr, Expr, IdedExpr, LiteralValue, operators};
use cel::common::types::{CelBytes, CelInt, CelList, CelMap, CelString, DYN_TYPE, INT_TYPE};
use cel::common::value::{CowVal, Val};
use cel::{Env, ExecutionError};
use std::cell::{Cell, OnceCell};
use std::sync::Arc;

/// Most steps in one evaluation. The shipped expressions take at most a few thousand (`tests/budget.rs`).
pub const MOST_STEPS: u64 = 200_000;
/// Most loops in one expression. Deeper nesting would exhaust the stack.
pub(super) const MOST_LOOPS: usize = 16;
/// Bytes of text that cost one step.
const BYTES_A_STEP: usize = 16;
/// The function that takes steps. No identifier can start with `@`.
const SPEND: &str = "@spend";

thread_local! {
    /// Steps left in the current evaluation.
    static LEFT: Cell<u64> = const { Cell::new(0) };
    static LANGUAGE: OnceCell<Arc<Env>> = const { OnceCell::new() };
}

/// The language's functions and [`SPEND`]. Optional values are left out because they would hide their size.
pub(super) fn language() -> Arc<Env> {
    LANGUAGE.with(|language| {
        let made = || {
            let mut env = Env::default().with_optional_support(false).with_stdlib();
            // The name is never taken. If the function were missing, every expression would fail.
            let _ = env.add_overload(SPEND, SPEND, vec![INT_TYPE, DYN_TYPE], spend);
            Arc::new(env)
        };
        language.get_or_init(made).clone()
    })
}

/// Runs `work` with a full budget. Returns its result and the steps it took; `None` if the budget ran out.
pub(super) fn within<T>(work: impl FnOnce() -> T) -> (T, Option<u64>) {
    LEFT.set(MOST_STEPS);
    let done = work();
    let left = LEFT.get();
    (done, (left > 0).then(|| MOST_STEPS - left))
}

/// Deducts `times` the size of `value` from the budget and returns `value` unchanged.
fn spend<'b, 'v>(args: Vec<CowVal<'b, 'v>>) -> Result<CowVal<'b, 'v>, ExecutionError> {
    let spent = || ExecutionError::function_error("budget", "it is spent");
    let [times, value] = <[CowVal<'b, 'v>; 2]>::try_from(args).map_err(|_| spent())?;
    let times = times.downcast_ref::<CelInt>().map_or(1, |times| (*times.inner()).max(1) as u64);
    let left = LEFT.get();
    let cost = size(value.as_ref(), left / times).saturating_mul(times);
    LEFT.set(left.saturating_sub(cost));
    if cost < left { Ok(value) } else { Err(spent()) }
}

/// The size of a value: its number of parts, with texts counted by length. Stops counting above `most`.
fn size(value: &(dyn Val + '_), most: u64) -> u64 {
    let mut sum: u64 = 1;
    if let Some(text) = value.downcast_ref::<CelString>() {
        sum += (text.inner().len() / BYTES_A_STEP) as u64;
    } else if let Some(bytes) = value.downcast_ref::<CelBytes>() {
        sum += (bytes.inner().len() / BYTES_A_STEP) as u64;
    } else if let Some(list) = value.downcast_ref::<CelList>() {
        for item in list.inner() {
            if sum > most {
                break;
            }
            sum += size(item.as_ref(), most - sum);
        }
    } else if let Some(map) = value.downcast_ref::<CelMap>() {
        for (key, item) in map.inner() {
            if sum > most {
                break;
            }
            sum += size(key.inner(), most - sum);
            sum += size(item.as_ref(), most.saturating_sub(sum));
        }
    }
    sum
}

/// Inserts the steps into a syntax tree.
pub(super) fn bound(tree: &mut IdedExpr) {
    step(tree, 1);
}

/// Inserts the steps into a node whose value is used, and makes it cost `times` its size.
fn step(tree: &mut IdedExpr, times: usize) {
    put(tree);
    if may_be_large(tree) {
        pay(tree, times);
    }
}

/// Makes a node cost `times` the size of its value.
fn pay(tree: &mut IdedExpr, times: usize) {
    let inner = std::mem::take(tree);
    let times = IdedExpr { id: inner.id, expr: Expr::Literal(LiteralValue::Int((times as i64).into())) };
    let id = inner.id;
    let call = CallExpr { func_name: SPEND.to_owned(), target: None, args: vec![times, inner] };
    *tree = IdedExpr { id, expr: Expr::Call(call) };
}

/// Whether a node's value may be larger than a number. A literal is as large as it is written.
fn may_be_large(tree: &IdedExpr) -> bool {
    use operators::*;
    match &tree.expr {
        Expr::Literal(_) | Expr::Unspecified => false,
        Expr::Call(call) => !matches!(
            call.func_name.as_str(),
            LOGICAL_AND
                | LOGICAL_OR
                | LOGICAL_NOT
                | NOT_STRICTLY_FALSE
                | SUBSTRACT
                | MULTIPLY
                | DIVIDE
                | MODULO
                | NEGATE
                | EQUALS
                | NOT_EQUALS
                | GREATER_EQUALS
                | LESS_EQUALS
                | GREATER
                | LESS
                | IN
                | "size"
                | "double"
                | SPEND
        ),
        _ => true,
    }
}

/// Whether this is a loop's accumulator, by the name that macros give it.
fn is_so_far(tree: &IdedExpr) -> bool {
    matches!(&tree.expr, Expr::Ident(name) if name.starts_with('@'))
}

/// Inserts the steps into a node's children.
fn put(tree: &mut IdedExpr) {
    use operators::*;
    match &mut tree.expr {
        Expr::Call(call) => match call.func_name.as_str() {
            ADD if call.args.first().is_some_and(is_so_far) => call.args.iter_mut().skip(1).for_each(put),
            ADD => put_sum(call, 1),
            CONDITIONAL | LOGICAL_AND | LOGICAL_OR | LOGICAL_NOT | NOT_STRICTLY_FALSE => {
                call.args.iter_mut().for_each(put)
            }
            INDEX => {
                let mut args = call.args.iter_mut();
                args.next().into_iter().for_each(put);
                args.for_each(|index| step(index, 1));
            }
            _ => {
                call.target.iter_mut().for_each(|target| step(target, 1));
                call.args.iter_mut().for_each(|arg| step(arg, 1));
            }
        },
        Expr::Comprehension(each) => put_loop(each),
        Expr::List(list) => list.elements.iter_mut().for_each(|item| step(item, 1)),
        Expr::Map(map) => {
            for entry in &mut map.entries {
                if let EntryExpr::MapEntry(entry) = &mut entry.expr {
                    step(&mut entry.key, 1);
                    step(&mut entry.value, 1);
                }
            }
        }
        Expr::Select(select) => put(&mut select.operand),
        Expr::Struct(_) | Expr::Unspecified | Expr::Ident(_) | Expr::Literal(_) => {}
    }
}

/// A chain of sums copies its first operands repeatedly, so each operand is paid for once per copy.
fn put_sum(call: &mut CallExpr, times: usize) {
    for arg in &mut call.args {
        match &mut arg.expr {
            Expr::Call(inner) if inner.func_name == operators::ADD && !inner.args.first().is_some_and(is_so_far) => {
                put_sum(inner, times + 1);
            }
            _ => step(arg, times),
        }
    }
}

/// A loop copies its range item by item. Each round costs the terms of the body.
fn put_loop(each: &mut ComprehensionExpr) {
    let round = terms(&mut each.loop_cond) + terms(&mut each.loop_step);
    step(&mut each.iter_range, 1);
    step(&mut each.accu_init, 1);
    put(&mut each.loop_cond);
    put(&mut each.loop_step);
    put(&mut each.result);
    // Where a list is collected, condition and step must keep their shape; otherwise the evaluator collects it by copying.
    let gathers = matches!(each.loop_cond.expr, Expr::Literal(_));
    let pays = match &mut each.loop_step.expr {
        Expr::Call(call) if gathers && call.func_name == operators::CONDITIONAL => call.args.first_mut(),
        Expr::Call(call) if gathers && call.func_name == operators::ADD => match &mut call.args[..] {
            [_, IdedExpr { expr: Expr::List(list), .. }] => list.elements.first_mut(),
            _ => None,
        },
        _ => None,
    };
    pay(pays.unwrap_or(&mut each.loop_cond), round);
}

/// The number of terms in a node.
fn terms(tree: &mut IdedExpr) -> usize {
    let mut sum = 1;
    parts(tree, &mut |part| sum += terms(part));
    sum
}
