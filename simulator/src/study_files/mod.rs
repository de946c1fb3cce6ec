//! What a study leaves on disk: results, the file that a stopped one goes on from, replays of the worst traces.

mod parquet;
mod unfinished;
mod worst;

pub use self::parquet::{read_parquet, write_parquet};
pub use unfinished::Unfinished;
pub use worst::{MOST, pages};

use std::path::Path;

use slackside_desk::tune::corpus::Case;
use slackside_desk::tune::results::{self, Rows};
use slackside_desk::tune::session::{self, Found, Going, Shard};
use slackside_desk::tune::study::Study;

use crate::cores::Cores;
use crate::outputs::write_whole;

/// Go through a study, or one shard of it, on all cores. `unfinished` keeps what is done and what an earlier run had done;
/// `progress` is that of [`Going`].
///
/// # Errors
/// As [`session::search`], or the unfinished file cannot be used.
pub fn search(
    study: &Study,
    cases: &[Case],
    shard: Shard,
    unfinished: &Path,
    progress: &(dyn Fn(u64, Option<u64>) -> bool + Sync),
) -> anyhow::Result<Found> {
    let what = format!("{}/{}", shard.number, shard.of);
    let (mut file, done) = Unfinished::open(unfinished, study, cases, &what)?;
    let keep = &mut |row: &results::Row| file.add(study, cases, row);
    Ok(session::search(study, cases, shard, Going { crew: &Cores, done, keep, progress })?)
}

/// Write all rows as CSV.
///
/// # Errors
/// The file cannot be written.
pub fn write_csv(path: &Path, study: &Study, cases: &[Case], rows: &Rows) -> anyhow::Result<()> {
    write_whole(path, |file| Ok(results::write_csv(file, study, cases, rows)?))
}
