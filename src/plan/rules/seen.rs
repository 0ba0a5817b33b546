//! What a condition looked at: each fact that it names, with its value for one order.

use super::tree::children;
use cel::common::ast::{Expr, IdedExpr};
use serde_json::Value;

/// Values of one fact that are shown; a list may hold hundreds.
const SHOWN_MAX: usize = 8;
/// Stands in a path for each entry of a list.
const EACH: &str = "*";

/// Facts by name (`order.country`, `goods.fragile`) with their values, each once, in the order in
/// which they are written.
pub fn seen(expression: &IdedExpr, facts: &Value) -> Vec<(String, String)> {
    let mut walk = Walk { loops: Vec::new(), paths: Vec::new() };
    walk.expression(expression);
    let mut told: Vec<(String, String)> = Vec::new();
    for path in walk.paths {
        let name = path.iter().filter(|step| *step != EACH).map(String::as_str).collect::<Vec<_>>().join(".");
        if !told.iter().any(|(known, _)| *known == name) {
            let mut values = Vec::new();
            resolve(facts, &path, &mut values);
            told.push((name, in_words(&values)));
        }
    }
    told
}

struct Walk {
    /// Names that loops around bind, with the list that they run over.
    loops: Vec<(String, Option<Vec<String>>)>,
    paths: Vec<Vec<String>>,
}

impl Walk {
    fn expression(&mut self, expression: &IdedExpr) {
        if let Some(path) = self.path(expression) {
            self.paths.push(path);
            return;
        }
        match &expression.expr {
            Expr::Comprehension(of) => {
                let over = self.path(&of.iter_range).map(|mut path| {
                    path.push(EACH.to_owned());
                    path
                });
                if over.is_none() {
                    self.expression(&of.iter_range);
                }
                let outer = self.loops.len();
                self.loops.push((of.iter_var.clone(), over));
                self.loops.push((of.accu_var.clone(), None));
                self.loops.extend(of.iter_var2.iter().map(|name| (name.clone(), None)));
                for inside in [&of.loop_cond, &of.loop_step, &of.result] {
                    self.expression(inside);
                }
                self.loops.truncate(outer);
            }
            _ => children(expression).into_iter().for_each(|child| self.expression(child)),
        }
    }

    /// `a.b.c` as a path from a fact's root, where it is one.
    fn path(&self, expression: &IdedExpr) -> Option<Vec<String>> {
        match &expression.expr {
            Expr::Ident(name) if name.starts_with('@') => None,
            Expr::Ident(name) => match self.loops.iter().rev().find(|(bound, _)| bound == name) {
                Some((_, over)) => over.clone(),
                None => Some(vec![name.clone()]),
            },
            Expr::Select(select) => {
                let mut path = self.path(&select.operand)?;
                path.push(select.field.clone());
                Some(path)
            }
            _ => None,
        }
    }
}

fn resolve<'v>(value: &'v Value, path: &[String], found: &mut Vec<&'v Value>) {
    match path.split_first() {
        None => found.push(value),
        Some((step, rest)) if step == EACH => {
            value.as_array().into_iter().flatten().for_each(|entry| resolve(entry, rest, found));
        }
        Some((step, rest)) => value.get(step).into_iter().for_each(|inner| resolve(inner, rest, found)),
    }
}

fn in_words(values: &[&Value]) -> String {
    let one = |value: &Value| match value {
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::String(text) if text.is_empty() => "(nothing)".to_owned(),
        Value::String(text) => text.clone(),
        Value::Array(entries) if entries.iter().all(|entry| !entry.is_object()) => {
            in_words(&entries.iter().collect::<Vec<_>>())
        }
        Value::Array(entries) => format!("{} entries", entries.len()),
        Value::Object(_) => "all of it".to_owned(),
        other => other.to_string(),
    };
    let mut words: Vec<String> = values.iter().take(SHOWN_MAX).map(|value| one(value)).collect();
    if values.is_empty() {
        words.push("(none)".to_owned());
    } else if values.len() > SHOWN_MAX {
        words.push(format!("and {} more", values.len() - SHOWN_MAX));
    }
    words.join(", ")
}
