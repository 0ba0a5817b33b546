//! The parts of a condition, for those who walk through it.

use cel::common::ast::{EntryExpr, Expr, IdedExpr};

/// What stands directly within an expression, in the order in which it is written.
pub fn children(expression: &IdedExpr) -> Vec<&IdedExpr> {
    match &expression.expr {
        Expr::Unspecified | Expr::Literal(_) | Expr::Ident(_) => Vec::new(),
        Expr::Call(call) => call.target.iter().map(|target| &**target).chain(&call.args).collect(),
        Expr::Select(select) => vec![&*select.operand],
        Expr::List(list) => list.elements.iter().collect(),
        Expr::Map(map) => map.entries.iter().flat_map(|entry| of_entry(&entry.expr)).collect(),
        Expr::Struct(of) => of.entries.iter().flat_map(|entry| of_entry(&entry.expr)).collect(),
        Expr::Comprehension(of) => vec![&of.iter_range, &of.accu_init, &of.loop_cond, &of.loop_step, &of.result],
    }
}

fn of_entry(entry: &EntryExpr) -> Vec<&IdedExpr> {
    match entry {
        EntryExpr::StructField(field) => vec![&field.value],
        EntryExpr::MapEntry(entry) => vec![&entry.key, &entry.value],
    }
}
