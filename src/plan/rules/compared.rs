//! Texts that a condition compares with a known field: `l.sku == "POT-1"`. A name that
//! nothing has would make a rule that never applies, so it is a mistake worth telling.

use cel::common::ast::{CallExpr, EntryExpr, Expr, IdedExpr, LiteralValue, operators};

/// Pairs of field and text, in the order in which they are written.
pub fn texts(expression: &IdedExpr) -> Vec<(String, String)> {
    let mut found = Vec::new();
    walk(expression, &mut found);
    found
}

fn walk(expression: &IdedExpr, found: &mut Vec<(String, String)>) {
    match &expression.expr {
        Expr::Unspecified | Expr::Literal(_) | Expr::Ident(_) => {}
        Expr::Call(call) => {
            compare(call, found);
            call.target.iter().for_each(|target| walk(target, found));
            call.args.iter().for_each(|argument| walk(argument, found));
        }
        Expr::Select(select) => walk(&select.operand, found),
        Expr::List(list) => list.elements.iter().for_each(|element| walk(element, found)),
        Expr::Map(map) => map.entries.iter().for_each(|entry| walk_entry(&entry.expr, found)),
        Expr::Struct(of) => of.entries.iter().for_each(|entry| walk_entry(&entry.expr, found)),
        Expr::Comprehension(of) => {
            for part in [&of.iter_range, &of.accu_init, &of.loop_cond, &of.loop_step, &of.result] {
                walk(part, found);
            }
        }
    }
}

fn walk_entry(entry: &EntryExpr, found: &mut Vec<(String, String)>) {
    match entry {
        EntryExpr::StructField(field) => walk(&field.value, found),
        EntryExpr::MapEntry(entry) => {
            walk(&entry.key, found);
            walk(&entry.value, found);
        }
    }
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
