//! Flash as it lies in a box of that leg that was in good order when it was switched off. A box with hardware gets its plan by the link.

use slackside::settings::plan::Plan;
use slackside_box::store::{Journal, Kept, Layout, Slots};
use slackside_mps2::host;
use slackside_mps2::memory::Flash;

/// Store the host's plan, if it has one; the box itself tells if anything is wrong.
pub fn deliver(chip: &'static mut [u8], layout: &Layout) -> Flash {
    chip.fill(0xFF);
    let mut flash = Flash(chip);
    let mut buffer = [0; Plan::LENGTH];
    let plan = host::read_file(c"plan.bin", &mut buffer);
    if !plan.is_empty() {
        let _ = Slots::new(layout).store(&mut flash, plan, None, &mut [0; Plan::LENGTH]);
        if let Ok((mut journal, _)) = Journal::open(layout, &mut flash) {
            let _ = journal.append(&mut flash, &Kept::default());
        }
    }
    flash
}
