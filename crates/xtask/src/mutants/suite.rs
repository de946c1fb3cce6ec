//! The tests that changes are held against: which of them reach which change, what each takes, and whether they see it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
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
    /// Places passed, to within an eighth.
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

/// A test may do so many times the work that it does with no change, and so much besides, in thousands of places passed.
const TIMES_THE_WORK: u64 = 8;
const WORK_BESIDES: u64 = 20_000;
/// What a test waits for may be no work of the core.
const TIMES_THE_TIME: u32 = 30;
const TIME_BESIDES: Duration = Duration::from_secs(20);
/// What the switch ends a program with whose work is used up.
const WORK_USED_UP: i32 = 86;

impl Suite {
    /// Run every test with no change on, alone. Those that take longer than this are left out. What was seen of a program is kept as
    /// long as the program stays as it is.
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
        tests.sort_by_key(|test| test.took);
        if !slow.is_empty() {
            println!("not asked, for they take longer than {} s: {}", longest.as_secs(), slow.join(", "));
        }
        Ok(Self { programs, tests })
    }

    /// Run the tests that reach a change until one fails: `first`, if it reaches it, then the fastest. The test that saw it.
    pub fn try_out(&self, number: u32, first: Option<usize>) -> Result<(Outcome, Option<usize>)> {
        let reaching: Vec<usize> =
            (0..self.tests.len()).filter(|test| self.tests[*test].reaches.contains(&number)).collect();
        if reaching.is_empty() {
            return Ok((Outcome::Unreached, None));
        }
        let mut left: Vec<usize> = first.filter(|first| reaching.contains(first)).into_iter().collect();
        left.extend(reaching.iter().filter(|test| Some(**test) != first));
        let mut spent = Duration::ZERO;
        while !left.is_empty() {
            // As much at once as was spent in vain, and the tests of one program in one run.
            let mut batch = Vec::new();
            let mut takes = Duration::ZERO;
            while let Some(test) = left.first().copied().filter(|_| batch.is_empty() || takes < spent) {
                takes += self.tests[test].took;
                batch.push(left.remove(0));
            }
            spent += takes.max(Duration::from_millis(20));
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
            command.env("SLACKSIDE_WORK", (work * TIMES_THE_WORK / 1000 + WORK_BESIDES).to_string());
            let by = || match names.as_slice() {
                [name] => format!("{}::{name}", program.name),
                names => format!("{} ({} tests)", program.name, names.len()),
            };
            let outcome = match wait(&mut command, took * TIMES_THE_TIME + TIME_BESIDES)? {
                Some(0) => continue,
                Some(WORK_USED_UP) | None => Outcome::TimedOut(by()),
                Some(_) => Outcome::Killed(by()),
            };
            let alone = (tests.len() == 1).then(|| tests[0]);
            return Ok(Some((outcome, alone)));
        }
        Ok(None)
    }
}

/// Of each program, by its key, each test: the time it takes in microseconds, its work, and what it reaches.
type Seen = BTreeMap<String, SeenOf>;
type SeenOf = BTreeMap<String, (u64, u64, BTreeSet<u32>)>;

impl Program {
    /// Another one whenever the program is.
    fn key(&self, longest: Duration) -> Result<String> {
        let about = fs::metadata(&self.path)?;
        let built = about.modified()?.duration_since(SystemTime::UNIX_EPOCH)?.as_micros();
        Ok(format!("{} {built} {} {}", self.path.display(), about.len(), longest.as_secs()))
    }
}

fn look_at(program: &Program, longest: Duration) -> Result<SeenOf> {
    let record = root().join("target/mutants/reached");
    let mut seen = SeenOf::new();
    for name in names(program)? {
        let began = Instant::now();
        let ended = wait(&mut command(program, &[&name]), longest * 3)?;
        let took = began.elapsed();
        let micros = u64::try_from(took.as_micros())?;
        match ended {
            Some(0) if took <= longest => {}
            Some(0) | None => {
                seen.insert(name, (micros, 0, BTreeSet::new()));
                continue;
            }
            Some(code) => bail!("{} {name} ends with {code} with no change on", program.name),
        }
        let _ = fs::remove_file(&record);
        let mut command = command(program, &[&name]);
        command.env("SLACKSIDE_REACHED", &record);
        if wait(&mut command, longest * 20 + TIME_BESIDES)? != Some(0) {
            bail!("{} {name} fails while it is looked at what it reaches", program.name);
        }
        let (reaches, work) = reached(&fs::read(&record).unwrap_or_default())?;
        seen.insert(name, (micros, work, reaches));
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
    // Properties draw the same cases each time, stop at the first that fails, and write nothing down.
    command
        .env("PROPTEST_RNG_SEED", "1")
        .env("PROPTEST_MAX_SHRINK_ITERS", "0")
        .env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1");
    command.env("CARGO_MANIFEST_DIR", &program.folder);
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command
}

/// What it ended with: 1 for whatever a signal ended. `None` if it had to be stopped.
fn wait(command: &mut Command, longest: Duration) -> Result<Option<i32>> {
    let mut child = command.spawn().context("running a test program")?;
    let began = Instant::now();
    let mut pause = Duration::from_micros(500);
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status.code().unwrap_or(1)));
        }
        if began.elapsed() > longest {
            child.kill()?;
            child.wait()?;
            return Ok(None);
        }
        std::thread::sleep(pause);
        pause = (pause * 5 / 4).min(Duration::from_millis(20));
    }
}

/// What the switch wrote down.
fn reached(record: &[u8]) -> Result<(BTreeSet<u32>, u64)> {
    let (mut reaches, mut work) = (BTreeSet::new(), 0);
    for one in record.chunks_exact(9) {
        let number = u64::from_le_bytes(one[1..].try_into()?);
        if one[0] == 0 {
            reaches.insert(u32::try_from(number)?);
        } else {
            work = number;
        }
    }
    Ok((reaches, work))
}
