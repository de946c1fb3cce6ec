//! Learn the trees: gradient boosting of a multinomial model (Friedman 2001), twice. Once with a Newton step for every cause in every leaf, so
//! that one tree serves all causes: several sets of trees are boosted so, each by itself and by other turns of chance. And once more, in one
//! set, with trees that serve one cause each, a round of them after another: what parts two causes that look alike need not be worth a
//! question to all. Trees of one cause alone do better on legs like those they were learned from, and worse on others. The mean of all sets is
//! told: what one takes from chance alone the others do not (bagging, Breiman 1996). Then it is stretched or shrunk until its chances come true
//! on runs it was not fitted to.
//!
//! All runs of a cause together weigh as much as those of any other, so that there is as much to learn of the rare ones; but no run weighs
//! more than `MOST` mean ones: a cause of which hardly any drawn run was alarmed stays as rare as it is. How often each cause comes
//! ([`Cause::often`]) is added where chances are told. Every sum is made in one order: the same runs give the same trees on any machine.

use super::super::cause::Cause;
use super::super::model::{CAUSES, Model, NAT, Node, Points, Question, Tree};
use super::row::Row;
use crate::plant::chance::Chance;

/// Sets of trees. Like what follows, chosen on turns of runs to learn from that were kept back, a third at a time, and on nothing else.
const SETS: usize = 4;
/// Trees of a set.
const TREES: usize = 100;
/// Rounds of trees of one cause each.
const ROUNDS: usize = 80;
/// How the trees that serve all causes grow. Steps between 0.08 and 0.15 were tried and differ by no more than chance.
const OF_ALL: Growth = Growth { leaves: 32, step: 0.12, pull: 2.0, in_a_leaf: 4, questions_seen: 0.25 };
/// How those of one cause do.
const OF_ONE: Growth = Growth { leaves: 15, step: 0.09, pull: 1.0, in_a_leaf: 5, questions_seen: 0.3 };
/// A run that is off by less than this for a cause tells its tree nothing.
const TELLS: f32 = 0.001;
/// How many mean runs a run of a rare cause weighs at most.
const MOST: f32 = 3.0;
/// Share of the runs that a tree sees.
const RUNS_SEEN: f64 = 0.8;
/// The most cuts of a question, at quantiles.
const CUTS: usize = 48;
/// The least gain that is worth a question.
const GAIN: f32 = 0.01;
/// Every so many runs are kept back to find how far chances must be shrunk.
const KEPT_BACK: usize = 5;

/// One figure for each cause.
type Each = [f32; CAUSES];

/// How trees grow.
#[derive(Clone, Copy)]
struct Growth {
    /// Ends of a tree.
    leaves: usize,
    /// How much of a Newton step is taken.
    step: f32,
    /// The pull towards nothing, added to the curvature.
    pull: f32,
    /// The least runs in a leaf.
    in_a_leaf: usize,
    /// Share of the questions that a tree sees.
    questions_seen: f64,
}

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
    let whole = |each: &Each| {
        centred(each.map(|points| (points * shrunk * NAT as f32).round().clamp(-8_000.0, 8_000.0) as i16))
    };
    let node = |node: &GrownNode| match node {
        GrownNode::Split { question, below, then } => Node::Split { question: *question, below: *below, then: *then },
        GrownNode::Leaf(each) => Node::Leaf(whole(each)),
    };
    let trees = grown.trees.iter().map(|tree| in_order(tree, &node)).collect();
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

/// The same points for all causes say nothing: what most causes have is taken from each.
fn centred(points: Points) -> Points {
    let times = |point: &i16| points.iter().filter(|other| *other == point).count();
    let usual = points.into_iter().max_by_key(|point| (times(point), *point)).unwrap_or(0);
    points.map(|point| point - usual)
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

#[derive(Clone)]
enum GrownNode<const N: usize = CAUSES> {
    Split { question: Question, below: i32, then: [usize; 2] },
    Leaf([f32; N]),
}

/// All trees; what a run is told is the sum of theirs.
struct Grown {
    trees: Vec<Vec<GrownNode>>,
}

/// How far the chance of each of some causes is off, and how much it bends.
#[derive(Clone, Copy)]
struct Slope<const N: usize> {
    off: [f32; N],
    bend: [f32; N],
}

impl<const N: usize> Slope<N> {
    const NONE: Self = Self { off: [0.0; N], bend: [0.0; N] };

    fn add(&mut self, other: &Self) {
        for ((off, bend), (more_off, more_bend)) in
            self.off.iter_mut().zip(&mut self.bend).zip(other.off.iter().zip(&other.bend))
        {
            *off += more_off;
            *bend += more_bend;
        }
    }

    /// What is left of a whole.
    fn less(&self, other: &Self) -> Self {
        let mut rest = *self;
        for ((off, bend), (less_off, less_bend)) in
            rest.off.iter_mut().zip(&mut rest.bend).zip(other.off.iter().zip(&other.bend))
        {
            *off -= less_off;
            *bend = (*bend - less_bend).max(0.0);
        }
        rest
    }

    /// How much a Newton step gains.
    fn gain(&self, pull: f32) -> f32 {
        self.off.iter().zip(&self.bend).map(|(off, bend)| off * off / (bend + pull)).sum()
    }

    fn step(&self, growth: Growth) -> [f32; N] {
        let mut step = self.off;
        for (off, bend) in step.iter_mut().zip(self.bend) {
            *off = (-growth.step * *off / (bend + growth.pull)).clamp(-3.0, 3.0);
        }
        step
    }
}

impl Slope<CAUSES> {
    fn of_one(&self, cause: usize) -> Slope<1> {
        Slope { off: [self.off[cause]], bend: [self.bend[cause]] }
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
struct End<const N: usize> {
    runs: Vec<usize>,
    node: usize,
    all: Slope<N>,
    best: Option<Best>,
}

impl Grown {
    fn of(rows: &[&Row]) -> Self {
        let samples = Samples::of(rows);
        let mut chance = Chance::new(1, 0);
        let mut trees = Vec::with_capacity(SETS * TREES + ROUNDS * CAUSES);
        for _ in 0..SETS {
            let mut sums = vec![[0.0_f32; CAUSES]; rows.len()];
            for _ in 0..TREES {
                let slopes = samples.slopes(&sums);
                let tree = Forest { samples: &samples, slopes: &slopes, growth: OF_ALL }.tree(&mut chance, |_| true);
                for (run, sums) in sums.iter_mut().enumerate() {
                    for (sum, point) in sums.iter_mut().zip(samples.end(&tree, run)) {
                        *sum += point;
                    }
                }
                trees.push(samples.asked(&tree, |each| each.map(|points| points / (SETS + 1) as f32)));
            }
        }
        let mut sums = vec![[0.0_f32; CAUSES]; rows.len()];
        for _ in 0..ROUNDS {
            let slopes = samples.slopes(&sums);
            for cause in 0..CAUSES {
                let slopes: Vec<Slope<1>> = slopes.iter().map(|slope| slope.of_one(cause)).collect();
                let tells = |run: usize| slopes[run].off[0].abs() >= TELLS;
                let tree = Forest { samples: &samples, slopes: &slopes, growth: OF_ONE }.tree(&mut chance, tells);
                if tree.len() == 1 {
                    continue;
                }
                for (run, sums) in sums.iter_mut().enumerate() {
                    sums[cause] += samples.end(&tree, run)[0];
                }
                trees.push(samples.asked(&tree, |[points]| {
                    let mut each = [0.0; CAUSES];
                    each[cause] = points / (SETS + 1) as f32;
                    each
                }));
            }
        }
        Self { trees }
    }

    fn sums(&self, row: &Row) -> Each {
        let mut sums = [0.0; CAUSES];
        for tree in &self.trees {
            add(&mut sums, tree, row);
        }
        sums
    }
}

fn add(sums: &mut Each, tree: &[GrownNode], row: &Row) {
    let mut at = 0;
    loop {
        match &tree[at] {
            GrownNode::Split { question, below, then: [lower, upper] } => {
                at = if question.answer(&row.evidence) < *below { *lower } else { *upper };
            }
            GrownNode::Leaf(points) => {
                for (sum, point) in sums.iter_mut().zip(points) {
                    *sum += point;
                }
                return;
            }
        }
    }
}

fn slope(sums: Each, cause: usize, weight: f32) -> Slope<CAUSES> {
    let mut off = chances(sums);
    let bend = off.map(|chance| weight * (chance * (1.0 - chance)).max(1e-6));
    off[cause] -= 1.0;
    Slope { off: off.map(|off| weight * off), bend }
}

/// A node of a tree that is growing: a question by its number, and a bin of it.
enum Growing<const N: usize> {
    Split { question: usize, bin: u8, then: [usize; 2] },
    Leaf([f32; N]),
}

impl Samples {
    fn slopes(&self, sums: &[Each]) -> Vec<Slope<CAUSES>> {
        let each = sums.iter().zip(&self.causes).zip(&self.weights);
        each.map(|((sums, cause), weight)| slope(*sums, *cause, *weight)).collect()
    }

    /// Where a tree ends for a run.
    fn end<'a, const N: usize>(&self, tree: &'a [Growing<N>], run: usize) -> &'a [f32; N] {
        let mut at = 0;
        loop {
            match &tree[at] {
                Growing::Leaf(points) => return points,
                Growing::Split { question, bin, then: [lower, upper] } => {
                    at = if self.bins[*question][run] < *bin { *lower } else { *upper };
                }
            }
        }
    }

    /// A tree as it is asked.
    fn asked<const N: usize>(&self, tree: &[Growing<N>], points: impl Fn([f32; N]) -> Each) -> Vec<GrownNode> {
        let questions: Vec<Question> = Question::all().collect();
        let node = |node: &Growing<N>| match node {
            Growing::Leaf(each) => GrownNode::Leaf(points(*each)),
            Growing::Split { question, bin, then } => GrownNode::Split {
                question: questions[*question],
                below: self.cuts[*question][usize::from(*bin) - 1],
                then: *then,
            },
        };
        tree.iter().map(node).collect()
    }
}

/// What trees grow in.
struct Forest<'a, const N: usize> {
    samples: &'a Samples,
    slopes: &'a [Slope<N>],
    growth: Growth,
}

impl<const N: usize> Forest<'_, N> {
    /// A tree of the runs and questions that chance lets it see, of those runs that have something to tell.
    fn tree(&self, chance: &mut Chance, tells: impl Fn(usize) -> bool) -> Vec<Growing<N>> {
        let runs = (0..self.slopes.len()).filter(|run| chance.happens(RUNS_SEEN) && tells(*run)).collect();
        let asked: Vec<usize> = (0..self.samples.cuts.len())
            .filter(|question| chance.happens(self.growth.questions_seen) && !self.samples.cuts[*question].is_empty())
            .collect();
        self.grow(runs, &asked)
    }

    /// Grow a tree: always at the end where a question gains most.
    fn grow(&self, runs: Vec<usize>, asked: &[usize]) -> Vec<Growing<N>> {
        let mut nodes = vec![Growing::Leaf([0.0; N])];
        let mut ends = vec![self.end(runs, asked, 0)];
        while ends.len() < self.growth.leaves {
            let most = |end: &End<N>| end.best.map_or(0.0, |best| best.gain);
            let Some(at) = (0..ends.len()).max_by(|one, other| most(&ends[*one]).total_cmp(&most(&ends[*other])))
            else {
                break;
            };
            let Some(best) = ends[at].best else { break };
            let split = ends.swap_remove(at);
            let (lower, upper): (Vec<usize>, Vec<usize>) =
                split.runs.iter().partition(|run| self.samples.bins[best.question][**run] < best.bin);
            let then = [nodes.len(), nodes.len() + 1];
            nodes.extend([Growing::Leaf([0.0; N]), Growing::Leaf([0.0; N])]);
            nodes[split.node] = Growing::Split { question: best.question, bin: best.bin, then };
            ends.push(self.end(lower, asked, then[0]));
            ends.push(self.end(upper, asked, then[1]));
        }
        for end in ends {
            nodes[end.node] = Growing::Leaf(end.all.step(self.growth));
        }
        nodes
    }

    fn end(&self, runs: Vec<usize>, asked: &[usize], node: usize) -> End<N> {
        let mut all = Slope::NONE;
        for run in &runs {
            all.add(&self.slopes[*run]);
        }
        let best = self.best(&runs, asked, &all);
        End { runs, node, all, best }
    }

    /// The question that parts runs best.
    fn best(&self, runs: &[usize], asked: &[usize], all: &Slope<N>) -> Option<Best> {
        let Growth { in_a_leaf, pull, .. } = self.growth;
        if runs.len() < 2 * in_a_leaf {
            return None;
        }
        let whole = all.gain(pull);
        let mut best: Option<Best> = None;
        let mut binned = [Slope::<N>::NONE; CUTS + 1];
        for question in asked.iter().copied() {
            let (bins, cuts) = (&self.samples.bins[question], self.samples.cuts[question].len());
            let mut counts = [0_usize; CUTS + 1];
            binned[..=cuts].fill(Slope::NONE);
            for run in runs {
                let bin = usize::from(bins[*run]);
                counts[bin] += 1;
                binned[bin].add(&self.slopes[*run]);
            }
            let (mut lower, mut count) = (Slope::NONE, 0);
            for bin in 0..cuts {
                if counts[bin] == 0 {
                    continue;
                }
                lower.add(&binned[bin]);
                count += counts[bin];
                if count < in_a_leaf || runs.len() - count < in_a_leaf {
                    continue;
                }
                let gain = lower.gain(pull) + all.less(&lower).gain(pull) - whole;
                if gain > best.map_or(GAIN, |best| best.gain) {
                    best = Some(Best { gain, question, bin: bin as u8 + 1 });
                }
            }
        }
        best
    }
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
