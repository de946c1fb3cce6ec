//! The desk against the emulated board: the same settings and inputs, and not one byte of difference allowed.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use anyhow::{Context, Result, anyhow, bail, ensure};
use slackside::input::Input;
use slackside::settings::Checked;
use slackside_desk::recording::Recording;
use slackside_desk::trace::Reader;
use slackside_desk::{demo, settings};
use slackside_simulator::disk::Disk;

use crate::emulator;
use crate::image::{Image, Profile};
use crate::log::Words;
use crate::root::root;
use crate::scenarios;
use crate::trace::{desk_stream, leg};

/// The image that plays traces.
fn player() -> Result<PathBuf> {
    Image { target: "thumbv7m-none-eabi", bin: "emulated", profile: Profile::Release, features: "log" }.link()
}

/// The image that plays traces, with the words of its log.
struct Player {
    image: PathBuf,
    words: Words,
}

impl Player {
    fn build() -> Result<Self> {
        let image = player()?;
        Ok(Self { words: Words::of(&image)?, image })
    }
}

/// Play one trace.
pub fn emulate(trace: &Path, settings: &Path, out: Option<&Path>) -> Result<()> {
    let settings = read_settings(settings)?;
    let inputs = read_trace(trace)?;
    let (board, log) = compare(&Player::build()?, &trace.display().to_string(), &settings, &inputs)?;
    for verdict in emulator::decode(&board)? {
        println!("{:>14} µs  {:?}", verdict.at.get(), verdict.change);
    }
    println!("The board's log:");
    log.iter().for_each(|line| println!("  {line}"));
    if let Some(out) = out {
        std::fs::write(out, &board).with_context(|| format!("writing {}", out.display()))?;
    }
    Ok(())
}

/// Compare on the built-in legs, on the demo, on every scenario, on every recording kept with the tests, on recordings of real
/// wheels where they are at hand, and on the traces of `folders`. All of each, from the first input to the last.
pub fn run(folders: &[PathBuf]) -> Result<()> {
    let player = Player::build()?;
    let settings = leg::settings();
    let mut jobs = vec![Job::Healthy, Job::Rough, Job::Demo];
    // The longest first, so that no processor stands idle at the end.
    jobs.extend(scenarios::longest_first(&root().join("scenarios"))?.into_iter().map(Job::Scenario));
    jobs.extend(files(&root().join("tests/golden"), "slk")?.into_iter().map(Job::Recording));
    for folder in folders.iter().chain(&slackside_tests::recordings::folder()) {
        jobs.extend(files(folder, "csv")?.into_iter().map(Job::Trace));
    }
    let next = AtomicUsize::new(0);
    let (inputs, begun) = (AtomicUsize::new(0), Instant::now());
    let work = || -> Result<()> {
        while let Some(job) = jobs.get(next.fetch_add(1, Ordering::SeqCst)) {
            let (name, settings, trace) = job.prepare(&settings)?;
            compare(&player, &name, &settings, &trace).inspect_err(|_| next.store(usize::MAX / 2, Ordering::SeqCst))?;
            inputs.fetch_add(trace.len(), Ordering::SeqCst);
        }
        Ok(())
    };
    std::thread::scope(|scope| {
        let count = std::thread::available_parallelism().map_or(1, usize::from);
        let workers: Vec<_> = (0..count).map(|_| scope.spawn(work)).collect();
        workers.into_iter().try_for_each(|worker| worker.join().map_err(|_| anyhow!("a comparison panicked"))?)
    })?;
    println!(
        "{} traces, {} inputs, desk and emulated board alike to the last byte, in {:.0} s",
        jobs.len(),
        inputs.into_inner(),
        begun.elapsed().as_secs_f64()
    );
    Ok(())
}

/// Something to be played on both sides.
enum Job {
    Healthy,
    Rough,
    Demo,
    Scenario(PathBuf),
    Recording(PathBuf),
    Trace(PathBuf),
}

impl Job {
    /// Its name, settings and inputs. `example`: the settings of what has none of its own.
    fn prepare(&self, example: &Checked) -> Result<(String, Checked, Vec<Input>)> {
        Ok(match self {
            Self::Healthy => ("a healthy leg".to_owned(), example.clone(), leg::running(example, 120)),
            Self::Rough => ("a leg with everything wrong".to_owned(), example.clone(), leg::rough(example, 300)),
            Self::Demo => (demo::NAME.to_owned(), example.clone(), demo_inputs(example)?),
            Self::Scenario(path) => {
                let (settings, inputs) = scenarios::inputs(path)?;
                (name_of(path), settings, inputs)
            }
            Self::Recording(path) => {
                let bytes = std::fs::read(path).with_context(|| format!("reading {}", path.display()))?;
                let recording = Recording::from_bytes(&name_of(path), &bytes)?;
                let settings = recording.settings()?.unwrap_or_else(|| example.clone());
                let inputs = recording.parts.iter().flat_map(|part| part.inputs()).collect();
                (name_of(path), settings, inputs)
            }
            Self::Trace(path) => (name_of(path), settings_beside(path)?, read_trace(path)?),
        })
    }
}

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// The files of a folder with that extension, in the order of their names.
pub fn files(folder: &Path, wanted: &str) -> Result<Vec<PathBuf>> {
    let entries = std::fs::read_dir(folder).with_context(|| format!("reading the folder {}", folder.display()))?;
    let mut files = Vec::new();
    for entry in entries {
        let path = entry?.path();
        if path.extension().is_some_and(|extension| extension == wanted) {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// The settings of a trace: `NAME.toml` beside it, else the folder's `leg.toml`, else the example leg's.
fn settings_beside(trace: &Path) -> Result<Checked> {
    let own = trace.with_extension("toml");
    let common = trace.with_file_name("leg.toml");
    match [own, common].into_iter().find(|path| path.exists()) {
        Some(path) => read_settings(&path),
        None => Ok(leg::settings()),
    }
}

/// The leg and its trace; the example leg and the demo where none is named.
pub fn leg_and_trace(trace: Option<&Path>, settings: Option<&Path>) -> Result<(Checked, Vec<Input>)> {
    let settings = settings.map_or_else(|| Ok(leg::settings()), read_settings)?;
    let inputs = match trace {
        Some(trace) => read_trace(trace)?,
        None => demo_inputs(&settings)?,
    };
    Ok((settings, inputs))
}

fn read_settings(path: &Path) -> Result<Checked> {
    Ok(settings::read(&Disk, path)?.checked)
}

fn read_trace(path: &Path) -> Result<Vec<Input>> {
    all(Reader::open(&Disk, path)?)
}

fn demo_inputs(settings: &Checked) -> Result<Vec<Input>> {
    all(Reader::from_read(demo::NAME, std::io::Cursor::new(demo::trace(settings)))?)
}

fn all(mut reader: Reader) -> Result<Vec<Input>> {
    let (mut inputs, mut batch) = (Vec::new(), Vec::new());
    while reader.read_batch(&mut batch)? {
        inputs.append(&mut batch);
    }
    Ok(inputs)
}

/// Both streams of one trace, and the board's log in words; an error at the first difference.
fn compare(player: &Player, name: &str, settings: &Checked, inputs: &[Input]) -> Result<(Vec<u8>, Vec<String>)> {
    let returned = emulator::run(&player.image, &settings.plan(), inputs, false)?;
    let (board, log) = (returned.verdicts, player.words.tell(&returned.log)?);
    let first = format!("info leg {}, plan {:08X}", settings.machine.leg, settings.plan().identity());
    ensure!(log.first() == Some(&first), "{name}: the board's log does not begin \"{first}\": {:?}", log.first());
    let desk = desk_stream(settings, inputs)?;
    if board != desk {
        bail!("{name}: {}", difference(&desk, &board));
    }
    let verdicts = emulator::decode(&board)?.len();
    println!("{name}: {} inputs, {verdicts} verdicts, {} bytes, all alike", inputs.len(), board.len());
    Ok((board, log))
}

/// Where two streams part, in words.
pub fn difference(desk: &[u8], board: &[u8]) -> String {
    let (Ok(desk), Ok(board)) = (emulator::decode(desk), emulator::decode(board)) else {
        return "a stream cannot be decoded".to_owned();
    };
    let at = desk.iter().zip(&board).position(|(one, other)| one != other).unwrap_or(desk.len().min(board.len()));
    format!(
        "the streams differ at verdict {at} (desk {}, board {}):\n  desk:  {:?}\n  board: {:?}",
        desk.len(),
        board.len(),
        desk.get(at),
        board.get(at)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_byte_of_difference_is_told() {
        let settings = leg::settings();
        let verdict = |at| slackside::verdict::Verdict {
            at: slackside::units::Micros::new(at),
            change: slackside::verdict::Change::FirstOut(None),
        };
        let stream = |at| postcard::to_stdvec(&verdict(at)).unwrap();
        assert!(difference(&stream(1), &stream(2)).contains("differ at verdict 0"));
        assert!(desk_stream(&settings, &[]).unwrap().is_empty());
    }
}
