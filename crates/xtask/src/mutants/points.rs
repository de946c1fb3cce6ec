//! Where a source file can be changed, and into what: one walk over its syntax.
//!
//! A change that can be switched is text put before and after a stretch of the source, which itself stays as it is. So changes may lie
//! within one another, and nobody has to write Rust from a syntax tree.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use anyhow::{Context, Result};
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{BinOp, Block, Expr, ImplItemFn, Item, ItemFn, Lit, Pat, ReturnType, Signature, Stmt, Type, UnOp};

use super::insertions::Insertions;

/// One change of one place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mutant {
    /// The file, from the crate's `src`.
    pub file: String,
    pub line: usize,
    /// The function, with its type.
    pub function: String,
    /// What stands there, and what would instead.
    pub was: String,
    pub becomes: String,
}

impl std::fmt::Display for Mutant {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(to, "{}:{} {}: `{}` -> `{}`", self.file, self.line, self.function, self.was, self.becomes)
    }
}

/// Names of constants that are whole numbers wherever they are defined, of modules whose constants are one bit each, and of constants that are
/// bits joined by `|`, from all files of a crate.
#[derive(Debug, Default)]
pub struct Constants {
    whole: BTreeMap<String, bool>,
    joined: BTreeMap<String, bool>,
    of_bits: BTreeSet<String>,
}

const WHOLE_NUMBERS: [&str; 10] = ["u8", "u16", "u32", "u64", "usize", "i8", "i16", "i32", "i64", "isize"];

impl Constants {
    /// Take those of one more file.
    pub fn read(&mut self, text: &str) -> Result<()> {
        self.visit_file(&syn::parse_file(text).context("parsing")?);
        Ok(())
    }

    fn has(&self, name: &str) -> bool {
        self.whole.get(name).is_some_and(|whole| *whole)
    }

    /// What stands beside a constant: of a number one more and one less, of a bit among bits the next and the former, and of several bits
    /// those beside each.
    fn beside(&self, path: &syn::Path) -> [&'static str; 2] {
        let mut from_the_end = path.segments.iter().rev().map(|segment| segment.ident.to_string());
        let is_joined = from_the_end.next().is_some_and(|name| self.joined.get(&name) == Some(&true));
        if is_joined || from_the_end.next().is_some_and(|module| self.of_bits.contains(&module)) {
            ["rotate_left(1)", "rotate_right(1)"]
        } else {
            ["wrapping_add(1)", "wrapping_sub(1)"]
        }
    }

    fn note(&mut self, name: &syn::Ident, kind: &Type, value: Option<&Expr>) {
        let is_joined = matches!(value, Some(Expr::Binary(both)) if matches!(both.op, BinOp::BitOr(_)));
        for (names, is) in [(&mut self.whole, is_whole_number(kind)), (&mut self.joined, is_joined)] {
            names.entry(name.to_string()).and_modify(|all| *all &= is).or_insert(is);
        }
    }
}

impl<'a> Visit<'a> for Constants {
    fn visit_item_mod(&mut self, module: &'a syn::ItemMod) {
        let items = module.content.iter().flat_map(|(_, items)| items);
        let bits: Option<Vec<u32>> = items.map(|item| which_bit(constant(item)?)).collect();
        if bits.is_some_and(|bits| !bits.is_empty() && bits.iter().collect::<BTreeSet<_>>().len() == bits.len()) {
            self.of_bits.insert(module.ident.to_string());
        }
        visit::visit_item_mod(self, module);
    }

    fn visit_item_const(&mut self, item: &'a syn::ItemConst) {
        self.note(&item.ident, &item.ty, Some(&item.expr));
    }

    fn visit_impl_item_const(&mut self, item: &'a syn::ImplItemConst) {
        self.note(&item.ident, &item.ty, Some(&item.expr));
    }

    fn visit_trait_item_const(&mut self, item: &'a syn::TraitItemConst) {
        self.note(&item.ident, &item.ty, None);
    }

    fn visit_const_param(&mut self, _: &'a syn::ConstParam) {}
}

fn constant(item: &Item) -> Option<&Expr> {
    match item {
        Item::Const(constant) => Some(&constant.expr),
        _ => None,
    }
}

/// Which bit a value is, written as a power of two or as `1 << n`.
fn which_bit(value: &Expr) -> Option<u32> {
    let number = |value: &Expr| match value {
        Expr::Lit(literal) => match &literal.lit {
            Lit::Int(number) => number.base10_parse::<u32>().ok(),
            _ => None,
        },
        _ => None,
    };
    match value {
        Expr::Binary(both) if matches!(both.op, BinOp::Shl(_)) && number(&both.left) == Some(1) => number(&both.right),
        _ => number(value).filter(|number| number.is_power_of_two()).map(u32::trailing_zeros),
    }
}

fn is_whole_number(kind: &Type) -> bool {
    matches!(kind, Type::Path(path) if path.path.get_ident().is_some_and(|name| WHOLE_NUMBERS.iter().any(|whole| name == whole)))
}

/// The file with every change in it, each behind its number; the numbers go on from those of `mutants`, where the changes are added.
pub fn switched(file: &str, text: &str, constants: &Constants, mutants: &mut Vec<Mutant>) -> Result<String> {
    let syntax = syn::parse_file(text).with_context(|| format!("parsing {file}"))?;
    let mut walk = Walk {
        file,
        text,
        constants,
        mutants,
        insertions: Insertions::default(),
        scope: Vec::new(),
        function: String::new(),
        unset: Vec::new(),
    };
    walk.visit_file(&syntax);
    Ok(walk.insertions.into_text(text))
}

struct Walk<'a> {
    file: &'a str,
    text: &'a str,
    constants: &'a Constants,
    mutants: &'a mut Vec<Mutant>,
    insertions: Insertions,
    /// Modules and types around.
    scope: Vec<String>,
    function: String,
    /// Variables that are declared first and get their value later: dropping that would not compile.
    unset: Vec<String>,
}

/// Operators that are taken for one another.
fn swapped(operator: &BinOp) -> &'static [&'static str] {
    match operator {
        // The bound belongs to the other side, and the other way round.
        BinOp::Lt(_) => &["<=", ">="],
        BinOp::Le(_) => &["<", ">"],
        BinOp::Gt(_) => &[">=", "<="],
        BinOp::Ge(_) => &[">", "<"],
        BinOp::Eq(_) => &["!="],
        BinOp::Ne(_) => &["=="],
        BinOp::And(_) => &["||"],
        BinOp::Or(_) => &["&&"],
        BinOp::Add(_) => &["-"],
        BinOp::Sub(_) | BinOp::Mul(_) => &["+"],
        BinOp::Div(_) | BinOp::Rem(_) => &["*"],
        BinOp::Shl(_) => &[">>"],
        BinOp::Shr(_) => &["<<"],
        BinOp::BitAnd(_) => &["|"],
        BinOp::BitOr(_) | BinOp::BitXor(_) => &["&"],
        _ => &[],
    }
}

/// Methods that are taken for one another.
fn swapped_method(name: &str) -> Option<&'static str> {
    Some(match name {
        "wrapping_add" => "wrapping_sub",
        "wrapping_sub" | "wrapping_mul" => "wrapping_add",
        "saturating_add" => "saturating_sub",
        "saturating_sub" | "saturating_mul" => "saturating_add",
        "wrapping_shl" => "wrapping_shr",
        "wrapping_shr" => "wrapping_shl",
        "min" => "max",
        "max" => "min",
        "any" => "all",
        "all" => "any",
        "is_some_and" => "is_none_or",
        "is_none_or" => "is_some_and",
        _ => return None,
    })
}

impl Walk<'_> {
    fn source(&self, range: &Range<usize>) -> &str {
        &self.text[range.clone()]
    }

    /// A new change at a place; its number.
    fn mutant(&mut self, at: &Range<usize>, becomes: &str) -> usize {
        let line = self.text[..at.start].matches('\n').count() + 1;
        let was = in_short(self.source(at));
        let function = self.function.clone();
        self.mutants.push(Mutant { file: self.file.to_owned(), line, function, was, becomes: in_short(becomes) });
        self.mutants.len()
    }

    /// An expression that may be any of these instead.
    fn instead(&mut self, at: &Range<usize>, others: &[String]) {
        if others.is_empty() {
            return;
        }
        let mut before = String::from("(");
        for other in others {
            let number = self.mutant(at, other);
            before += &format!("if crate::mutants::on({number}) {{ {other} }} else ");
        }
        self.insertions.around(at, before + "{ ", " })");
    }

    /// A statement that may be left out.
    fn left_out(&mut self, at: &Range<usize>) {
        let number = self.mutant(at, "left out");
        self.insertions.around(at, format!("if !crate::mutants::on({number}) {{ "), " }");
    }

    /// A condition that may never be met. A pattern in it may stand in no brackets.
    fn never(&mut self, at: &Range<usize>, has_pattern: bool) {
        let number = self.mutant(at, "never");
        let (open, close) = if has_pattern { ("", "") } else { ("(", ")") };
        self.insertions.around(at, open, format!("{close} && !crate::mutants::on({number})"));
    }

    /// A condition, or a part of one, that is not a comparison, which has changes of its own: its opposite.
    fn negate(&mut self, condition: &Expr) {
        let is_leaf = match condition {
            Expr::Path(_) | Expr::Call(_) | Expr::MethodCall(_) | Expr::Field(_) | Expr::Index(_) => true,
            Expr::Macro(call) => call.mac.path.is_ident("matches"),
            _ => false,
        };
        if is_leaf {
            let at = condition.span().byte_range();
            let other = format!("!{}", self.source(&at));
            self.instead(&at, &[other]);
        }
    }

    fn within(&mut self, signature: &Signature, block: &Block) {
        let name = self.scope.iter().cloned().chain([signature.ident.to_string()]).collect::<Vec<_>>().join("::");
        let outer = std::mem::replace(&mut self.function, name);
        let unset = std::mem::take(&mut self.unset);
        let at = block.span().byte_range();
        let values = match &signature.output {
            // One statement alone is left out as such.
            ReturnType::Default if block.stmts.len() > 1 => vec![String::new()],
            ReturnType::Default => Vec::new(),
            ReturnType::Type(_, kind) => defaults(kind),
        };
        let body = at.start..at.start + 1;
        for value in values {
            let number = self.mutant(&body, &format!("return {value}"));
            if let Some(mutant) = self.mutants.last_mut() {
                mutant.was = "the whole body".to_owned();
            }
            self.insertions.at(body.end, format!(" if crate::mutants::on({number}) {{ return {value}; }}"));
        }
        visit::visit_block(self, block);
        self.function = outer;
        self.unset = unset;
    }
}

/// What a function may return whatever it is asked.
fn defaults(kind: &Type) -> Vec<String> {
    match kind {
        Type::Tuple(tuple) => {
            let parts: Option<Vec<String>> = tuple.elems.iter().map(|part| defaults(part).into_iter().next()).collect();
            parts.filter(|parts| !parts.is_empty()).map(|parts| format!("({})", parts.join(", "))).into_iter().collect()
        }
        Type::Path(_) if is_whole_number(kind) => vec!["0".to_owned(), "1".to_owned()],
        Type::Path(path) => match path.path.segments.last() {
            Some(name) if name.ident == "bool" => vec!["true".to_owned(), "false".to_owned()],
            Some(name) if name.ident == "Option" => vec!["None".to_owned()],
            Some(name) if name.ident == "Result" && returns_nothing(name) => vec!["Ok(())".to_owned()],
            _ => Vec::new(),
        },
        _ => Vec::new(),
    }
}

fn returns_nothing(result: &syn::PathSegment) -> bool {
    let syn::PathArguments::AngleBracketed(arguments) = &result.arguments else { return false };
    matches!(arguments.args.first(), Some(syn::GenericArgument::Type(Type::Tuple(tuple))) if tuple.elems.is_empty())
}

/// A stretch of source on one line.
fn in_short(source: &str) -> String {
    source.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Whether an item is for tests or for the desk alone.
fn is_elsewhere(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        let said = attribute.meta.span().source_text().unwrap_or_default();
        said == "cfg(test)" || said.contains("feature = \"desk\"") || said == "doc(hidden)"
    })
}

fn item_attributes(item: &Item) -> &[syn::Attribute] {
    match item {
        Item::Fn(item) => &item.attrs,
        Item::Impl(item) => &item.attrs,
        Item::Mod(item) => &item.attrs,
        Item::Trait(item) => &item.attrs,
        _ => &[],
    }
}

/// Whether a pattern takes whatever comes.
fn takes_all(pattern: &Pat) -> bool {
    match pattern {
        Pat::Wild(_) => true,
        Pat::Ident(name) => name.subpat.is_none() && name.ident.to_string().starts_with(char::is_lowercase),
        _ => false,
    }
}

/// Whether there is a pattern in a condition.
fn has_pattern(condition: &Expr) -> bool {
    match condition {
        Expr::Let(_) => true,
        Expr::Binary(both) if matches!(both.op, BinOp::And(_)) => has_pattern(&both.left) || has_pattern(&both.right),
        _ => false,
    }
}

/// Whether a block leaves what is around it.
fn leaves(block: &Block) -> bool {
    let last = block.stmts.last();
    matches!(last, Some(Stmt::Expr(Expr::Return(_) | Expr::Break(_) | Expr::Continue(_), _)))
}

impl<'a> Visit<'a> for Walk<'_> {
    fn visit_item(&mut self, item: &'a Item) {
        if is_elsewhere(item_attributes(item)) {
            return;
        }
        let name = match item {
            Item::Mod(module) => Some(module.ident.to_string()),
            Item::Trait(item) => Some(item.ident.to_string()),
            Item::Impl(item) => match &*item.self_ty {
                Type::Path(path) => path.path.segments.last().map(|name| name.ident.to_string()),
                _ => None,
            },
            _ => None,
        };
        let depth = self.scope.len();
        self.scope.extend(name);
        visit::visit_item(self, item);
        self.scope.truncate(depth);
    }

    fn visit_item_fn(&mut self, item: &'a ItemFn) {
        self.within(&item.sig, &item.block);
    }

    fn visit_impl_item_fn(&mut self, item: &'a ImplItemFn) {
        if !is_elsewhere(&item.attrs) {
            self.within(&item.sig, &item.block);
        }
    }

    fn visit_trait_item_fn(&mut self, item: &'a syn::TraitItemFn) {
        if let Some(block) = &item.default {
            self.within(&item.sig, block);
        }
    }

    // What the compiler works out beforehand cannot be switched when it runs.
    fn visit_item_const(&mut self, _: &'a syn::ItemConst) {}
    fn visit_item_static(&mut self, _: &'a syn::ItemStatic) {}
    fn visit_impl_item_const(&mut self, _: &'a syn::ImplItemConst) {}
    fn visit_trait_item_const(&mut self, _: &'a syn::TraitItemConst) {}
    fn visit_item_enum(&mut self, _: &'a syn::ItemEnum) {}
    fn visit_expr_const(&mut self, _: &'a syn::ExprConst) {}
    fn visit_type(&mut self, _: &'a Type) {}
    fn visit_generics(&mut self, _: &'a syn::Generics) {}
    fn visit_path(&mut self, _: &'a syn::Path) {}
    fn visit_pat(&mut self, _: &'a Pat) {}
    fn visit_attribute(&mut self, _: &'a syn::Attribute) {}

    fn visit_expr_repeat(&mut self, repeat: &'a syn::ExprRepeat) {
        self.visit_expr(&repeat.expr);
    }

    fn visit_local(&mut self, local: &'a syn::Local) {
        if let (Pat::Ident(name), None) = (&local.pat, &local.init) {
            self.unset.push(name.ident.to_string());
        }
        visit::visit_local(self, local);
    }

    fn visit_stmt(&mut self, statement: &'a Stmt) {
        if let Stmt::Expr(expression, Some(_)) = statement {
            let is_first_value = match expression {
                Expr::Assign(assign) => matches!(&*assign.left, Expr::Path(path)
                    if path.path.get_ident().is_some_and(|name| self.unset.iter().any(|unset| name == unset))),
                _ => false,
            };
            let may_go = match expression {
                Expr::Assign(_) => !is_first_value,
                Expr::Call(_) | Expr::MethodCall(_) => true,
                Expr::Binary(both) => is_assignment(&both.op),
                _ => false,
            };
            if may_go {
                self.left_out(&statement.span().byte_range());
            }
        }
        visit::visit_stmt(self, statement);
    }

    fn visit_expr_if(&mut self, choice: &'a syn::ExprIf) {
        let at = choice.cond.span().byte_range();
        let is_fixed = matches!(&*choice.cond, Expr::Macro(call) if call.mac.path.is_ident("cfg"));
        let pattern = has_pattern(&choice.cond);
        if pattern || choice.else_branch.is_none() && leaves(&choice.then_branch) {
            self.never(&at, pattern);
        }
        if !is_fixed {
            self.negate(&choice.cond);
        }
        visit::visit_expr_if(self, choice);
    }

    fn visit_expr_while(&mut self, round: &'a syn::ExprWhile) {
        if has_pattern(&round.cond) {
            self.never(&round.cond.span().byte_range(), true);
        }
        self.negate(&round.cond);
        visit::visit_expr_while(self, round);
    }

    fn visit_expr_match(&mut self, choice: &'a syn::ExprMatch) {
        self.visit_expr(&choice.expr);
        let last = choice.arms.iter().rposition(|arm| takes_all(&arm.pat)).unwrap_or(0);
        for (index, arm) in choice.arms.iter().enumerate() {
            let is_passable = index < last && arm.attrs.is_empty();
            if let Pat::Guard(guarded) = &arm.pat {
                if is_passable {
                    self.never(&guarded.guard.span().byte_range(), has_pattern(&guarded.guard));
                }
                self.negate(&guarded.guard);
                self.visit_expr(&guarded.guard);
            } else if is_passable {
                let at = arm.pat.span().byte_range();
                let number = self.mutant(&at, "skipped");
                self.insertions.at(at.end, format!(" if !crate::mutants::on({number})"));
            }
            self.visit_expr(&arm.body);
        }
    }

    fn visit_expr_let(&mut self, pattern: &'a syn::ExprLet) {
        self.visit_expr(&pattern.expr);
    }

    fn visit_expr_closure(&mut self, closure: &'a syn::ExprClosure) {
        self.visit_expr(&closure.body);
    }

    fn visit_expr_binary(&mut self, both: &'a syn::ExprBinary) {
        if matches!(both.op, BinOp::And(_) | BinOp::Or(_)) {
            self.negate(&both.left);
            self.negate(&both.right);
        }
        visit::visit_expr_binary(self, both);
    }

    fn visit_expr(&mut self, expression: &'a Expr) {
        let at = expression.span().byte_range();
        let others = match expression {
            Expr::Binary(both) if !has_pattern(expression) => {
                let (left, right) = (both.left.span().byte_range(), both.right.span().byte_range());
                let (left, right) = (self.source(&left), self.source(&right));
                swapped(&both.op).iter().map(|other| format!("({left}) {other} ({right})")).collect()
            }
            Expr::Unary(unary) => match unary.op {
                UnOp::Not(_) => vec![self.source(&unary.expr.span().byte_range()).to_owned()],
                UnOp::Neg(_) if !matches!(&*unary.expr, Expr::Lit(_)) => {
                    vec![self.source(&unary.expr.span().byte_range()).to_owned()]
                }
                _ => Vec::new(),
            },
            Expr::Lit(literal) => match &literal.lit {
                Lit::Bool(value) => vec![(!value.value).to_string()],
                Lit::Int(number) => beside(number),
                _ => Vec::new(),
            },
            Expr::Path(path) if path.qself.is_none() => match path.path.segments.last() {
                Some(name) if self.constants.has(&name.ident.to_string()) => {
                    let name = self.source(&at);
                    self.constants.beside(&path.path).iter().map(|other| format!("{name}.{other}")).collect()
                }
                _ => Vec::new(),
            },
            Expr::MethodCall(call) => self.other_methods(call, &at),
            _ => Vec::new(),
        };
        self.instead(&at, &others);
        visit::visit_expr(self, expression);
    }
}

impl Walk<'_> {
    fn other_methods(&self, call: &syn::ExprMethodCall, at: &Range<usize>) -> Vec<String> {
        let name = call.method.to_string();
        let place = call.method.span().byte_range();
        let receiver = self.source(&call.receiver.span().byte_range()).to_owned();
        match (name.as_str(), call.args.len()) {
            ("wrapping_neg" | "saturating_neg", 0) | ("clamp", 2) => vec![receiver],
            // One's own method of that name has no other.
            ("any" | "all", 1) if !matches!(call.args[0], Expr::Closure(_)) => Vec::new(),
            (_, 1) => swapped_method(&name)
                .map(|other| {
                    format!("{}{other}{}", self.source(&(at.start..place.start)), self.source(&(place.end..at.end)))
                })
                .into_iter()
                .collect(),
            _ => Vec::new(),
        }
    }
}

fn is_assignment(operator: &BinOp) -> bool {
    matches!(
        operator,
        BinOp::AddAssign(_)
            | BinOp::SubAssign(_)
            | BinOp::MulAssign(_)
            | BinOp::DivAssign(_)
            | BinOp::RemAssign(_)
            | BinOp::BitXorAssign(_)
            | BinOp::BitAndAssign(_)
            | BinOp::BitOrAssign(_)
            | BinOp::ShlAssign(_)
            | BinOp::ShrAssign(_)
    )
}

/// The numbers on either side of one; only more of nothing.
fn beside(number: &syn::LitInt) -> Vec<String> {
    let Ok(value) = number.base10_parse::<u128>() else { return Vec::new() };
    let suffix = number.suffix();
    [value.checked_add(1), value.checked_sub(1)].into_iter().flatten().map(|other| format!("{other}{suffix}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The changes of a source, and the source with them.
    fn changes(text: &str) -> (Vec<String>, String) {
        let mut constants = Constants::default();
        constants.read(text).expect("it parses");
        let mut mutants = Vec::new();
        let switched = switched("x.rs", text, &constants, &mut mutants).expect("it parses");
        syn::parse_file(&switched).expect("it parses with its changes");
        let changes = mutants.iter().map(|one| format!("{} {} -> {}", one.line, one.was, one.becomes)).collect();
        (changes, switched)
    }

    #[test]
    fn a_change_lies_behind_its_number_and_the_source_stays() {
        let (_, switched) = changes("fn f() -> bool { a < b }");
        let body = "{ if crate::mutants::on(1) { return true; } if crate::mutants::on(2) { return false; } \
                    (if crate::mutants::on(3) { (a) <= (b) } else if crate::mutants::on(4) { (a) >= (b) } else { a < b }) }";
        assert_eq!(switched, format!("fn f() -> bool {body}"));
    }

    #[test]
    fn every_kind_of_change_is_made() {
        let text = "const LIMIT: u32 = 5;
fn f(&mut self) -> Option<u8> {
    if self.is_on() && a { return None; }
    self.count += 2;
    self.tell(LIMIT);
    let b = a.wrapping_add(c).min(d) << e;
    match b {
        3 => !a,
        4 if c => true,
        _ => -d,
    }
}";
        let expected = [
            "2 the whole body -> return None",
            "3 self.is_on() && a -> never",
            "3 self.is_on() && a -> (self.is_on()) || (a)",
            "3 self.is_on() -> !self.is_on()",
            "3 a -> !a",
            "4 self.count += 2; -> left out",
            "4 2 -> 3",
            "4 2 -> 1",
            "5 self.tell(LIMIT); -> left out",
            "5 LIMIT -> LIMIT.wrapping_add(1)",
            "5 LIMIT -> LIMIT.wrapping_sub(1)",
            "6 a.wrapping_add(c).min(d) << e -> (a.wrapping_add(c).min(d)) >> (e)",
            "6 a.wrapping_add(c).min(d) -> a.wrapping_add(c).max(d)",
            "6 a.wrapping_add(c) -> a.wrapping_sub(c)",
            "8 3 -> skipped",
            "8 !a -> a",
            "9 c -> never",
            "9 c -> !c",
            "9 true -> false",
            "10 -d -> d",
        ];
        assert_eq!(changes(text).0, expected);
    }

    #[test]
    fn beside_a_bit_lies_the_next_one() {
        let text = "mod mark { const A: u32 = 1; const B: u32 = 1 << 1; const C: u32 = 4; }
mod rub { const CLEAR: u8 = 0; const FAULTY: u8 = 2; }
mod alike { const D: u8 = 2; const E: u8 = 1 << 1; }
const BOTH: u32 = mark::A | mark::C;
fn f(&self) { self.g(mark::B, rub::FAULTY, alike::D, BOTH) }";
        let expected = [
            "5 mark::B -> mark::B.rotate_left(1)",
            "5 mark::B -> mark::B.rotate_right(1)",
            "5 rub::FAULTY -> rub::FAULTY.wrapping_add(1)",
            "5 rub::FAULTY -> rub::FAULTY.wrapping_sub(1)",
            "5 alike::D -> alike::D.wrapping_add(1)",
            "5 alike::D -> alike::D.wrapping_sub(1)",
            "5 BOTH -> BOTH.rotate_left(1)",
            "5 BOTH -> BOTH.rotate_right(1)",
        ];
        assert_eq!(changes(text).0, expected);
    }

    #[test]
    fn what_is_no_code_of_the_box_stays() {
        let text = "const A: u32 = 1 + 2;
static B: [u8; 3] = [0; 3];
#[cfg(test)] mod tests { fn f() -> bool { 1 < 2 } }
#[cfg(feature = \"desk\")] fn f() -> bool { 1 < 2 }
impl C { #[doc(hidden)] fn f() -> bool { 1 < 2 } fn g() { let y: [u8; 2] = [z; 4]; } }";
        assert_eq!(changes(text).0, Vec::<String>::new());
    }
}
