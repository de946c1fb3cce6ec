//! What should not be in the tree.

use anyhow::Result;

/// Look through the tree.
pub fn run() -> Result<()> {
    Ok(())
}
