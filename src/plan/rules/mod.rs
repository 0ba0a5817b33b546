//! Rules of the house: conditions in CEL (the open Common Expression Language) over the
//! facts of [`facts`], compiled once and bounded so that no expression can take the program
//! down: its length, its depth, its nodes and its nested loops all have limits.
//!
//! The parser that the crate uses by default overflows the stack on deep input; the one used
//! here counts its depth. Evaluation recurses once per level of the tree, which is at most
//! [`DEPTH_MAX`] high.

mod compared;
pub mod conflict;
pub mod facts;
mod seen;
mod tree;

use crate::model::*;
use cel::common::ast::{Expr, IdedExpr};
use cel::parser::PrattParser;
use cel::{Context, Env, Value};
use facts::Facts;
use std::sync::Arc;
use tree::children;

/// Bytes of one condition.
pub const WHEN_BYTES_MAX: usize = 512;
/// Levels of the parsed condition.
pub const DEPTH_MAX: usize = 64;
/// Brackets within brackets.
const BRACKETS_MAX: u16 = 24;
/// Nodes of the parsed condition, loops unfolded.
const NODES_MAX: usize = 400;
/// Loops within loops (`exists`, `all`, `map`, `filter`): with at most [`LINES_MAX`] lines
/// this bounds the steps of an evaluation.
pub const LOOPS_MAX: usize = 2;
/// Entries of `lines` and `goods` that rules see.
pub const ROWS_MAX: usize = LINES_MAX;

/// What rules may name.
const VARIABLES: [&str; 6] = ["order", "lines", "goods", "date", "workshop", "parcel"];

/// A condition, ready to be asked.
#[derive(Debug, Clone)]
struct Condition {
    expression: IdedExpr,
    asks_parcel: bool,
}

/// All rules of a workshop, compiled once.
#[derive(Clone)]
pub struct Rules {
    env: Arc<Env>,
    compiled: Vec<(Rule, Result<Condition, String>)>,
}

/// What came of asking one rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// It applies.
    Applies,
    /// It does not.
    Not,
    /// It failed, with the reason in words.
    Failed(String),
}

/// A rule that was asked, and what its condition looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tried {
    /// The rule.
    pub rule: Rule,
    /// What came of it.
    pub verdict: Verdict,
    /// Each fact that the condition names, with its value.
    pub seen: Vec<(String, String)>,
}

impl Rules {
    /// Compiles all rules. One that does not compile is kept and fails when it is asked:
    /// `config` refuses it long before.
    pub fn new(rules: &[Rule]) -> Self {
        let compiled = rules.iter().map(|rule| (rule.clone(), compile(&rule.when))).collect();
        Self { env: Arc::new(Env::stdlib()), compiled }
    }

    /// Asks every rule about an order, in file order. Rules that name `parcel` are asked by
    /// [`Rules::about_parcel`].
    pub fn about_order(&self, facts: &Facts) -> Vec<(&Rule, Verdict)> {
        self.ask(facts, Stage::Order)
    }

    /// Asks the rules that name `parcel`.
    pub fn about_parcel(&self, facts: &Facts) -> Vec<(&Rule, Verdict)> {
        self.ask(facts, Stage::Parcel)
    }

    /// Asks every rule that is about the order, or about a parcel once there is one; says what each
    /// condition looked at.
    pub fn try_all(&self, facts: &Facts) -> Vec<Tried> {
        let stage = if facts.parcel.is_some() { Stage::Parcel } else { Stage::Order };
        let as_json = facts.as_json();
        let seen = |rule: &Rule| {
            let condition = self.compiled.iter().find(|(known, _)| known.name == rule.name).map(|(_, c)| c);
            condition.and_then(|c| c.as_ref().ok()).map_or_else(Vec::new, |c| seen::seen(&c.expression, &as_json))
        };
        let tried = |(rule, verdict): (&Rule, Verdict)| Tried { rule: rule.clone(), verdict, seen: seen(rule) };
        self.ask(facts, stage).into_iter().map(tried).collect()
    }

    fn ask(&self, facts: &Facts, stage: Stage) -> Vec<(&Rule, Verdict)> {
        let asked = self.compiled.iter().filter(|(_, condition)| match condition {
            Ok(condition) => condition.asks_parcel == (stage == Stage::Parcel),
            Err(_) => stage == Stage::Order,
        });
        let mut context: Option<Result<Context<'_, '_>, String>> = None;
        asked
            .map(|(rule, condition)| {
                let verdict = match condition {
                    Err(why) => Verdict::Failed(why.clone()),
                    Ok(condition) => match context.get_or_insert_with(|| self.context(facts)) {
                        Ok(context) => evaluate(&condition.expression, context),
                        Err(why) => Verdict::Failed(why.clone()),
                    },
                };
                (rule, verdict)
            })
            .collect()
    }

    fn context(&self, facts: &Facts) -> Result<Context<'static, 'static>, String> {
        let mut context = Context::with_env(Arc::clone(&self.env));
        let told = |e: cel::SerializationError| e.to_string();
        context.add_variable("order", cel::to_value(&facts.order).map_err(told)?).map_err(|e| e.to_string())?;
        context.add_variable("lines", cel::to_value(&facts.lines).map_err(told)?).map_err(|e| e.to_string())?;
        context.add_variable("goods", cel::to_value(&facts.goods).map_err(told)?).map_err(|e| e.to_string())?;
        context.add_variable("date", cel::to_value(facts.date).map_err(told)?).map_err(|e| e.to_string())?;
        context.add_variable("workshop", cel::to_value(&facts.workshop).map_err(told)?).map_err(|e| e.to_string())?;
        if let Some(parcel) = &facts.parcel {
            context.add_variable("parcel", cel::to_value(parcel).map_err(told)?).map_err(|e| e.to_string())?;
        }
        Ok(context)
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Stage {
    Order,
    Parcel,
}

fn evaluate(expression: &IdedExpr, context: &Context<'_, '_>) -> Verdict {
    match Value::resolve(expression, context) {
        Ok(Value::Bool(true)) => Verdict::Applies,
        Ok(Value::Bool(false)) => Verdict::Not,
        Ok(other) => Verdict::Failed(format!("it gives {}, not true or false", kind_of(&other))),
        Err(error) => Verdict::Failed(error.to_string()),
    }
}

fn kind_of(value: &Value) -> &'static str {
    match value {
        Value::Int(_) | Value::UInt(_) | Value::Float(_) => "a number",
        Value::String(_) => "a text",
        Value::List(_) => "a list",
        Value::Map(_) => "a map",
        _ => "something else",
    }
}

fn compile(when: &str) -> Result<Condition, String> {
    if when.len() > WHEN_BYTES_MAX {
        return Err(format!("the condition is {} bytes long, at most {WHEN_BYTES_MAX} are read", when.len()));
    }
    let parser = PrattParser::new().max_recursion_depth(BRACKETS_MAX).max_expression_node_count(NODES_MAX);
    let expression = parser.parse(when).map_err(|errors| {
        let first = errors.errors.first();
        first.map_or_else(
            || "the condition cannot be read".to_owned(),
            |e| format!("at character {}: {}", e.pos.1, e.msg),
        )
    })?;
    let mut shape = Shape::default();
    measure(&expression, 1, 0, &mut shape);
    if shape.depth > DEPTH_MAX {
        return Err(format!("the condition is nested {} deep, at most {DEPTH_MAX} are allowed", shape.depth));
    }
    if shape.loops > LOOPS_MAX {
        return Err(format!("{} loops stand inside each other, at most {LOOPS_MAX} may", shape.loops));
    }
    let mut asks_parcel = false;
    for (name, bound) in &shape.names {
        asks_parcel |= name == "parcel" && !bound;
        if !bound && !VARIABLES.contains(&name.as_str()) {
            let near = nearest(name, &VARIABLES);
            return Err(format!("{name:?} is not known{near}; rules know {}", VARIABLES.join(", ")));
        }
    }
    Ok(Condition { expression, asks_parcel })
}

/// `, did you mean "order"?` where something is close.
fn nearest(name: &str, known: &[&str]) -> String {
    known
        .iter()
        .map(|k| (strsim::damerau_levenshtein(name, k), k))
        .min()
        .filter(|(distance, _)| *distance <= 2)
        .map_or_else(String::new, |(_, k)| format!(" (is {k:?} meant?)"))
}

/// What was met while walking an expression.
#[derive(Default)]
struct Shape {
    depth: usize,
    loops: usize,
    /// Names, and whether a loop around them binds them.
    names: Vec<(String, bool)>,
    bound: Vec<String>,
}

/// Walks the tree. Its own depth is bounded by the length of the source.
fn measure(expression: &IdedExpr, depth: usize, loops: usize, shape: &mut Shape) {
    shape.depth = shape.depth.max(depth);
    shape.loops = shape.loops.max(loops);
    let next = depth + 1;
    match &expression.expr {
        Expr::Ident(name) if name.starts_with('@') => {}
        Expr::Ident(name) => {
            let bound = shape.bound.contains(name);
            shape.names.push((name.clone(), bound));
        }
        Expr::Comprehension(of) => {
            measure(&of.iter_range, next, loops, shape);
            measure(&of.accu_init, next, loops, shape);
            let outer = shape.bound.len();
            shape.bound.push(of.iter_var.clone());
            shape.bound.extend(of.iter_var2.clone());
            shape.bound.push(of.accu_var.clone());
            for inside in [&of.loop_cond, &of.loop_step, &of.result] {
                measure(inside, next, loops + 1, shape);
            }
            shape.bound.truncate(outer);
        }
        _ => children(expression).into_iter().for_each(|child| measure(child, next, loops, shape)),
    }
}

/// Checks a rule on load: it compiles, names only what there is, and gives true or false for
/// sample orders of this workshop. Says what is wrong and what to write instead.
pub fn check(workshop: &Workshop, rule: &Rule) -> Option<String> {
    let condition = match compile(&rule.when) {
        Ok(condition) => condition,
        Err(complaint) => return Some(complaint),
    };
    if condition.asks_parcel
        && let Some(action) = rule.then.iter().find(|action| !allowed_for_parcels(action))
    {
        return Some(format!(
            "it asks about \"parcel\", which is known only after the choice; it may note, caution, print a card, choose a printer, hold, ask or be urgent, but not {}",
            word(action)
        ));
    }
    if let Some(complaint) =
        compared::texts(&condition.expression).iter().find_map(|(f, t)| unknown_name(workshop, f, t))
    {
        return Some(complaint);
    }
    if let Some(conflict) = conflict_on_load(workshop, rule) {
        return Some(conflict);
    }
    let rules = Rules::new(std::slice::from_ref(rule));
    for facts in facts::samples(workshop) {
        let asked = if condition.asks_parcel { rules.about_parcel(&facts) } else { rules.about_order(&facts) };
        if let Some((_, Verdict::Failed(why))) = asked.first() {
            return Some(format!("tried on a sample order: {why}"));
        }
    }
    None
}

/// A conflict within the rule, or with one before it that applies at the same time.
fn conflict_on_load(workshop: &Workshop, rule: &Rule) -> Option<String> {
    let before = workshop.rules.iter().take_while(|other| other.name != rule.name);
    let met = before.filter(|other| conflict::together(other, rule)).find_map(|other| conflict::between(other, rule));
    let what = conflict::between(rule, rule).or(met)?;
    Some(format!("{what}: no parcel could obey both"))
}

/// A name that a condition compares with and that nothing in the workshop has.
fn unknown_name(workshop: &Workshop, field: &str, text: &str) -> Option<String> {
    if text.is_empty() {
        return None;
    }
    let (kind, known): (&str, Vec<&str>) = match field {
        "sku" => ("product", workshop.products.iter().map(|p| p.sku.as_str()).collect()),
        "container" | "inside" => ("container", workshop.containers.iter().map(|c| c.name.as_str()).collect()),
        "service" => ("service", workshop.services.iter().map(|s| s.name.as_str()).collect()),
        "source" => ("source", workshop.sources.keys().map(SourceName::as_str).collect()),
        "country" => return text.parse::<CountryCode>().err(),
        "turn" => ("way of turning", vec!["any", "this side up", "flat only"]),
        _ => return None,
    };
    let nobody = || format!("no {kind} is called {text:?}{}; the condition could never be met", nearest(text, &known));
    (!known.contains(&text)).then(nobody)
}

fn allowed_for_parcels(action: &Action) -> bool {
    use Action::*;
    matches!(action, Note(_) | Caution(_) | Card(_) | Printer(_) | Hold(_) | NeedsYou(_) | Urgent)
}

fn word(action: &Action) -> &'static str {
    match action {
        Action::RequireContainer(_) => "require a container",
        Action::ForbidContainer(_) => "forbid a container",
        Action::PreferContainer(..) => "prefer a container",
        Action::RequireService(_) => "require a service",
        Action::ForbidService(_) => "forbid a service",
        Action::PreferService(..) => "prefer a service",
        Action::Hold(_) => "hold",
        Action::NeedsYou(_) => "ask",
        Action::Note(_) => "note",
        Action::Caution(_) => "caution",
        Action::Supply(_) => "use a supply",
        Action::Product(..) => "add a product",
        Action::Card(_) => "print a card",
        Action::Printer(_) => "choose a printer",
        Action::Urgent => "be urgent",
    }
}
