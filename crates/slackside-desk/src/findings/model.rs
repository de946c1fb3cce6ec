//! The model: some thousands of small trees. Each asks a few questions of the evidence and ends in a leaf that gives some causes points; what
//! a cause has in the end is the logarithm of its odds.
//!
//! A boosted multinomial model, of trees that serve all causes and trees that serve one each: it can be read line by line, and asks for no more
//! than comparisons and sums of small integers. It was learned from drawn runs by `cargo xtask findings`, and `learned.txt` says how. It decides
//! nothing.

use std::fmt::Write as _;
use std::sync::OnceLock;

use slackside::conditions::Condition;

use super::cause::Cause;
use super::evidence::{Clue, Evidence, Raised};

/// Points for a factor of e in the odds. Too few of them cost what is right: what each of some hundreds of leaves is rounded by adds up. A
/// sixteenth of a factor of e, with two hundred trees, cost a point in a hundred.
pub const NAT: i32 = 128;
/// The causes the model knows.
pub const CAUSES: usize = Cause::ALL.len();
/// All chances together.
pub const WHOLE: u32 = 1_000_000;
/// Questions asked of each condition: when it was raised, and whether it was the first.
const OF_A_CONDITION: usize = 2;

/// The trees that were learned.
const LEARNED: &str = include_str!("learned.txt");

/// Points for each cause.
pub type Points = [i16; CAUSES];

/// What a node of a tree asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Question {
    /// The answer to a clue.
    Clue(Clue),
    /// Whether a condition was raised: 0 no, 1 with the moment, 2 after it.
    Raised(Condition),
    /// Whether a condition was the first: 1 or 0.
    First(Condition),
}

impl Question {
    /// How many there are.
    pub const COUNT: usize = Clue::COUNT + OF_A_CONDITION * Condition::COUNT;

    /// All of them.
    pub fn all() -> impl Iterator<Item = Self> {
        let raised = Condition::ALL.into_iter().map(Self::Raised);
        let first = Condition::ALL.into_iter().map(Self::First);
        Clue::ALL.into_iter().map(Self::Clue).chain(raised).chain(first)
    }

    /// Its name in the file.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Clue(clue) => clue.entry().name.to_owned(),
            Self::Raised(condition) => format!("raised:{}", condition.name()),
            Self::First(condition) => format!("first:{}", condition.name()),
        }
    }

    /// The answer; an unknown one is below all others.
    #[must_use]
    pub fn answer(self, evidence: &Evidence) -> i32 {
        match self {
            Self::Clue(clue) => evidence.get(clue).unwrap_or(i32::MIN),
            Self::Raised(condition) => match evidence.raised[condition.rank()] {
                Raised::No => 0,
                Raised::With => 1,
                Raised::After => 2,
            },
            Self::First(condition) => i32::from(evidence.first == Some(condition)),
        }
    }
}

/// A node of a tree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Node {
    /// Go on at the first node if the answer is below the figure, at the second if not.
    Split {
        /// What is asked.
        question: Question,
        /// The figure.
        below: i32,
        /// Where to go on.
        then: [usize; 2],
    },
    /// The end, with its points.
    Leaf(Points),
}

/// A tree: its first node is where it begins. Every node leads to later ones.
pub type Tree = Vec<Node>;

/// How often causes come, for what is told of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Prior {
    /// As common practice has it: [`Cause::often`].
    Usual,
    /// All equally often.
    Even,
}

impl Prior {
    /// How often it has a cause come, against the others.
    pub(super) const fn of(self, cause: Cause) -> u32 {
        match self {
            Self::Usual => cause.often(),
            Self::Even => 1,
        }
    }
}

/// Trees.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Model {
    /// How it was made: the first lines of its file.
    pub provenance: String,
    /// The trees: what they give is with all causes equally often.
    pub trees: Vec<Tree>,
}

impl Default for Model {
    /// One that knows nothing.
    fn default() -> Self {
        Self { provenance: String::new(), trees: Vec::new() }
    }
}

impl Model {
    /// The one that was learned.
    #[must_use]
    pub fn learned() -> &'static Self {
        static MODEL: OnceLock<Model> = OnceLock::new();
        MODEL.get_or_init(|| Self::parse(LEARNED).unwrap_or_else(|wrong| unreachable!("learned.txt: {wrong}")))
    }

    /// As text: provenance and the causes; then tree by tree `? question figure`, followed by what comes below the figure and by what does
    /// not, and at each end `=` with the points of each cause that has any, as `number:points`, causes numbered from 0.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = self.provenance.clone();
        let names = Cause::ALL.map(Cause::name).join(",");
        let _ = writeln!(text, "{names}");
        for tree in &self.trees {
            let mut left = vec![0];
            while let Some(node) = left.pop().and_then(|index| tree.get(index)) {
                match node {
                    Node::Split { question, below, then: [lower, upper] } => {
                        let _ = writeln!(text, "? {} {below}", question.name());
                        left.extend([*upper, *lower]);
                    }
                    Node::Leaf(points) => {
                        let _ = writeln!(text, "={}", cells(points));
                    }
                }
            }
        }
        text
    }

    /// Of text.
    ///
    /// # Errors
    /// What is wrong with it, with its line: it was made for other causes or other questions.
    pub fn parse(text: &str) -> Result<Self, String> {
        let provenance: String = text.split_inclusive('\n').take_while(|line| line.starts_with('#')).collect();
        let mut lines = text.lines().enumerate().skip_while(|(_, line)| line.starts_with('#'));
        if lines.next().map(|(_, line)| line) != Some(Cause::ALL.map(Cause::name).join(",").as_str()) {
            return Err("its causes are not those of the code: learn it anew".to_owned());
        }
        let known: std::collections::HashMap<String, Question> =
            Question::all().map(|question| (question.name(), question)).collect();
        let mut model = Self { provenance, ..Self::default() };
        // Splits whose upper half has not begun.
        let mut open: Vec<usize> = Vec::new();
        let mut tree = Tree::new();
        for (number, line) in lines {
            let wrong = |what: &str| format!("line {}: {what}", number + 1);
            if let Some(asked) = line.strip_prefix("? ") {
                let (name, below) = asked.split_once(' ').ok_or_else(|| wrong("a question without a figure"))?;
                let question = *known.get(name).ok_or_else(|| wrong("no such question is asked: learn it anew"))?;
                let below = below.parse().map_err(|_| wrong("not a whole number"))?;
                open.push(tree.len());
                tree.push(Node::Split { question, below, then: [tree.len() + 1; 2] });
            } else {
                tree.push(Node::Leaf(points(line).ok_or_else(|| wrong("neither a question nor points"))?));
                let next = tree.len();
                match open.pop().and_then(|split| tree.get_mut(split)) {
                    Some(Node::Split { then: [_, upper], .. }) => *upper = next,
                    _ => model.trees.push(core::mem::take(&mut tree)),
                }
            }
        }
        if tree.is_empty() { Ok(model) } else { Err("its last tree is cut off".to_owned()) }
    }

    /// How likely each cause is, in millionths that add up to [`WHOLE`] but for rounding.
    #[must_use]
    pub fn chances(&self, evidence: &Evidence, prior: Prior) -> [u32; CAUSES] {
        let mut sums = Cause::ALL.map(|cause| points_of(prior.of(cause)));
        for points in self.trees.iter().filter_map(|tree| end(tree, evidence)) {
            for (sum, point) in sums.iter_mut().zip(points) {
                *sum += i32::from(*point);
            }
        }
        let most = sums.into_iter().max().unwrap_or(0);
        let odds = sums.map(|sum| falling(most.abs_diff(sum)));
        let all: u64 = odds.iter().sum();
        odds.map(|odds| u32::try_from(odds * u64::from(WHOLE) / all.max(1)).unwrap_or(0))
    }
}

/// The leaf that an evidence leads to.
fn end<'a>(tree: &'a Tree, evidence: &Evidence) -> Option<&'a Points> {
    let mut at = 0;
    loop {
        match tree.get(at)? {
            Node::Leaf(points) => return Some(points),
            Node::Split { question, below, then: [lower, upper] } => {
                at = if question.answer(evidence) < *below { *lower } else { *upper };
            }
        }
    }
}

/// The points of something that comes so many times as often.
fn points_of(often: u32) -> i32 {
    (libm::log(f64::from(often)) * f64::from(NAT)).round() as i32
}

fn cells(points: &Points) -> String {
    let mut cells = String::new();
    for (cause, point) in points.iter().enumerate().filter(|(_, point)| **point != 0) {
        let _ = write!(cells, " {cause}:{point}");
    }
    cells
}

fn points(line: &str) -> Option<Points> {
    let mut points = [0; CAUSES];
    for cell in line.strip_prefix('=')?.split_whitespace() {
        let (cause, point) = cell.split_once(':')?;
        *points.get_mut(cause.parse::<usize>().ok()?)? = point.parse().ok()?;
    }
    Some(points)
}

/// e to the power of minus so many points, in 2^32 parts.
fn falling(points: u32) -> u64 {
    /// e^(-1/128), e^(-2/128), e^(-4/128) and so on, in 2^32 parts.
    const HALVINGS: [u64; 12] = [
        4_261_543_595,
        4_228_380_000,
        4_162_825_044,
        4_034_748_382,
        3_790_295_335,
        3_344_923_893,
        2_605_029_347,
        1_580_030_169,
        581_260_615,
        78_665_070,
        1_440_801,
        483,
    ];
    if points >= 1 << HALVINGS.len() {
        return 0;
    }
    let factors = HALVINGS.iter().enumerate().filter(|(bit, _)| points >> bit & 1 == 1);
    factors.fold(1 << 32, |product: u64, (_, factor)| ((u128::from(product) * u128::from(*factor)) >> 32) as u64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_fall_as_the_exponential_does() {
        for points in 0..5_000_u32 {
            let exact = libm::exp(-f64::from(points) / f64::from(NAT));
            let ours = falling(points) as f64 / 4_294_967_296.0;
            assert!((ours - exact).abs() < 1e-8, "{points}: {ours} {exact}");
        }
    }

    #[test]
    fn every_question_has_a_name_of_its_own_and_the_text_comes_back() {
        let names: std::collections::HashSet<String> = Question::all().map(Question::name).collect();
        assert_eq!(names.len(), Question::COUNT);
        let learned = Model::learned();
        assert!(learned.trees.len() > 20, "{}", learned.trees.len());
        assert_eq!(&Model::parse(&learned.text()).expect("its own text"), learned);
        assert_eq!(learned.text(), LEARNED);
    }

    #[test]
    fn a_text_that_is_cut_off_or_of_other_questions_is_refused() {
        let causes = Cause::ALL.map(Cause::name).join(",");
        for (text, told) in [
            ("other,causes\n=".to_owned(), "not those of the code"),
            (format!("{causes}\n? slip 5\n= 0:1\n"), "cut off"),
            (format!("{causes}\n? slap 5\n= 0:1\n= 0:2\n"), "line 2: no such question"),
            (format!("{causes}\n? slip five\n= 0:1\n= 0:2\n"), "line 2: not a whole number"),
            (format!("{causes}\n= 0:1 1:x\n"), "line 2: neither"),
            (format!("{causes}\n= {CAUSES}:1\n"), "line 2: neither"),
        ] {
            let refused = Model::parse(&text).expect_err("refused");
            assert!(refused.contains(told), "{refused}");
        }
    }

    #[test]
    fn a_tree_leads_below_its_figure_or_not_and_unknown_is_below() {
        let causes = Cause::ALL.map(Cause::name).join(",");
        let model =
            Model::parse(&format!("{causes}\n? slip 5\n= 0:160\n? power 7\n= 1:160\n= 2:160\n")).expect("a tree");
        let likeliest = |slip: Option<i32>, power: Option<i32>| {
            let mut evidence = Evidence::default();
            evidence.set(Clue::SlipAt, slip);
            evidence.set(Clue::PowerAt, power);
            let chances = model.chances(&evidence, Prior::Even);
            (0..CAUSES).max_by_key(|cause| chances[*cause])
        };
        assert_eq!(likeliest(None, Some(9)), Some(0));
        assert_eq!(likeliest(Some(4), Some(9)), Some(0));
        assert_eq!(likeliest(Some(5), Some(6)), Some(1));
        assert_eq!(likeliest(Some(5), Some(7)), Some(2));
    }

    #[test]
    fn chances_add_up_and_what_comes_often_is_likelier() {
        for prior in [Prior::Usual, Prior::Even] {
            let all: u32 = Model::learned().chances(&Evidence::default(), prior).iter().sum();
            assert!((WHOLE - 100..=WHOLE).contains(&all), "{all}");
        }
        let told = Model::default().chances(&Evidence::default(), Prior::Usual);
        let [choke, loose] = [Cause::Choke, Cause::BootPulleyLoose].map(|cause| told[cause as usize]);
        assert!((95..=105).contains(&(choke * 10 / loose)), "{choke} {loose}");
    }
}
