//! Learn the trees: gradient boosting of a multinomial model (Friedman 2001), each round a tree for every cause, with a Newton step in every
//! leaf: what parts two causes that look alike need not be worth a question to all. Trees that serve all causes at once, which earlier models
//! had, were up to a point in a hundred worse. Several sets of trees are boosted so, each by itself and by other turns of chance, and their mean is
//! told: what one set takes from chance alone the others do not (bagging, Breiman 1996). Then it is stretched or shrunk until its chances come
//! true on runs it was not fitted to.
//!
//! All runs of a cause together weigh as much as those of any other, so that there is as much to learn of the rare ones; but no run weighs
//! more than `MOST` mean ones: a cause of which hardly any drawn run was alarmed stays as rare as it is. How often each cause comes
//! ([`Cause::often`]) is added where chances are told. Every sum is made in one order: the same runs give the same trees on any machine.

use super::super::cause::Cause;
use super::super::model::{CAUSES, Model, NAT, Node, Question, Tree};
use super::row::Row;
use crate::plant::chance::Chance;

/// Sets of trees. Like what follows, chosen on turns of runs to learn from that were kept back, a third at a time, and on nothing else.
const SETS: usize = 2;
/// Rounds of a set: a tree for each cause.
const ROUNDS: usize = 100;
/// Ends of a tree.
const LEAVES: usize = 15;
/// How much of a Newton step is taken.
const STEP: f32 = 0.07;
/// The pull towards nothing, added to the curvature.
const PULL: f32 = 1.0;
/// A run whose chance of a cause is off by less than this tells that cause's tree nothing.
const TELLS: f32 = 0.001;
/// How many mean runs a run of a rare cause weighs at most.
const MOST: f32 = 3.0;
/// The least runs in a leaf.
const IN_A_LEAF: usize = 5;
/// Share of the runs and of the questions that a tree sees.
const RUNS_SEEN: f64 = 0.8;
const QUESTIONS_SEEN: f64 = 0.3;
/// The most cuts of a question, at quantiles.
const CUTS: usize = 48;
/// The least gain that is worth a question.
const GAIN: f32 = 0.01;
/// Every so many runs are kept back to find how far chances must be shrunk.
const KEPT_BACK: usize = 5;

/// One figure for each cause.
type Each = [f32; CAUSES];

/// Runs as columns of bins, a column for each question.
struct Samples {
    cuts: Vec<Vec<i32>>,
    bins: Vec<Vec<u8>>,
    causes: Vec<usize>,
    weights: Vec<f32>,
}

fn alarmed<'a>(of: impl Iterator<Item = &'a Row>) -> Vec<&'a Row> {
    of.filter(|row| row.evidence.first.is_some()).collect()
}

impl Samples {
    fn of(rows: &[&Row]) -> Self {
        let (mut cuts, mut bins) = (Vec::new(), Vec::new());
        for question in Question::all() {
            let answers: Vec<i32> = rows.iter().map(|row| question.answer(&row.evidence)).collect();
            let of = cuts_of(&answers);
            bins.push(answers.iter().map(|answer| of.partition_point(|cut| cut <= answer) as u8).collect());
            cuts.push(of);
        }
        let weigh = weights(rows);
        let causes: Vec<usize> = rows.iter().map(|row| row.cause as usize).collect();
        let weights = causes.iter().map(|cause| weigh[*cause]).collect();
        Self { cuts, bins, causes, weights }
    }
}

/// Where the answers are parted: between all that there are, or at their quantiles. An unknown answer is the least of all.
fn cuts_of(answers: &[i32]) -> Vec<i32> {
    let mut sorted: Vec<i32> = answers.iter().copied().filter(|answer| *answer != i32::MIN).collect();
    sorted.sort_unstable();
    let mut distinct = sorted.clone();
    distinct.dedup();
    if distinct.len() > CUTS {
        distinct = (0..CUTS).filter_map(|part| sorted.get(sorted.len() * part / CUTS).copied()).collect();
        distinct.dedup();
    }
    // Nothing lies below the least but what is unknown.
    if sorted.len() == answers.len() {
        distinct.drain(..distinct.len().min(1));
    }
    distinct
}

/// Learn from played runs.
#[must_use]
pub fn fit(all: &[Row], provenance: String) -> Model {
    let held = |row: &&Row| (row.index / CAUSES).is_multiple_of(KEPT_BACK);
    let most = alarmed(all.iter().filter(|row| !held(row)));
    let kept_back = alarmed(all.iter().filter(held));
    let shrunk = shrink(&Grown::of(&most), &kept_back);
    let all = alarmed(all.iter());
    let grown = Grown::of(&all);
    let node = |cause: usize, node: &GrownNode| match node {
        GrownNode::Split { question, bin, then } => {
            let (question, below) = grown.samples.asks(*question, *bin);
            Node::Split { question, below, then: *then }
        }
        GrownNode::Leaf(point) => {
            let mut points = [0; CAUSES];
            points[cause] = (point * shrunk * NAT as f32 / SETS as f32).round().clamp(-8_000.0, 8_000.0) as i16;
            Node::Leaf(points)
        }
    };
    let trees = grown.trees.iter().map(|(cause, tree)| in_order(tree, &|of: &GrownNode| node(*cause, of))).collect();
    Model { provenance, trees }
}

/// What a run of each cause weighs.
fn weights(rows: &[&Row]) -> Each {
    let mut drawn = [0.0_f32; CAUSES];
    for row in rows {
        drawn[row.cause as usize] += 1.0;
    }
    let mean = rows.len() as f32 / CAUSES as f32;
    drawn.map(|count| (mean / count.max(1.0)).min(MOST))
}

/// A tree with its nodes in the order of the file.
fn in_order(tree: &[GrownNode], node: &impl Fn(&GrownNode) -> Node) -> Tree {
    let mut ordered = Tree::new();
    // What is still to come, and the split whose upper half it is.
    let mut left = vec![(0, None)];
    while let Some((index, upper_of)) = left.pop() {
        let at = ordered.len();
        if let Some(Node::Split { then: [_, upper], .. }) = upper_of.and_then(|split: usize| ordered.get_mut(split)) {
            *upper = at;
        }
        let mut node = node(&tree[index]);
        if let Node::Split { then, .. } = &mut node {
            left.extend([(then[1], Some(at)), (then[0], None)]);
            *then = [at + 1; 2];
        }
        ordered.push(node);
    }
    ordered
}

/// A node of a tree of one cause: a question by its number and the first bin that does not lie below it, or points.
enum GrownNode {
    Split { question: usize, bin: u8, then: [usize; 2] },
    Leaf(f32),
}

/// All trees of all sets, each with its cause: their mean is what a set's sum is.
struct Grown {
    samples: Samples,
    trees: Vec<(usize, Vec<GrownNode>)>,
}

/// How far a cause's chance is off, and how much it bends.
#[derive(Clone, Copy)]
struct Slope {
    off: f32,
    bend: f32,
}

impl Slope {
    const NONE: Self = Self { off: 0.0, bend: 0.0 };

    fn add(&mut self, other: Self) {
        self.off += other.off;
        self.bend += other.bend;
    }

    /// What is left of a whole.
    fn less(self, other: Self) -> Self {
        Self { off: self.off - other.off, bend: (self.bend - other.bend).max(0.0) }
    }

    /// How much a Newton step gains.
    fn gain(self) -> f32 {
        self.off * self.off / (self.bend + PULL)
    }

    fn step(self) -> f32 {
        (-STEP * self.off / (self.bend + PULL)).clamp(-3.0, 3.0)
    }
}

/// A question and the first bin that does not lie below it.
#[derive(Clone, Copy)]
struct Best {
    gain: f32,
    question: usize,
    bin: u8,
}

/// An end of a tree that grows.
struct End {
    runs: Vec<usize>,
    node: usize,
    all: Slope,
    best: Option<Best>,
}

impl Grown {
    fn of(rows: &[&Row]) -> Self {
        let samples = Samples::of(rows);
        let mut chance = Chance::new(1, 0);
        let mut trees = Vec::with_capacity(SETS * ROUNDS * CAUSES);
        for _ in 0..SETS {
            let mut sums = vec![[0.0_f32; CAUSES]; rows.len()];
            for _ in 0..ROUNDS {
                let chances: Vec<Each> = sums.iter().map(|sums| chances(*sums)).collect();
                let seen: Vec<usize> = (0..rows.len()).filter(|_| chance.happens(RUNS_SEEN)).collect();
                for cause in 0..CAUSES {
                    let slopes = samples.slopes(&chances, cause);
                    let runs = seen.iter().copied().filter(|run| slopes[*run].off.abs() >= TELLS).collect();
                    let asked: Vec<usize> = (0..samples.cuts.len())
                        .filter(|question| chance.happens(QUESTIONS_SEEN) && !samples.cuts[*question].is_empty())
                        .collect();
                    let tree = grow(&samples, &slopes, runs, &asked);
                    if tree.len() == 1 {
                        continue;
                    }
                    for (run, sums) in sums.iter_mut().enumerate() {
                        sums[cause] += samples.end(&tree, run);
                    }
                    trees.push((cause, tree));
                }
            }
        }
        Self { samples, trees }
    }

    fn sums(&self, row: &Row) -> Each {
        let mut sums = [0.0; CAUSES];
        let answers: Vec<i32> = Question::all().map(|question| question.answer(&row.evidence)).collect();
        for (cause, tree) in &self.trees {
            let mut at = 0;
            sums[*cause] += loop {
                match &tree[at] {
                    GrownNode::Leaf(points) => break points,
                    GrownNode::Split { question, bin, then: [lower, upper] } => {
                        at = if answers[*question] < self.samples.below(*question, *bin) { *lower } else { *upper };
                    }
                }
            };
        }
        sums.map(|sum| sum / SETS as f32)
    }
}

impl Samples {
    /// How far each run's chance of a cause is off.
    fn slopes(&self, chances: &[Each], cause: usize) -> Vec<Slope> {
        let each = chances.iter().zip(&self.causes).zip(&self.weights);
        each.map(|((chances, is), weight)| {
            let chance = chances[cause];
            let off = if *is == cause { chance - 1.0 } else { chance };
            Slope { off: weight * off, bend: weight * (chance * (1.0 - chance)).max(1e-6) }
        })
        .collect()
    }

    /// The answer from which on a bin of a question lies.
    fn below(&self, question: usize, bin: u8) -> i32 {
        self.cuts[question][usize::from(bin) - 1]
    }

    /// A split as it is asked.
    fn asks(&self, question: usize, bin: u8) -> (Question, i32) {
        let asked = Question::all().nth(question).unwrap_or_else(|| unreachable!("a question of the list"));
        (asked, self.below(question, bin))
    }

    /// What a tree gives a run.
    fn end(&self, tree: &[GrownNode], run: usize) -> f32 {
        let mut at = 0;
        loop {
            match &tree[at] {
                GrownNode::Leaf(points) => return *points,
                GrownNode::Split { question, bin, then: [lower, upper] } => {
                    at = if self.bins[*question][run] < *bin { *lower } else { *upper };
                }
            }
        }
    }
}

/// Grow a tree: always at the end where a question gains most.
fn grow(samples: &Samples, slopes: &[Slope], runs: Vec<usize>, asked: &[usize]) -> Vec<GrownNode> {
    let mut nodes = vec![GrownNode::Leaf(0.0)];
    let mut ends = vec![end(samples, slopes, runs, asked, 0)];
    while ends.len() < LEAVES {
        let most = |end: &End| end.best.map_or(0.0, |best| best.gain);
        let Some(at) = (0..ends.len()).max_by(|one, other| most(&ends[*one]).total_cmp(&most(&ends[*other]))) else {
            break;
        };
        let Some(Best { question, bin, .. }) = ends[at].best else { break };
        let split = ends.swap_remove(at);
        let (lower, upper): (Vec<usize>, Vec<usize>) =
            split.runs.iter().partition(|run| samples.bins[question][**run] < bin);
        let then = [nodes.len(), nodes.len() + 1];
        nodes.extend([GrownNode::Leaf(0.0), GrownNode::Leaf(0.0)]);
        nodes[split.node] = GrownNode::Split { question, bin, then };
        ends.push(end(samples, slopes, lower, asked, then[0]));
        ends.push(end(samples, slopes, upper, asked, then[1]));
    }
    for end in ends {
        nodes[end.node] = GrownNode::Leaf(end.all.step());
    }
    nodes
}

fn end(samples: &Samples, slopes: &[Slope], runs: Vec<usize>, asked: &[usize], node: usize) -> End {
    let mut all = Slope::NONE;
    for run in &runs {
        all.add(slopes[*run]);
    }
    let best = best(samples, slopes, &runs, asked, all);
    End { runs, node, all, best }
}

/// The question that parts runs best.
fn best(samples: &Samples, slopes: &[Slope], runs: &[usize], asked: &[usize], all: Slope) -> Option<Best> {
    if runs.len() < 2 * IN_A_LEAF {
        return None;
    }
    let whole = all.gain();
    let mut best: Option<Best> = None;
    let mut binned = [Slope::NONE; CUTS + 1];
    for question in asked.iter().copied() {
        let (bins, cuts) = (&samples.bins[question], samples.cuts[question].len());
        let mut counts = [0_usize; CUTS + 1];
        binned[..=cuts].fill(Slope::NONE);
        for run in runs {
            let bin = usize::from(bins[*run]);
            counts[bin] += 1;
            binned[bin].add(slopes[*run]);
        }
        let (mut lower, mut count) = (Slope::NONE, 0);
        for bin in 0..cuts {
            if counts[bin] == 0 {
                continue;
            }
            lower.add(binned[bin]);
            count += counts[bin];
            if count < IN_A_LEAF || runs.len() - count < IN_A_LEAF {
                continue;
            }
            let gain = lower.gain() + all.less(lower).gain() - whole;
            if gain > best.map_or(GAIN, |best| best.gain) {
                best = Some(Best { gain, question, bin: bin as u8 + 1 });
            }
        }
    }
    best
}

fn chances(mut sums: Each) -> Each {
    let most = sums.iter().copied().fold(f32::MIN, f32::max);
    for sum in &mut sums {
        *sum = libm::expf(*sum - most);
    }
    let all: f32 = sums.iter().sum();
    sums.map(|sum| sum / all)
}

/// The factor with which chances come true best on runs that were kept back: the least sum of minus their logarithms, causes as often as
/// they come.
fn shrink(grown: &Grown, kept_back: &[&Row]) -> f32 {
    let weights = weights(kept_back);
    let sums: Vec<(Each, usize)> = kept_back.iter().map(|row| (grown.sums(row), row.cause as usize)).collect();
    let loss = |factor: f32| -> f32 {
        let of = |(sums, is): &(Each, usize)| {
            let mut sums = sums.map(|sum| sum * factor);
            for (sum, cause) in sums.iter_mut().zip(Cause::ALL) {
                *sum += libm::logf(cause.often() as f32);
            }
            -libm::logf(chances(sums)[*is].max(1e-6)) * weights[*is] * Cause::ALL[*is].often() as f32
        };
        sums.iter().map(of).sum()
    };
    let factors = (10..=30).map(|twentieth| twentieth as f32 / 20.0);
    factors.min_by(|one, other| loss(*one).total_cmp(&loss(*other))).unwrap_or(1.0)
}
