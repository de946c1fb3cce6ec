//! Images of the firmware crate: built, weighed, and asked who calls what.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::process::Command;

use anyhow::{Context, Result, bail};
use object::{Object, ObjectSection, ObjectSymbol, RelocationTarget, SectionKind, SymbolKind};

use crate::root::{chips, firmware};
use crate::toolchain::Toolchain;

/// The symbol that the panic handler of the `surface` image calls and nothing defines.
pub const PANIC_SYMBOL: &str = "slackside_a_panic_can_be_reached";

/// The profiles of the firmware crate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Profile {
    /// Optimised for speed.
    Release,
    /// Optimised for size.
    Small,
}

impl Profile {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Release, Self::Small];

    /// Its name to cargo.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Release => "release",
            Self::Small => "small",
        }
    }
}

/// What to build.
#[derive(Clone, Copy, Debug)]
pub struct Image<'a> {
    /// The target.
    pub target: &'a str,
    /// The binary.
    pub bin: &'a str,
    /// The profile.
    pub profile: Profile,
    /// Features of the firmware crate, separated by commas.
    pub features: &'a str,
}

/// How a build ended.
pub enum Built {
    /// Linked; here it is.
    Linked(PathBuf),
    /// The linker found a call to [`PANIC_SYMBOL`].
    PanicReachable,
}

impl Image<'_> {
    fn build(&self, flags: &[&str]) -> Result<std::process::Output> {
        let toolchain = Toolchain::find(self.target)?;
        // `cargo rustc` gives the flags to this image alone, so that nothing else is built anew for them.
        let subcommand = if flags.is_empty() { "build" } else { "rustc" };
        let mut command = toolchain.cargo(subcommand, &[self.target], &firmware());
        self.choose(&mut command);
        if !flags.is_empty() {
            command.arg("--").args(flags);
        }
        command.output().context("running cargo")
    }

    fn choose(&self, command: &mut Command) {
        command.args(["--bin", self.bin, "--profile", self.profile.name(), "--features", self.features]);
    }

    /// Build it for several targets at once, so that no processor waits for another: `core` and the last step of each image are
    /// work for one. What fails here fails again when it is asked for.
    pub fn ahead(&self, targets: &[&str]) -> Result<()> {
        if let Some(toolchain) = Toolchain::common(targets)? {
            let mut command = toolchain.cargo("build", targets, &firmware());
            self.choose(&mut command);
            command.arg("--keep-going").output().context("running cargo")?;
        }
        Ok(())
    }

    fn path(&self) -> PathBuf {
        chips().join(self.target).join(self.profile.name()).join(self.bin)
    }

    /// Build it; a failure other than a reachable panic is an error.
    pub fn try_link(&self) -> Result<Built> {
        let output = self.build(&[])?;
        if output.status.success() {
            return Ok(Built::Linked(self.path()));
        }
        let errors = String::from_utf8_lossy(&output.stderr);
        if errors.contains("undefined symbol") && errors.contains(PANIC_SYMBOL) {
            return Ok(Built::PanicReachable);
        }
        bail!("building {} for {} failed:\n{errors}", self.bin, self.target)
    }

    /// Build it and say where it is.
    pub fn link(&self) -> Result<PathBuf> {
        match self.try_link()? {
            Built::Linked(path) => Ok(path),
            Built::PanicReachable => bail!(
                "a panic can be reached in {} for {} ({}); `cargo xtask no-panic` says from where",
                self.bin,
                self.target,
                self.profile.name()
            ),
        }
    }

    /// Build it with whatever panics it has, to weigh it, and say where it is.
    pub fn link_as_it_is(&self) -> Result<PathBuf> {
        let output = self.build(&["-C", &panic_symbol_defined()])?;
        anyhow::ensure!(
            output.status.success(),
            "building {} for {} failed:\n{}",
            self.bin,
            self.target,
            String::from_utf8_lossy(&output.stderr)
        );
        Ok(self.path())
    }

    /// Who reaches the panic handler: chains of callers, innermost first. Links the image once more with the missing
    /// symbol defined and the relocations kept.
    pub fn panic_callers(&self) -> Result<Vec<String>> {
        let output = self.build(&["-C", &panic_symbol_defined(), "-C", "link-arg=--emit-relocs"])?;
        anyhow::ensure!(output.status.success(), "linking with the panic symbol defined failed");
        let data = std::fs::read(self.path())?;
        callers_of(&data, &["rust_begin_unwind".to_owned()])
    }
}

/// The linker's argument that gives the missing symbol an address.
fn panic_symbol_defined() -> String {
    format!("link-arg=--defsym={PANIC_SYMBOL}=0")
}

/// Where the `surface` image keeps what a monitor takes of RAM; no part of what it weighs.
const SIZES_SECTION: &str = ".slackside_sizes";

/// The RAM of a monitor with room for 4, 8 and 64 marks a turn, as the `surface` image has it.
pub fn monitor_sizes(path: &std::path::Path) -> Result<[u64; 3]> {
    let data = std::fs::read(path)?;
    let file = object::File::parse(&*data)?;
    let section = file.section_by_name(SIZES_SECTION).context("the image does not tell the size of its monitors")?;
    let bytes = section.data()?;
    let mut words =
        bytes.chunks_exact(4).map(|word| word.iter().rev().fold(0, |sum, byte| sum << 8 | u64::from(*byte)));
    let mut next = || words.next().context("the image tells too few sizes");
    Ok([next()?, next()?, next()?])
}

/// Bytes of flash that a linked image takes: code, constants and initial values.
pub fn weigh(path: &std::path::Path) -> Result<u64> {
    let data = std::fs::read(path).with_context(|| format!("reading {}", path.display()))?;
    let file = object::File::parse(&*data)?;
    let in_flash = |kind| {
        matches!(kind, SectionKind::Text | SectionKind::ReadOnlyData | SectionKind::ReadOnlyString | SectionKind::Data)
    };
    let counted = file.sections().filter(|section| section.name() != Ok(SIZES_SECTION) && in_flash(section.kind()));
    Ok(counted.map(|section| section.size()).sum())
}

/// What belongs together, by what the names of functions contain; the first that fits counts.
pub type Parts = [(&'static str, &'static [&'static str])];

/// Bytes of flash by what they are for, largest first. Functions are told apart as the linker sees them: what was inlined counts
/// where it was inlined. `rest` and `values` are what to call the rest, and initial values.
pub fn shares(
    path: &std::path::Path,
    parts: &Parts,
    (rest, values): (&'static str, &'static str),
) -> Result<Vec<(&'static str, u64)>> {
    let data = std::fs::read(path).with_context(|| format!("reading {}", path.display()))?;
    let file = object::File::parse(&*data)?;
    let mut shares: BTreeMap<&'static str, u64> = BTreeMap::new();
    for symbol in file.symbols().filter(|symbol| symbol.kind() == SymbolKind::Text && symbol.size() > 0) {
        let name = format!("{:#}", rustc_demangle::demangle(symbol.name().unwrap_or_default()));
        let part = parts.iter().find(|(_, words)| words.iter().any(|word| name.contains(word)));
        *shares.entry(part.map_or(rest, |part| part.0)).or_default() += symbol.size();
    }
    for section in file.sections().filter(|section| section.name() != Ok(SIZES_SECTION)) {
        let part = match section.kind() {
            SectionKind::ReadOnlyData | SectionKind::ReadOnlyString => "constants",
            SectionKind::Data => values,
            _ => continue,
        };
        *shares.entry(part).or_default() += section.size();
    }
    let mut list: Vec<_> = shares.into_iter().collect();
    list.sort_by_key(|(_, size)| std::cmp::Reverse(*size));
    Ok(list)
}

/// The functions of an image that panic: the handler, and what calls it.
pub fn panics_in(path: &std::path::Path) -> Result<Vec<String>> {
    let data = std::fs::read(path).with_context(|| format!("reading {}", path.display()))?;
    let file = object::File::parse(&*data)?;
    let text = file.symbols().filter(|symbol| symbol.kind() == SymbolKind::Text);
    let names = text.filter_map(|symbol| symbol.name().ok().map(str::to_owned));
    let panics = |name: &String| {
        let plain = format!("{:#}", rustc_demangle::demangle(name));
        plain.contains("rust_begin_unwind") || plain.contains("core::panicking") || plain.contains("unwrap_failed")
    };
    Ok(names.filter(panics).collect())
}

/// The functions from which those whose names contain one of the goals can be reached, a chain a line.
pub fn callers_of(data: &[u8], goals: &[String]) -> Result<Vec<String>> {
    let file = object::File::parse(data)?;
    let mut functions: Vec<(u64, u64, String)> = file
        .symbols()
        .filter(|symbol| symbol.kind() == SymbolKind::Text && symbol.size() > 0)
        .filter_map(|symbol| {
            // Thumb marks code addresses by their lowest bit.
            let begin = symbol.address() & !1;
            Some((begin, begin + symbol.size(), symbol.name().ok()?.to_owned()))
        })
        .collect();
    functions.sort();
    let at = |address: u64| {
        let index = functions.partition_point(|(begin, ..)| *begin <= address).checked_sub(1)?;
        functions.get(index).filter(|(_, end, _)| address < *end).map(|(.., name)| name.clone())
    };
    let mut callers: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for section in file.sections() {
        for (offset, relocation) in section.relocations() {
            let RelocationTarget::Symbol(index) = relocation.target() else { continue };
            let symbol = file.symbol_by_index(index)?;
            let callee = match symbol.name() {
                Ok(name) if !name.is_empty() && !name.starts_with('$') => name.to_owned(),
                _ => continue,
            };
            if let Some(caller) = at(offset) {
                callers.entry(callee).or_default().insert(caller);
            }
        }
    }
    let short = |name: &str| format!("{:#}", rustc_demangle::demangle(name));
    let mut chains = Vec::new();
    let mut seen = BTreeSet::new();
    let mut open: Vec<Vec<String>> = callers
        .keys()
        .filter(|name| goals.iter().any(|goal| name.contains(goal)))
        .map(|name| vec![name.clone()])
        .collect();
    while let Some(chain) = open.pop() {
        let Some(last) = chain.last() else { continue };
        let fresh: Vec<_> =
            callers.get(last).into_iter().flatten().filter(|caller| seen.insert((*caller).clone())).cloned().collect();
        if fresh.is_empty() {
            let names: Vec<_> = chain.iter().map(|name| short(name)).collect();
            chains.push(names.join(" <- "));
        }
        for caller in fresh {
            let mut longer = chain.clone();
            longer.push(caller);
            open.push(longer);
        }
    }
    chains.sort();
    chains.dedup();
    Ok(chains)
}
