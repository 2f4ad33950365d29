//! Syntax trees of Common Expression Language: their nodes, the functions they call, and the conversion of all numbers to doubles. It
//! converts whole literals and `size(...)`, except where they index a list, so `12` and `12.0` are the same.

use cel::common::ast::{CallExpr, EntryExpr, Expr, IdedExpr, LiteralValue, operators};

/// Calls `visit` on every node of `tree`.
pub(super) fn parts<'t>(tree: &'t mut IdedExpr, visit: &mut dyn FnMut(&'t mut IdedExpr)) {
    match &mut tree.expr {
        Expr::Call(call) => {
            call.target.iter_mut().for_each(|target| visit(target));
            call.args.iter_mut().for_each(visit);
        }
        Expr::Comprehension(all) => {
            visit(&mut all.iter_range);
            visit(&mut all.accu_init);
            visit(&mut all.loop_cond);
            visit(&mut all.loop_step);
            visit(&mut all.result);
        }
        Expr::List(list) => list.elements.iter_mut().for_each(visit),
        Expr::Map(map) => {
            for entry in &mut map.entries {
                if let EntryExpr::MapEntry(entry) = &mut entry.expr {
                    visit(&mut entry.key);
                    visit(&mut entry.value);
                }
            }
        }
        Expr::Select(select) => visit(&mut select.operand),
        Expr::Struct(of) => {
            for entry in &mut of.entries {
                if let EntryExpr::StructField(field) = &mut entry.expr {
                    visit(&mut field.value);
                }
            }
        }
        Expr::Unspecified | Expr::Ident(_) | Expr::Literal(_) => {}
    }
}

/// The size of a tree.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct Count {
    /// Terms: nodes of the tree.
    pub terms: usize,
    /// Loops: `map`, `filter`, `all` and the like.
    pub loops: usize,
}

/// The names of the functions that `tree` calls.
pub(super) fn called(tree: &mut IdedExpr) -> Vec<String> {
    let mut found = match &tree.expr {
        Expr::Call(call) => vec![call.func_name.clone()],
        _ => Vec::new(),
    };
    parts(tree, &mut |part| found.extend(called(part)));
    found
}

/// Makes every number in `tree` a double, and counts terms and loops.
pub(super) fn make_doubles(tree: &mut IdedExpr, count: &mut Count) {
    count.terms += 1;
    count.loops += usize::from(matches!(tree.expr, Expr::Comprehension(_)));
    if let Expr::Call(call) = &mut tree.expr
        && call.func_name == operators::INDEX
    {
        let mut index = call.args.iter_mut();
        if let Some(list) = index.next() {
            make_doubles(list, count);
        }
        return;
    }
    parts(tree, &mut |part| make_doubles(part, count));
    match &mut tree.expr {
        Expr::Literal(LiteralValue::Int(whole)) => {
            let double = *whole.inner() as f64;
            tree.expr = Expr::Literal(LiteralValue::Double(double.into()));
        }
        Expr::Call(call) if call.func_name == "size" => {
            let size = std::mem::take(call);
            let inner = IdedExpr { id: tree.id, expr: Expr::Call(size) };
            tree.expr = Expr::Call(CallExpr { func_name: "double".to_owned(), target: None, args: vec![inner] });
        }
        _ => {}
    }
}
