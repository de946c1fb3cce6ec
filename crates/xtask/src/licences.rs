//! The licences of everything that is built in, as cargo tells them.

use std::process::Command;

use anyhow::{Context, Result, bail, ensure};

use crate::root::root;

/// Licences that were looked at and may be built in. Of a choice (`OR`) one is enough; of a sum (`AND`) all are needed.
const GOOD: [&str; 14] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    // File by file: what is changed in its own files stays open. Used as it is, from the registry.
    "MPL-2.0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Whether a licence expression can be met with these.
fn is_good(expression: &str) -> bool {
    let plain = expression.replace('/', " OR ").replace(['(', ')'], " ");
    // Brackets are flattened: a sum within a choice is then read as stricter than it is, never as looser.
    plain.split(" AND ").all(|part| part.split(" OR ").any(|one| GOOD.contains(&one.trim())))
}

/// Look through all packages of the workspace's lock file.
pub fn run() -> Result<()> {
    let output = Command::new("cargo")
        .current_dir(root())
        .args(["metadata", "--format-version", "1", "--locked"])
        .output()
        .context("running cargo metadata")?;
    ensure!(output.status.success(), "cargo metadata: {}", String::from_utf8_lossy(&output.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout)?;
    let packages = metadata["packages"].as_array().context("cargo metadata lists no packages")?;
    let bad: Vec<String> = packages
        .iter()
        .filter(|package| !package["license"].as_str().is_some_and(is_good))
        .map(|package| format!("{} {}: {}", package["name"], package["version"], package["license"]))
        .collect();
    if !bad.is_empty() {
        bail!("licences that nobody has looked at:\n  {}", bad.join("\n  "));
    }
    println!("{} packages, all under licences of the list", packages.len());
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_choice_needs_one_and_a_sum_needs_all() {
        assert!(
            is_good("MIT OR GPL-3.0-only")
                && is_good("MIT/Apache-2.0")
                && is_good("(MIT OR Apache-2.0) AND Unicode-3.0")
        );
        assert!(!is_good("GPL-3.0-only") && !is_good("MIT AND GPL-3.0-only") && !is_good(""));
    }
}
