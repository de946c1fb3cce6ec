//! The structured text of the book (`docs/src/integrator/watch.st`): parsed by the grammar of IEC 61131-3 that `tree-sitter-iec61131-3-st` is,
//! held against the table of registers, and run. No compiler of that language could be had from the registries: what runs it is the small
//! interpreter below, which knows no more than these two blocks use; TON after IEC 61131-3, table of standard function blocks, from memory.

use std::collections::BTreeMap;

use slackside_modbus::registers::TABLE;
use slackside_modbus::words::UNKNOWN;
use tree_sitter::{Node, Parser, Tree};

const TEXT: &str = include_str!("../../docs/src/integrator/watch.st");

fn parse(text: &str) -> Tree {
    let mut parser = Parser::new();
    parser.set_language(&tree_sitter_iec61131_3_st::LANGUAGE.into()).expect("the grammar fits");
    parser.parse(text, None).expect("a tree")
}

#[test]
fn the_blocks_are_structured_text_and_a_spoiled_one_is_not() {
    assert!(!parse(TEXT).root_node().has_error());
    for (right, wrong) in [("END_IF;", ";"), (":= NOT", ":= NOT NOT)"), ("T#3s", "T#3q"), ("VAR_OUTPUT", "VAR OUTPUT")]
    {
        assert!(TEXT.contains(right));
        assert!(parse(&TEXT.replacen(right, wrong, 1)).root_node().has_error(), "{wrong}");
    }
}

/// `SlipTurnLeast` as the table has it: `slip_turn_least`.
fn as_in_table(name: &str) -> String {
    let part = |letter: char| if letter.is_uppercase() { format!("_{}", letter.to_lowercase()) } else { letter.into() };
    name.chars().map(part).collect::<String>().trim_start_matches('_').to_owned()
}

#[test]
fn the_registers_it_names_are_those_of_the_table() {
    let named: Vec<(String, u16)> = TEXT
        .lines()
        .filter_map(|line| {
            let number = line.split_once("(* register ")?.1.split([' ', '*']).next()?.parse().ok()?;
            Some((as_in_table(line.split_whitespace().next()?), number))
        })
        .collect();
    assert_eq!(named.len(), 4, "{named:?}");
    for (name, number) in named {
        let row = TABLE.iter().find(|row| row.first == number).expect("a row begins there");
        assert_eq!(row.name, name, "register {number}");
    }
    assert_eq!(UNKNOWN as i16, -32_768, "as the text has it");
}

/// A timer that is on with delay.
#[derive(Clone, Copy, Default)]
struct Ton {
    since_ms: Option<i64>,
    q: bool,
}

/// A function block with its variables. TRUE is 1.
struct Block<'t> {
    text: &'t str,
    body: Vec<Node<'t>>,
    values: BTreeMap<&'t str, f64>,
    timers: BTreeMap<&'t str, Ton>,
    now_ms: i64,
}

impl<'t> Block<'t> {
    fn of(tree: &'t Tree, text: &'t str, name: &str) -> Self {
        let root = tree.root_node();
        let says = |node: Node<'t>| &text[node.byte_range()];
        let block = (0..root.child_count() as u32)
            .filter_map(|index| root.child(index))
            .find(|block| block.child_by_field_name("name").is_some_and(|node| says(node) == name))
            .expect("such a block");
        let body = block.children_by_field_name("body", &mut block.walk()).collect();
        Self { text, body, values: BTreeMap::new(), timers: BTreeMap::new(), now_ms: 0 }
    }

    /// One cycle of the PLC.
    fn cycle(&mut self, now_ms: i64, inputs: &[(&'static str, f64)]) {
        self.now_ms = now_ms;
        self.values.extend(inputs.iter().copied());
        self.all(&self.body.clone());
    }

    fn is(&self, name: &str) -> bool {
        self.values.get(name).is_some_and(|value| *value != 0.0)
    }

    fn says(&self, node: Node<'t>) -> &'t str {
        &self.text[node.byte_range()]
    }

    fn field(node: Node<'t>, name: &str) -> Node<'t> {
        node.child_by_field_name(name).unwrap_or_else(|| panic!("{} has no {name}", node.kind()))
    }

    fn fields(node: Node<'t>, name: &str) -> Vec<Node<'t>> {
        node.children_by_field_name(name, &mut node.walk()).collect()
    }

    fn all(&mut self, statements: &[Node<'t>]) {
        for statement in statements {
            self.run(*statement);
        }
    }

    fn run(&mut self, node: Node<'t>) {
        match node.kind() {
            "assignment_statement" => {
                let value = self.value(Self::field(node, "right"));
                self.values.insert(self.says(Self::field(node, "left")), value);
            }
            "if_statement" => {
                if self.value(Self::field(node, "condition")) != 0.0 {
                    return self.all(&Self::fields(node, "consequence"));
                }
                for branch in node.children(&mut node.walk()).filter(|child| child.kind() == "elsif_clause") {
                    if self.value(Self::field(branch, "condition")) != 0.0 {
                        return self.all(&Self::fields(branch, "body"));
                    }
                }
            }
            "invocation_statement" => self.call(node.child(0).expect("a call")),
            "empty_statement" => {}
            other => panic!("no statement of these blocks: {other}"),
        }
    }

    /// `Timer(IN := …, PT := …)`.
    fn call(&mut self, node: Node<'t>) {
        let arguments = Self::field(node, "arguments");
        let argument = |name: &str| {
            let is_it =
                |child: &Node<'t>| child.kind() == "named_argument" && self.says(Self::field(*child, "name")) == name;
            let found = arguments.children(&mut arguments.walk()).find(is_it).expect("given");
            self.value(Self::field(found, "value"))
        };
        let (input, delay_ms) = (argument("IN") != 0.0, argument("PT") as i64);
        let name = self.says(Self::field(node, "function"));
        let timer = self.timers.entry(name).or_default();
        timer.since_ms = input.then(|| timer.since_ms.unwrap_or(self.now_ms));
        timer.q = timer.since_ms.is_some_and(|since| self.now_ms - since >= delay_ms);
    }

    fn value(&self, node: Node<'t>) -> f64 {
        let text = self.says(node);
        match node.kind() {
            "identifier" => self.values.get(text).copied().unwrap_or(0.0),
            "boolean_literal" => f64::from(text == "TRUE"),
            "time_literal" => {
                1_000.0 * text.trim_start_matches("T#").trim_end_matches('s').parse::<f64>().expect("seconds")
            }
            "typed_literal" => self.value(Self::field(node, "value")),
            "parenthesized_expression" => self.value(node.named_child(0).expect("something within")),
            "member_access_expression" => {
                let timer = self.timers.get(self.says(Self::field(node, "object")));
                f64::from(timer.is_some_and(|timer| timer.q))
            }
            "unary_expression" => f64::from(self.value(Self::field(node, "operand")) == 0.0),
            "call_expression" => {
                assert_eq!(self.says(Self::field(node, "function")), "INT_TO_REAL");
                let arguments = Self::field(node, "arguments");
                self.value(arguments.named_child(0).expect("one"))
            }
            "binary_expression" => {
                let [left, right] = ["left", "right"].map(|side| self.value(Self::field(node, side)));
                match self.says(Self::field(node, "operator")) {
                    "AND" => ((left as i64) & (right as i64)) as f64,
                    "OR" => ((left as i64) | (right as i64)) as f64,
                    "<>" => f64::from(left != right),
                    "/" => left / right,
                    other => panic!("no operator of these blocks: {other}"),
                }
            }
            _ if text.starts_with("16#") => i64::from_str_radix(&text[3..], 16).expect("hexadecimal") as f64,
            _ => text.parse().unwrap_or_else(|_| panic!("no value of these blocks: {} {text}", node.kind())),
        }
    }
}

/// The PLC goes round every 10 ms and reads every 500 ms; the heartbeat goes up by one every 65.536 ms while `beats`, and is answered while
/// `answers`. When, in milliseconds, it was seen to be watched and not any more.
fn watched(beats: impl Fn(i64) -> bool, answers: impl Fn(i64) -> bool) -> Vec<(i64, bool)> {
    let tree = parse(TEXT);
    let mut block = Block::of(&tree, TEXT, "SlacksideWatch");
    let (mut turns, mut beat_us, mut before) = (Vec::new(), 65_535_900_000_i64, false);
    for now in (0..20_000).step_by(10) {
        beat_us += if beats(now) { 10_000 } else { 0 };
        let done = now % 500 == 0;
        let heartbeat = (beat_us / 65_536 % 65_536) as f64;
        let read = if done && answers(now) { heartbeat } else { -1.0 };
        block.cycle(now, &[("ReadDone", f64::from(done)), ("ReadOk", f64::from(answers(now))), ("Heartbeat", read)]);
        if block.is("Watched") != before {
            before = !before;
            turns.push((now, before));
        }
    }
    turns
}

#[test]
fn a_leg_is_watched_for_as_long_as_its_heartbeat_moves_and_is_answered() {
    assert_eq!(watched(|_| true, |_| true), [(500, true)], "the second answer tells, and wrapping does no harm");
    assert_eq!(watched(|_| false, |_| true), [], "a number that never moves is nobody");
    // The last answer that moved came at 5 s.
    assert_eq!(watched(|now| now <= 5_000, |_| true), [(500, true), (8_010, false)]);
    assert_eq!(watched(|_| true, |now| now <= 5_000), [(500, true), (8_010, false)]);
    let pause = |now: i64| !(5_000..12_000).contains(&now);
    assert_eq!(watched(|_| true, pause), [(500, true), (7_510, false), (12_500, true)]);
    assert_eq!(watched(|_| true, |now| now >= 10_000), [(10_500, true)], "a PLC that was there long before the box");
}

#[test]
fn what_is_not_watched_or_not_known_is_not_shown() {
    let tree = parse(TEXT);
    let mut block = Block::of(&tree, TEXT, "SlacksideShow");
    let unknown = f64::from(UNKNOWN as i16);
    let mut show = |watched: f64, slip: f64, permits: f64, health: f64| {
        let inputs = [("Watched", watched), ("SlipTurnLeast", slip), ("Permits", permits), ("Health", health)];
        block.cycle(0, &inputs);
        (["SlipKnown", "RunShown", "CallForHelp"].map(|name| block.is(name)), block.values["SlipPercent"])
    };
    assert_eq!(show(1.0, 150.0, 15.0, 1.0), ([true, true, false], 1.5));
    assert_eq!(show(1.0, -20.0, 15.0, 1.0), ([true, true, false], -0.2));
    assert_eq!(show(1.0, unknown, 15.0, 1.0), ([false, true, false], -0.2), "it keeps the last; SlipKnown says so");
    assert_eq!(show(1.0, 0.0, 14.0, 1.0).0, [true, false, false], "judged is not given: bit 0 is the contacts");
    assert_eq!(show(1.0, 0.0, 0.0, 3.0).0, [true, false, true]);
    assert_eq!(show(0.0, 150.0, 15.0, 1.0).0, [false, false, true]);
}
