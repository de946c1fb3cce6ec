//! The tests that changes are held against: which of them reach which change, what each takes, and whether they see it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{Read as _, Seek as _, SeekFrom};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant, SystemTime};

use anyhow::{Context, Result, bail};

use super::tree::Program;
use crate::root::root;

/// One test, as it ran with no change on.
#[derive(Debug)]
pub struct Test {
    pub program: usize,
    pub name: String,
    pub took: Duration,
    /// Places passed.
    pub work: u64,
    pub reaches: BTreeSet<u32>,
}

/// All tests that reach a change, the fastest first.
#[derive(Debug)]
pub struct Suite {
    programs: Vec<Program>,
    pub tests: Vec<Test>,
}

/// What became of a change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// A test failed.
    Killed(String),
    /// Tests went on and on.
    TimedOut(String),
    /// All tests that reach it passed.
    Survived,
    /// No test reaches it.
    Unreached,
}

/// A test may do so many times the work that it does with no change, and so much besides, in places passed.
const TIMES_THE_WORK: u64 = 4;
const WORK_BESIDES: u64 = 10_000_000;
/// What a test does may be no work of the core: so many times the processor time, and so much besides.
const TIMES_THE_TIME: u32 = 5;
const TIME_BESIDES: Duration = Duration::from_secs(3);
/// What it costs to start a program.
const A_START: Duration = Duration::from_millis(20);
/// What waits without using the processor is stopped after so many times as long.
const TIMES_BY_THE_CLOCK: u32 = 30;
/// What the switch ends a program with whose work is used up.
const WORK_USED_UP: i32 = 86;

impl Suite {
    /// Run every test with no change on, alone. Those that take longer than this processor time are left out. What was seen of a program
    /// is kept as long as the program stays as it is.
    pub fn look(programs: Vec<Program>, longest: Duration) -> Result<Self> {
        let kept = root().join("target/mutants/tests.json");
        let before: Seen =
            fs::read(&kept).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok()).unwrap_or_default();
        let (mut now, mut tests, mut slow) = (Seen::new(), Vec::new(), Vec::new());
        for (index, program) in programs.iter().enumerate() {
            let key = program.key(longest)?;
            let seen = match before.get(&key) {
                Some(seen) => seen.clone(),
                None => look_at(program, longest)?,
            };
            for (name, (took, work, reaches)) in &seen {
                let took = Duration::from_micros(*took);
                if took > longest {
                    slow.push(format!("{}::{name}", program.name));
                } else if !reaches.is_empty() {
                    tests.push(Test {
                        program: index,
                        name: name.clone(),
                        took,
                        work: *work,
                        reaches: reaches.clone(),
                    });
                }
            }
            now.insert(key, seen);
            fs::write(&kept, serde_json::to_vec(&now)?)?;
        }
        tests.sort_by_key(|test| (test.took, test.work));
        if !slow.is_empty() {
            println!("not asked, for they take longer than {} s: {}", longest.as_secs_f64(), slow.join(", "));
        }
        Ok(Self { programs, tests })
    }

    /// Run the tests that reach a change until one fails: those of `first` that reach it, then the fastest; the [second core](is_second) after
    /// all others and the [stories](is_story) last, so that it is known what no other test sees. The test that saw it.
    pub fn try_out(&self, number: u32, first: &[usize]) -> Result<(Outcome, Option<usize>)> {
        let order = self.order(number, first);
        if order.is_empty() {
            return Ok((Outcome::Unreached, None));
        }
        let program = |test: &usize| self.programs[self.tests[*test].program].name.as_str();
        let (stories, others): (Vec<usize>, Vec<usize>) = order.into_iter().partition(|test| is_story(program(test)));
        let (plain, others): (Vec<usize>, Vec<usize>) = others.into_iter().partition(|test| is_second(program(test)));
        for tests in [others, plain] {
            match self.try_all(number, tests)? {
                (Outcome::Survived, _) => {}
                seen => return Ok(seen),
            }
        }
        self.try_all(number, stories)
    }

    /// The same, whichever tests they are: those of `first`, then the fastest.
    pub fn ask_any(&self, number: u32, first: &[usize]) -> Result<(Outcome, Option<usize>)> {
        let order = self.order(number, first);
        if order.is_empty() { Ok((Outcome::Unreached, None)) } else { self.try_all(number, order) }
    }

    /// The tests that reach a change: those of `first`, then the fastest.
    fn order(&self, number: u32, first: &[usize]) -> Vec<usize> {
        let reaches = |test: &usize| self.tests[*test].reaches.contains(&number);
        let mut order: Vec<usize> = first.iter().copied().filter(reaches).collect();
        let others: Vec<usize> = (0..self.tests.len()).filter(reaches).filter(|test| !order.contains(test)).collect();
        order.extend(others);
        order
    }

    fn try_all(&self, number: u32, tests: Vec<usize>) -> Result<(Outcome, Option<usize>)> {
        let mut left = tests.into_iter().peekable();
        let mut spent = Duration::ZERO;
        while left.peek().is_some() {
            // As much at once as was spent in vain, and the tests of one program in one run.
            let mut batch = Vec::new();
            let mut takes = Duration::ZERO;
            while let Some(test) = left.next_if(|_| batch.is_empty() || takes < spent) {
                takes += self.tests[test].took;
                batch.push(test);
            }
            spent += takes.max(A_START);
            if let Some(seen) = self.run(number, &batch)? {
                return Ok(seen);
            }
        }
        Ok((Outcome::Survived, None))
    }

    fn run(&self, number: u32, batch: &[usize]) -> Result<Option<(Outcome, Option<usize>)>> {
        let programs: BTreeSet<usize> = batch.iter().map(|test| self.tests[*test].program).collect();
        for program in programs {
            let tests: Vec<usize> = batch.iter().copied().filter(|test| self.tests[*test].program == program).collect();
            let names: Vec<&str> = tests.iter().map(|test| self.tests[*test].name.as_str()).collect();
            let work: u64 = tests.iter().map(|test| self.tests[*test].work).sum();
            let took: Duration = tests.iter().map(|test| self.tests[*test].took).sum();
            let program = &self.programs[program];
            let mut command = command(program, &names);
            command.env("SLACKSIDE_MUTANT", number.to_string());
            command.env("SLACKSIDE_WORK", (work * TIMES_THE_WORK + WORK_BESIDES).to_string());
            let ended = wait(&mut command, took * TIMES_THE_TIME + TIME_BESIDES)?;
            if ended.code == Some(0) {
                continue;
            }
            // The first that failed; of an endless one what it was doing is not told.
            let failed = |name: &str| ended.said.contains(&format!("test {name} ... FAILED"));
            let by = tests.iter().copied().find(|test| tests.len() == 1 || failed(&self.tests[*test].name));
            let name = by.map_or("one of several", |test| self.tests[test].name.as_str());
            let name = format!("{}::{name}", program.name);
            let endless = matches!(ended.code, Some(WORK_USED_UP) | None);
            return Ok(Some((if endless { Outcome::TimedOut(name) } else { Outcome::Killed(name) }, by)));
        }
        Ok(None)
    }
}

/// Whether a test, by its program or that and its name, plays stories and holds them against kept lines: it sees any change that can be seen
/// at all, right or wrong.
pub fn is_story(name: &str) -> bool {
    name.split("::").next() == Some("stories")
}

/// Of each program, by its key, each test: the time it takes in microseconds, its work, and what it reaches.
type Seen = BTreeMap<String, SeenOf>;
type SeenOf = BTreeMap<String, (u64, u64, BTreeSet<u32>)>;

/// Whether a test, named likewise, holds the core against the second one, written plainly.
pub fn is_second(name: &str) -> bool {
    name.split("::").next() == Some("plain")
}

impl Program {
    /// Another one whenever the program is.
    fn key(&self, longest: Duration) -> Result<String> {
        let about = fs::metadata(&self.path)?;
        let built = about.modified()?.duration_since(SystemTime::UNIX_EPOCH)?.as_micros();
        Ok(format!("{} {built} {} {}", self.path.display(), about.len(), longest.as_millis()))
    }
}

fn look_at(program: &Program, longest: Duration) -> Result<SeenOf> {
    let record = root().join("target/mutants/reached");
    let mut seen = SeenOf::new();
    for name in names(program)? {
        let _ = fs::remove_file(&record);
        let mut command = command(program, &[&name]);
        let ended = wait(command.env("SLACKSIDE_REACHED", &record), longest)?;
        let micros = u64::try_from(ended.used.as_micros())?;
        match ended.code {
            Some(0) => {
                let (reaches, work) = reached(&fs::read(&record).unwrap_or_default())?;
                seen.insert(name, (micros, work, reaches));
            }
            None => {
                seen.insert(name, (u64::MAX, 0, BTreeSet::new()));
            }
            Some(code) => bail!("{} {name} ends with {code} with no change on", program.name),
        }
    }
    Ok(seen)
}

fn names(program: &Program) -> Result<Vec<String>> {
    let output = Command::new(&program.path)
        .current_dir(&program.folder)
        .args(["--list", "--format", "terse"])
        .output()
        .with_context(|| format!("running {}", program.path.display()))?;
    let text = String::from_utf8(output.stdout)?;
    Ok(text.lines().filter_map(|line| line.strip_suffix(": test")).map(str::to_owned).collect())
}

fn command(program: &Program, names: &[&str]) -> Command {
    let mut command = Command::new(&program.path);
    command.current_dir(&program.folder).args(["--test-threads=1", "--exact"]).args(names);
    command.args(["-Zunstable-options", "--fail-fast"]).env("RUSTC_BOOTSTRAP", "1");
    // Properties draw the same cases each time, stop at the first that fails, and write nothing down.
    command
        .env("PROPTEST_RNG_SEED", "1")
        .env("PROPTEST_MAX_SHRINK_ITERS", "0")
        .env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1");
    command.env("CARGO_MANIFEST_DIR", &program.folder);
    command.stdin(Stdio::null()).stderr(Stdio::null());
    command
}

/// How a program ended.
struct Ended {
    /// With what: 1 for whatever a signal ended. `None` if it had to be stopped.
    code: Option<i32>,
    used: Duration,
    said: String,
}

/// Run a program that may use so much processor time: another computer, or a busier one, comes to the same.
fn wait(command: &mut Command, longest: Duration) -> Result<Ended> {
    let said = tempfile::tempfile()?;
    let before = used("self", Whose::Children);
    let mut child = command.stdout(said.try_clone()?).spawn().context("running a test program")?;
    let began = Instant::now();
    let mut pause = Duration::from_micros(500);
    let code = loop {
        if let Some(status) = child.try_wait()? {
            break Some(status.code().unwrap_or(1));
        }
        let too_long = used(&child.id().to_string(), Whose::Own).is_some_and(|used| used > longest);
        if too_long || began.elapsed() > longest * TIMES_BY_THE_CLOCK {
            child.kill()?;
            child.wait()?;
            break None;
        }
        std::thread::sleep(pause);
        pause = (pause * 5 / 4).min(Duration::from_millis(20));
    };
    let used = match (before, used("self", Whose::Children)) {
        (Some(before), Some(after)) => after.saturating_sub(before),
        _ => began.elapsed(),
    };
    let (mut text, mut file) = (Vec::new(), said);
    file.seek(SeekFrom::Start(0))?;
    file.read_to_end(&mut text)?;
    Ok(Ended { code, used, said: String::from_utf8_lossy(&text).into_owned() })
}

#[derive(Clone, Copy)]
enum Whose {
    Own,
    Children,
}

/// The processor time of a process, or of its children that ended, where there is `/proc`: in hundredths of a second, as Linux tells it.
fn used(process: &str, whose: Whose) -> Option<Duration> {
    let text = fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    // After the name, which may hold anything, the 12th field is the time of user and the 13th that of the system (proc(5): 14 and 15);
    // then those of children.
    let fields: Vec<&str> = text.rsplit_once(')')?.1.split_whitespace().collect();
    let first = match whose {
        Whose::Own => 11,
        Whose::Children => 13,
    };
    let ticks: u64 = fields.get(first..first + 2)?.iter().filter_map(|field| field.parse::<u64>().ok()).sum();
    Some(Duration::from_millis(ticks * 10))
}

/// What the switch wrote down: the places passed, and how often any was. Nothing where none was.
fn reached(record: &[u8]) -> Result<(BTreeSet<u32>, u64)> {
    let mut numbers = record.chunks_exact(8).map(|bytes| Ok(u64::from_le_bytes(bytes.try_into()?)));
    let work = numbers.next().unwrap_or(Ok(0))?;
    let reaches = numbers.map(|number: Result<u64>| Ok(u32::try_from(number?)?)).collect::<Result<_>>()?;
    Ok((reaches, work))
}
