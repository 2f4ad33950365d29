//! A bound on the work and the memory of one expression.
//!
//! Every evaluation has [`MOST_STEPS`]. A loop's round costs as many steps as its body has terms. Whatever may be larger than a
//! number costs its size ([`size`]) each time that something is done with it: called with, compared, joined to something, put into a list, looped over,
//! or given as the result. So the work is at most in proportion to the steps, and so is the memory: a new value is
//! made of values that were paid for, and paid for itself before anything larger can be made of it. What is over the budget
//! stops at once; an `||` or a loop that would swallow the error stops at its own next step.
//!
//! The steps are calls of a function that no text can name, put into the syntax tree before it is evaluated.

use super::syntax::parts;
use cel::common::ast::{CallExpr, ComprehensionExpr, EntryExpr, Expr, IdedExpr, LiteralValue, operators};
use cel::common::types::{CelBytes, CelInt, CelList, CelMap, CelString, DYN_TYPE, INT_TYPE};
use cel::common::value::{CowVal, Val};
use cel::{Env, ExecutionError};
use std::cell::{Cell, OnceCell};
use std::sync::Arc;

/// Most steps of one evaluation. The shipped expressions take a few thousand at most (`tests/budget.rs`).
pub const MOST_STEPS: u64 = 200_000;
/// Most loops of one expression: deeper ones would use up the stack.
pub(super) const MOST_LOOPS: usize = 16;
/// Bytes of a text that count as one step.
const BYTES_A_STEP: usize = 16;
/// The function that takes steps. An identifier cannot begin so.
const SPEND: &str = "@spend";

thread_local! {
    /// Steps left of the evaluation at hand.
    static LEFT: Cell<u64> = const { Cell::new(0) };
    static LANGUAGE: OnceCell<Arc<Env>> = const { OnceCell::new() };
}

/// The language's functions and [`SPEND`]; without optional values, which would hide how large they are.
pub(super) fn language() -> Arc<Env> {
    LANGUAGE.with(|language| {
        let made = || {
            let mut env = Env::default().with_optional_support(false).with_stdlib();
            // It cannot be there already; were it missing, every expression would fail.
            let _ = env.add_overload(SPEND, SPEND, vec![INT_TYPE, DYN_TYPE], spend);
            Arc::new(env)
        };
        language.get_or_init(made).clone()
    })
}

/// Does `work` with a whole budget; what came of it and how many steps it took, none where they did not suffice.
pub(super) fn within<T>(work: impl FnOnce() -> T) -> (T, Option<u64>) {
    LEFT.set(MOST_STEPS);
    let done = work();
    let left = LEFT.get();
    (done, (left > 0).then(|| MOST_STEPS - left))
}

/// Takes `times` the size of `value` from what is left, and gives it back as it is.
fn spend<'b, 'v>(args: Vec<CowVal<'b, 'v>>) -> Result<CowVal<'b, 'v>, ExecutionError> {
    let spent = || ExecutionError::function_error("budget", "it is spent");
    let [times, value] = <[CowVal<'b, 'v>; 2]>::try_from(args).map_err(|_| spent())?;
    let times = times.downcast_ref::<CelInt>().map_or(1, |times| (*times.inner()).max(1) as u64);
    let left = LEFT.get();
    let cost = size(value.as_ref(), left / times).saturating_mul(times);
    LEFT.set(left.saturating_sub(cost));
    if cost < left { Ok(value) } else { Err(spent()) }
}

/// How large a value is: its parts, texts by their length. Looks no further where it is more than `most`.
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

/// Puts the steps into a syntax tree.
pub(super) fn bound(tree: &mut IdedExpr) {
    step(tree, 1);
}

/// Puts the steps into a part whose value is used, and makes it cost `times` its size.
fn step(tree: &mut IdedExpr, times: usize) {
    put(tree);
    if may_be_large(tree) {
        pay(tree, times);
    }
}

/// Makes a part cost `times` the size of its value.
fn pay(tree: &mut IdedExpr, times: usize) {
    let inner = std::mem::take(tree);
    let times = IdedExpr { id: inner.id, expr: Expr::Literal(LiteralValue::Int((times as i64).into())) };
    let id = inner.id;
    let call = CallExpr { func_name: SPEND.to_owned(), target: None, args: vec![times, inner] };
    *tree = IdedExpr { id, expr: Expr::Call(call) };
}

/// Whether a part's value may be larger than a number. A literal is as large as it is written.
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

/// The result of a loop so far, as macros name it.
fn is_so_far(tree: &IdedExpr) -> bool {
    matches!(&tree.expr, Expr::Ident(name) if name.starts_with('@'))
}

/// Puts the steps into the parts of a part.
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

/// A sum of sums copies its first parts again and again: each part costs as often as it is copied.
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

/// What is looped over is copied item by item; each round costs the terms of the body.
fn put_loop(each: &mut ComprehensionExpr) {
    let round = terms(&mut each.loop_cond) + terms(&mut each.loop_step);
    step(&mut each.iter_range, 1);
    step(&mut each.accu_init, 1);
    put(&mut each.loop_cond);
    put(&mut each.loop_step);
    put(&mut each.result);
    // Where a list is gathered, condition and step have to keep their shape, or it is gathered by copying.
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

/// How many terms a part has.
fn terms(tree: &mut IdedExpr) -> usize {
    let mut sum = 1;
    parts(tree, &mut |part| sum += terms(part));
    sum
}
