//! What can be told from speeds where there are no edges: less than the monitor tells, and nothing of what comes between two rows.

use std::fmt::Write as _;

use slackside::settings::Checked;

use super::edges::choice_step;
use super::{Choice, Femtos, Found, Role, Series};
use crate::error::{Error, Result};

/// A belt slower than this share of normal for longer than [`UNDERSPEED_S`] is told.
const UNDERSPEED: f64 = 0.9;
const UNDERSPEED_S: f64 = 3.0;
/// Rows count while the head turns at this share of its normal speed or more.
const AT_SPEED: f64 = 0.8;

/// What speeds tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Speeds {
    /// Seconds in which both shafts' speeds are known and the head is at speed.
    pub seconds: f64,
    /// Mean slip in per cent: the ratio of the means against the settings' no-slip ratio; `None` without both.
    pub mean_slip_pct: Option<f64>,
    /// Stretches of underspeed: from and to in seconds of the file, and the lowest share of normal.
    pub slow: Vec<(f64, f64, f64)>,
}

/// Tell what the speeds of `found` say of a leg.
///
/// # Errors
/// No speed was chosen, or what nobody has said of the time.
pub fn speeds(found: &Found, choice: &Choice, settings: &Checked) -> Result<Speeds> {
    let step = choice_step(found, choice)?;
    let roles = choice.roles(found)?;
    let of = |wanted: Role| roles.iter().find(|(role, ..)| *role == wanted).map(|(_, series, _)| *series);
    let (head, boot) = (of(Role::HeadRpm), of(Role::BootRpm));
    if head.is_none() && boot.is_none() {
        return Err(Error::said("no speed was chosen: map head_rpm and boot_rpm"));
    }
    for series in [head, boot].into_iter().flatten() {
        if let Some((_, wrong)) = series.changes.iter().find(|(_, value)| !(0.0..=1_000.0).contains(value)) {
            return Err(Error::said(format!(
                "`{}` says {wrong}: no leg's shaft turns so, in turns a minute",
                series.name
            )));
        }
    }
    let rpm = |microturns: u32| f64::from(microturns) * 60.0 / 1e6;
    let (normal_head, normal_boot) = (rpm(settings.machine.normal_head.get()), rpm(settings.machine.normal_boot.get()));
    let seconds = |moment: Femtos| (moment - found.span.0) as f64 * step / 1e15;
    let mut moments: Vec<Femtos> =
        [head, boot].into_iter().flatten().flat_map(|series| series.changes.iter().map(|it| it.0)).collect();
    moments.push(found.span.1);
    moments.sort_unstable();
    moments.dedup();
    let (mut head_turns, mut boot_turns, mut counted) = (0.0, 0.0, 0.0);
    let mut slow: Vec<(f64, f64, f64)> = Vec::new();
    for pair in moments.windows(2) {
        let (from, to) = (seconds(pair[0]), seconds(pair[1]));
        let (head_now, boot_now) =
            (head.and_then(|it| value_at(it, pair[0])), boot.and_then(|it| value_at(it, pair[0])));
        let at_speed = head_now.is_none_or(|head| head >= AT_SPEED * normal_head);
        if let (Some(head), Some(boot), true) = (head_now, boot_now, at_speed) {
            head_turns += head * (to - from);
            boot_turns += boot * (to - from);
            counted += to - from;
        }
        let share = boot_now.map(|boot| boot / normal_boot).or(head_now.map(|head| head / normal_head));
        match share.filter(|share| *share < UNDERSPEED && *share > 0.0 && at_speed) {
            Some(share) if slow.last().is_some_and(|last| last.1 == from) => {
                let last = slow.last_mut().expect("just seen");
                (last.1, last.2) = (to, last.2.min(share));
            }
            Some(share) => slow.push((from, to, share)),
            None => {}
        }
    }
    slow.retain(|(from, to, _)| to - from >= UNDERSPEED_S);
    let ratio = f64::from(settings.machine.ratio_in_force().get()) / 1e6;
    let mean_slip_pct = (head_turns > 0.0).then(|| (1.0 - boot_turns / head_turns / ratio) * 100.0);
    Ok(Speeds { seconds: counted, mean_slip_pct, slow })
}

/// The value in force at a moment; none before the first.
fn value_at(series: &Series, moment: Femtos) -> Option<f64> {
    let after = series.changes.partition_point(|(at, _)| *at <= moment);
    series.changes.get(after.checked_sub(1)?).map(|(_, value)| *value)
}

impl Speeds {
    /// In words, with what they cannot say.
    #[must_use]
    pub fn words(&self) -> String {
        let mut text = String::from(
            "These are speeds, not edges. The monitor was NOT run on them: what follows is arithmetic on rows, blind to whatever happened \
             between two of them, and no proof that nothing slipped.\n",
        );
        match self.mean_slip_pct {
            Some(slip) => {
                let _ = writeln!(
                    text,
                    "mean slip    {slip:.1} %, by the ratio of means, over {:.0} s at speed",
                    self.seconds
                );
            }
            None => text.push_str("mean slip    not known: both speeds and a head at speed are needed\n"),
        }
        if self.slow.is_empty() {
            text.push_str("underspeed   none of 10 % for 3 s in the rows\n");
        }
        for (from, to, share) in &self.slow {
            let _ = writeln!(text, "underspeed   {from:.0} to {to:.0} s, down to {:.0} % of normal", share * 100.0);
        }
        text
    }
}
