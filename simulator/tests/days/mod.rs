//! Tables of invented days.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use slackside_desk::trend::Date;

/// The columns of a table of days.
pub const HEADER: &str = "day,what,settings_changed,by_load,running_s,slip_unloaded_ppm,slip_part_ppm,slip_full_ppm,ratio_shift_ppm,\
    duty_head_left_ppm,duty_head_right_ppm,duty_boot_left_ppm,duty_boot_right_ppm,head_rejects,boot_rejects,losses,starts,coast_ms";

/// So many invented days from 2026-01-01. Slip at full load rises by `wear` ppm a day, to and fro by 300; with day 80 it falls by 6,000, and the
/// boot's right contact begins to be touched.
pub fn table(directory: &Path, days: i32, wear: i32) {
    let first = Date::read("2026-01-01").expect("a date");
    let mut text = format!("{HEADER}\n");
    for day in 0..days {
        let scatter = (day * day * 131 + day * 7_919) % 601 - 300;
        let (fell, rub) = if day >= 80 { (-6_000, 20_000 + 10 * scatter) } else { (0, 0) };
        let date = first.alike(first.number() + day);
        let (empty, full) = (1_000 + scatter / 2, 12_000 + wear * day + scatter + fell);
        let _ = writeln!(text, "{date},day,0,1,30000,{empty},,{full},{},0,0,0,{rub},2,3,0,6,5100", scatter / 3);
    }
    fs::write(directory.join("days.csv"), text).expect("written");
}
