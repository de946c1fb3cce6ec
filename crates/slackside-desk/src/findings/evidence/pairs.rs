//! Pairs of questions that say more together than each by itself: slip that rose at once while the head sped up is a parted belt, with a
//! head that slowed it is a belt that is held. Each answer is sorted more coarsely than by itself.

use super::Clue;

/// A question of a pair, and where its answers are parted.
type Half = (Clue, &'static [i32]);

const SLIP: Half = (Clue::SlipAt, &[-10_000, 10_000, 60_000, 200_000]);
const RISE: Half = (Clue::SlipRise, &[0, 1_500, 7_000]);
const CREEP: Half = (Clue::SlipCreep, &[500, 3_000]);
const EARLY: Half = (Clue::SlipEarly, &[-10_000, 10_000, 25_000]);
const LEAST: Half = (Clue::SlipLeast, &[-20_000, -5_000, 5_000, 20_000]);
const STEP: Half = (Clue::SlipStep, &[-9_000, 9_000, 22_000]);
const OF_LAGGING: Half = (Clue::SettledAgainstLagging, &[20, 85, 94, 114, 130]);
const HEAD_CHANGE: Half = (Clue::HeadChange, &[-5_000, -1_000, 1_000, 4_000]);
const HEAD_BEFORE: Half = (Clue::HeadBeforeSlip, &[-3_000, -500, 500]);
const HEAD_SPEED: Half = (Clue::HeadSpeed, &[500_000, 950_000, 1_003_000, 1_012_000]);
const POWER_BEFORE: Half = (Clue::PowerBeforeSlip, &[-30, 30, 120]);
const POWER_WITH: Half = (Clue::PowerWithSlip, &[-120, -30, 30, 120]);
const FOLLOW: Half = (Clue::FollowAfter, &[50, 90, 110]);
const HEAD_HALF: Half = (Clue::HeadHalf, &[500, 1_300]);
const SLOWING: Half = (Clue::BootSlowing, &[1, 400, 1_000]);
const LAST_PITCH: Half = (Clue::BootLastPitch, &[900, 1_060, 1_400]);
const BOOT_AFTER: Half = (Clue::BootAfter, &[25, 120]);
const RUB_STEADY: Half = (Clue::RubSteady, &[50, 95]);
const RUB_FIRST: Half = (Clue::RubFirst, &[300, 2_000]);
const RUB_AT_REST: Half = (Clue::RubAtRest, &[1, 3_000]);
const RUB_PLACES: Half = (Clue::RubPlaces, &[1]);
const SINCE_START: Half = (Clue::SinceStart, &[8, 20, 60]);
/// Each rule that names much.
const RULES: Half = (Clue::RulesFirst, &[1, 2, 3, 6, 7, 8, 9, 10, 12, 13, 16, 18, 19, 22]);

/// The pairs.
pub const PAIRS: [(Half, Half); 21] = [
    (HEAD_CHANGE, RISE),
    (HEAD_BEFORE, RISE),
    (CREEP, RISE),
    (FOLLOW, HEAD_HALF),
    (HEAD_CHANGE, FOLLOW),
    (SLOWING, HEAD_CHANGE),
    (LAST_PITCH, BOOT_AFTER),
    (POWER_WITH, RISE),
    (POWER_BEFORE, POWER_WITH),
    (POWER_WITH, HEAD_CHANGE),
    (EARLY, LEAST),
    (SLIP, EARLY),
    (STEP, OF_LAGGING),
    (RUB_STEADY, RUB_FIRST),
    (RUB_PLACES, RUB_STEADY),
    (RUB_AT_REST, RUB_FIRST),
    (RULES, RISE),
    (RULES, HEAD_CHANGE),
    (RULES, SLIP),
    (SINCE_START, HEAD_SPEED),
    (SINCE_START, SLIP),
];
