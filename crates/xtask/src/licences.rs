//! The licences of everything that is built in, as cargo tells them; and what our own packages that are for others say of themselves.

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

/// What a package of ours that is for others does not say of itself: the registry and whoever finds it there want all of these.
fn unsaid(package: &serde_json::Value) -> Vec<&'static str> {
    let ours = package["source"].is_null();
    // `publish = false` is an empty list of registries.
    let for_others = package["publish"].is_null();
    if !(ours && for_others) {
        return Vec::new();
    }
    let said = |field: &str| match &package[field] {
        serde_json::Value::Null => false,
        serde_json::Value::Array(all) => !all.is_empty(),
        _ => true,
    };
    ["description", "license", "rust_version", "readme", "keywords", "categories"]
        .into_iter()
        .filter(|field| !said(field))
        .collect()
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
    let silent: Vec<String> = packages
        .iter()
        .map(|package| (package, unsaid(package)))
        .filter(|(_, unsaid)| !unsaid.is_empty())
        .map(|(package, unsaid)| format!("{}: {}", package["name"], unsaid.join(", ")))
        .collect();
    if !silent.is_empty() {
        bail!(
            "packages for others that leave out what a registry shows, or want `publish = false`:\n  {}",
            silent.join("\n  ")
        );
    }
    println!("{} packages, all under licences of the list", packages.len());
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn packages_for_others_say_what_they_are() {
        let mut package = serde_json::json!({
            "source": null, "publish": null, "description": "A", "license": "MIT", "rust_version": "1.95",
            "readme": "README.md", "keywords": [], "categories": ["science"],
        });
        assert_eq!(unsaid(&package), ["keywords"]);
        package["publish"] = serde_json::json!([]);
        assert!(unsaid(&package).is_empty(), "nobody else sees it");
    }

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
