//! Texts that a condition compares with a known field: `l.sku == "POT-1"`. A name that
//! nothing has would make a rule that never applies, so it is a mistake worth telling.

use super::tree::children;
use cel::common::ast::{CallExpr, Expr, IdedExpr, LiteralValue, operators};

/// Pairs of field and text, in the order in which they are written.
pub fn texts(expression: &IdedExpr) -> Vec<(String, String)> {
    let mut found = Vec::new();
    walk(expression, &mut found);
    found
}

fn walk(expression: &IdedExpr, found: &mut Vec<(String, String)>) {
    if let Expr::Call(call) = &expression.expr {
        compare(call, found);
    }
    children(expression).into_iter().for_each(|child| walk(child, found));
}

/// `x.field == "text"`, either way round, and `x.field in ["text", …]`.
fn compare(call: &CallExpr, found: &mut Vec<(String, String)>) {
    let [left, right] = &call.args[..] else { return };
    let pairs: Vec<(&IdedExpr, &IdedExpr)> = match call.func_name.as_str() {
        operators::EQUALS | operators::NOT_EQUALS => vec![(left, right), (right, left)],
        operators::IN => match &right.expr {
            Expr::List(list) => list.elements.iter().map(|element| (left, element)).collect(),
            _ => return,
        },
        _ => return,
    };
    for (field, text) in pairs {
        if let (Expr::Select(select), Expr::Literal(LiteralValue::String(text))) = (&field.expr, &text.expr) {
            found.push((select.field.clone(), text.inner().to_owned()));
        }
    }
}
