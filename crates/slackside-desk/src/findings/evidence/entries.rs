//! The entries of the evidence: what is asked of every trace, in which unit, and where one answer ends and the next begins.

/// One question that is asked of a trace.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    /// Its name in tables.
    pub name: &'static str,
    /// The unit of its answer.
    pub unit: &'static str,
    /// What it is and what it speaks for, a sentence.
    pub meaning: &'static str,
    /// Where one answer ends and the next begins, rising: an answer at a cut belongs to what follows it.
    pub cuts: &'static [i32],
}

macro_rules! entries {
    ($($Variant:ident $name:literal $unit:literal [$($cut:literal),* $(,)?] $meaning:literal)*) => {
        /// A question that is asked of every trace. [`Clue::entry`] says all about each.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[allow(missing_docs, reason = "each is described by its entry")]
        pub enum Clue {
            $($Variant,)*
        }

        impl Clue {
            /// All of them, in the order of the book.
            pub const ALL: [Self; Self::COUNT] = [$(Self::$Variant),*];

            /// How many there are.
            pub const COUNT: usize = [$($name),*].len();

            const TABLE: [Entry; Self::COUNT] =
                [$(Entry { name: $name, unit: $unit, meaning: $meaning, cuts: &[$($cut),*] }),*];

            /// All about it.
            #[must_use]
            pub const fn entry(self) -> Entry {
                Self::TABLE[self as usize]
            }
        }
    };
}

entries! {
    Phase "phase" "number" [1, 2, 3, 4, 5]
        "What the leg was doing: not known, standing, starting, running, running down, inching."
    SinceStart "since_start" "s" [0, 3, 8, 12, 20, 60]
        "How long ago the motor or the shafts had started: a frozen belt and a heavy start show at once."
    Starts "starts" "in ten minutes" [1, 2, 3, 5]
        "Starts in the ten minutes before: somebody jogs."
    DriveOn "drive" "0 off, 1 on" [0, 1]
        "What the drive contact said."
    DriveToggles "drive_toggles" "in a minute" [0, 1, 2, 4, 10, 50]
        "How often the drive contact changed in the minute before: one that chatters is at fault itself."
    DriveOffTurning "drive_off_turning" "ms" [0, 200, 1000, 3000, 8000]
        "The longest time the head kept its speed though the drive contact said off: the contact or its wire lies."
    SlipAt "slip" "ppm" [-30000, -10000, 5000, 12000, 20000, 35000, 60000, 100000, 160000, 300000, 600000]
        "Slip over one boot turn at the moment that counts."
    SlipBefore2 "slip_2_s" "ppm" [-30000, -10000, 5000, 12000, 20000, 35000, 60000, 100000, 160000, 300000]
        "Mean slip around two seconds before."
    SlipBefore5 "slip_5_s" "ppm" [-30000, -10000, 5000, 12000, 20000, 35000, 60000, 100000, 160000]
        "Mean slip around five seconds before."
    SlipBefore10 "slip_10_s" "ppm" [-30000, -10000, 3000, 8000, 14000, 22000, 35000, 60000, 100000, 160000]
        "Mean slip around ten seconds before."
    SlipBefore20 "slip_20_s" "ppm" [-30000, -10000, 3000, 8000, 14000, 22000, 35000, 60000, 100000, 160000]
        "Mean slip around twenty seconds before."
    SlipBefore60 "slip_60_s" "ppm" [-30000, -10000, 3000, 8000, 14000, 22000, 35000, 60000, 100000]
        "Mean slip around a minute before."
    SlipRise "slip_rise" "ms" [0, 300, 700, 1500, 3000, 7000, 20000, 60000]
        "From the foot of the rise of slip to the moment: a belt that parts or is caught takes fractions of a second, wear takes minutes."
    SlipCreep "slip_creep" "ppm" [-15000, -3000, -500, 500, 1500, 3000, 6000, 15000]
        "Slip in the seconds before its rise less that some twenty seconds earlier: load makes a belt creep before it lets go, a step does not."
    SlipSpread "slip_spread" "ppm" [3000, 8000, 15000, 30000, 60000, 120000]
        "Largest less smallest slip in the half minute before: a belt that sticks and slides, or a drag that comes and goes."
    SlipSwing "slip_swing" "ppm" [500, 1500, 3000, 6000, 15000, 40000]
        "How far slip moves from one reading to the next on the mean, in the half minute before."
    SlipLeast "slip_least" "ppm" [-60000, -30000, -15000, -7000, 2000, 8000, 15000, 25000, 35000, 50000, 80000]
        "The least slip over four boot turns of the whole record: what never goes away is a ratio, no grip."
    SlipEarly "slip_early" "ppm" [-60000, -30000, -15000, -7000, 2000, 8000, 15000, 25000, 35000, 50000, 80000]
        "Slip soon after the first start, mostly without load: it was there before the record began."
    SlipShift "slip_shift" "ppm" [-25000, -10000, -4000, 4000, 10000, 20000, 30000, 45000]
        "The least slip of the last minute less that of the first: the ratio shifted within the record."
    SlipAgainstLagging "slip_against_lagging" "per cent" [-50, 20, 60, 85, 118, 150, 250]
        "The least slip of the last minute as a share of what lost lagging would show."
    SlipSettled "slip_settled" "ppm" [-60000, -30000, -15000, -7000, -2000, 2000, 8000, 15000, 25000, 35000, 50000, 80000]
        "The least slip over four boot turns in the last twenty seconds, less that soon after the start: what has shifted, whenever it did."
    SettledAgainstLagging "settled_against_lagging" "per cent" [-50, 20, 60, 85, 94, 104, 114, 130, 160, 250]
        "That as a share of what lost lagging would show: just above a hundred, with creep, where it is the lagging."
    SlipStep "slip_step" "ppm" [-6000, -2000, 2000, 5000, 9000, 15000, 22000, 32000, 50000, 100000]
        "The largest step of slip from three seconds to the next three, up to five seconds before the moment: lagging is lost at once, build-up grows."
    SlipMost "slip_most" "ppm" [10000, 20000, 40000, 80000, 150000, 300000, 600000]
        "The most slip that a whole boot turn showed before the moment."
    HeadSpeed "head_speed" "ppm of normal" [100000, 500000, 800000, 900000, 950000, 980000, 992000, 1003000, 1010000, 1030000, 1060000]
        "Head speed at the moment, at most, of normal or of what the reference asks for."
    HeadBefore "head_speed_20_s" "ppm of normal" [500000, 900000, 950000, 980000, 992000, 1003000, 1010000, 1030000, 1060000]
        "Head speed some twenty seconds before."
    HeadChange "head_change" "ppm" [-200000, -50000, -15000, -5000, -1500, -500, 500, 1500, 3000, 5000, 8000, 12000, 20000]
        "Head speed over the last turn less that of ten seconds before slip began: a belt that parts takes the load off, one that is caught adds to it."
    HeadBeforeSlip "head_before_slip" "ppm" [-50000, -15000, -5000, -1500, -400, 400, 1500, 5000, 15000]
        "Head speed in the seconds before slip began to rise less that some fifteen seconds earlier: a load that grows slows the head first."
    HeadDrift "head_drift" "ppm" [-100000, -20000, -5000, -1500, 1500, 5000, 20000]
        "Head speed five seconds before less that a minute before: the head as a load meter."
    HeadLoad "head_load" "ppm" [-5000, 500, 2000, 4000, 7000, 12000, 20000, 50000]
        "Head speed soon after the start less that five seconds before the moment: how heavily the leg is loaded."
    BootSpeed "boot_speed" "ppm of normal" [100000, 500000, 700000, 800000, 900000, 950000, 980000, 1010000, 1030000, 1100000]
        "Boot speed at the moment, at most."
    BootBefore "boot_speed_20_s" "ppm of normal" [500000, 800000, 900000, 950000, 970000, 985000, 1003000, 1015000, 1040000]
        "Boot speed some twenty seconds before."
    BootDrift "boot_drift" "ppm" [-200000, -50000, -20000, -8000, -2000, 2000, 8000, 20000]
        "Boot speed five seconds before less that a minute before."
    BootSilent "boot_silent" "per cent of a pitch" [110, 150, 250, 400, 800]
        "How long the boot had been silent, of the pitch before."
    HeadSilent "head_silent" "per cent of a pitch" [110, 150, 250, 400, 800]
        "How long the head had been silent, of the pitch before."
    BootLastPitch "boot_last_pitch" "per mille" [500, 900, 970, 1020, 1060, 1150, 1400, 2000]
        "The boot's last turn-wise pitch against the mean of those before: a shaft that stops stretches, a cut wire does not."
    HeadLastPitch "head_last_pitch" "per mille" [500, 900, 970, 1020, 1060, 1150, 1400, 2000]
        "The head's last pitch likewise."
    BootSlowing "boot_slowing" "ms" [1, 150, 400, 1000, 3000, 10000]
        "For how long the boot's pitches had been more than 6 % long when they ended."
    BootScatter "boot_scatter" "ppm" [300, 1000, 3000, 8000, 20000, 60000]
        "How far the boot's turns scatter in the half minute before, one against the next."
    HeadScatter "head_scatter" "ppm" [100, 300, 1000, 3000, 8000, 20000, 60000]
        "The head's likewise."
    BootUneven "boot_uneven" "per mille of a pitch" [15, 30, 60, 120, 250]
        "How far the boot target that lies worst lies from its even place."
    HeadUneven "head_uneven" "per mille of a pitch" [15, 30, 60, 120, 250]
        "The head's likewise."
    BootShort "boot_short" "per mille" [1, 5, 20, 60, 200]
        "Pitches at the boot far too short, of all: noise, bounce, a target too many."
    HeadShort "head_short" "per mille" [1, 5, 20, 60, 200]
        "The head's likewise."
    BootLong "boot_long" "per mille" [1, 5, 20, 60, 200]
        "Pitches at the boot about twice as long as they should be, of all: targets not seen."
    HeadLong "head_long" "per mille" [1, 5, 20, 60, 200]
        "The head's likewise."
    BootLongSame "boot_long_same" "per cent" [40, 75, 95]
        "How many of the boot's long pitches end at one and the same target: that target is gone; elsewhere, a sensor misses at random."
    HeadLongSame "head_long_same" "per cent" [40, 75, 95]
        "The head's likewise."
    BootRejects "boot_rejects" "per mille" [1, 10, 50, 200, 1000]
        "Edges at the boot that the box rejected, of those that count, in the half minute before."
    HeadRejects "head_rejects" "per mille" [1, 10, 50, 200, 1000]
        "The head's likewise."
    BootDuty "boot_duty" "per mille" [150, 300, 420, 480, 520, 600, 800]
        "For what share of the time the boot sensor saw a target in the last turns: less where the gap has grown."
    HeadDuty "head_duty" "per mille" [150, 300, 420, 480, 520, 600, 800]
        "The head's likewise."
    BootDutyChange "boot_duty_change" "per mille" [-150, -50, -15, 15, 50, 150]
        "How far that share moved since the record began: a bracket that gives way."
    HeadDutyChange "head_duty_change" "per mille" [-150, -50, -15, 15, 50, 150]
        "The head's likewise."
    BootPattern "boot_pattern" "0 whole, 1 missing, 2 extra, 3 moved" [0, 1, 2, 3]
        "What the box made of the boot's targets."
    HeadPattern "head_pattern" "0 whole, 1 missing, 2 extra, 3 moved" [0, 1, 2, 3]
        "What the box made of the head's targets."
    BootLine "boot_line" "0 sound, 1 open, 2 shorted" [0, 1, 2]
        "What supervision said of the boot sensor's wire."
    HeadLine "head_line" "0 sound, 1 open, 2 shorted" [0, 1, 2]
        "What supervision said of the head sensor's wire."
    BootDistrust "boot_distrust" "reasons" [1, 2, 4, 8, 16, 32, 64, 128]
        "The gravest reason for which the box distrusted the boot sensor."
    HeadDistrust "head_distrust" "reasons" [1, 2, 4, 8, 16, 32, 64, 128]
        "The gravest reason for which the box distrusted the head sensor."
    BootAfter "boot_after" "hundredths of a turn" [1, 25, 60, 120, 250, 500]
        "How far the boot still turned after the moment: a sensor that is lost tells nothing, a pulley that slows does."
    HeadAfter "head_after" "hundredths of a turn" [1, 25, 60, 120, 250, 500, 1500]
        "How far the head still turned after the motor went off: a load stops it soon, a parted belt lets it run down."
    FollowAfter "follow_after" "per cent" [5, 50, 85, 95, 105, 120]
        "How far the boot turned after the motor went off, of what the head turned by the ratio: does the belt still couple the two?"
    HeadHalf "head_half" "ms" [150, 300, 500, 800, 1300, 2500]
        "From the motor going off to the head at half its speed."
    BootHalf "boot_half" "ms" [150, 300, 500, 800, 1300, 2500]
        "From the motor going off to the boot at half its speed."
    HalfApart "half_apart" "ms" [-1000, -300, -100, 100, 300, 1000, 2000, 4000]
        "By how much later the head came to half its speed than the boot: a head without its belt runs on, a boot without its belt stops."
    BootOutlasts "boot_outlasts" "ms" [-3000, -1000, -300, 300, 1000, 3000]
        "By how much the boot's edges outlast the head's after the motor went off."
    PowerAt "power" "per mille of rated" [100, 250, 450, 650, 850, 1050, 1300, 1800]
        "The last power reading before the moment."
    PowerBefore "power_20_s" "per mille of rated" [100, 250, 450, 650, 850, 1050, 1300]
        "Mean power some twenty seconds before."
    PowerChange "power_change" "per mille of rated" [-300, -120, -50, 50, 120, 300, 700]
        "The last reading less that mean: it falls where the belt lets go, rises where something holds it."
    PowerBeforeSlip "power_before_slip" "per mille of rated" [-300, -120, -50, -15, 15, 50, 120, 300, 700]
        "Power in the seconds before slip began to rise less that some fifteen seconds earlier: overload and choke ask for more first."
    PowerWithSlip "power_with_slip" "per mille of rated" [-300, -120, -50, -15, 15, 50, 120, 300, 700]
        "The last reading less that of the seconds before slip began to rise: it falls where what drives the belt lets go."
    PowerIdle "power_idle" "per mille of rated" [50, 100, 150, 250, 400, 700]
        "Power soon after the start, mostly without load: bearings and oil."
    PowerMost "power_most" "per mille of rated" [450, 650, 850, 1050, 1300, 1800]
        "The most power in the minute before."
    RubPlaces "rub_places" "a bit for each place" [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15]
        "Which contacts rubbed: head left 1, head right 2, boot left 4, boot right 8."
    RubLock "rub_lock" "0 none, 1 belt, 2 shaft" [0, 1, 2]
        "Whether rubs come from one place on the belt or one angle of a shaft (Rayleigh)."
    RubLongest "rub_longest" "ms" [1, 60, 200, 600, 2000, 10000, 60000]
        "The longest single rub."
    RubDuty "rub_duty" "per mille of a loop" [1, 20, 60, 150, 400, 800, 990]
        "The largest share of a belt loop on which one contact rubbed."
    RubCount "rub_count" "rubs" [1, 3, 6, 15, 40, 150]
        "How often the belt rubbed, all contacts together."
    RubEvery "rub_every" "per cent of a loop" [20, 60, 90, 111, 150, 300]
        "Time between rubs at the contact that rubbed most, of the time of a belt loop."
    RubAtHead "rub_at_head" "per cent" [1, 20, 45, 56, 80, 100]
        "Of the time the belt rubbed, the share at the head."
    RubAtLeft "rub_at_left" "per cent" [1, 20, 45, 56, 80, 100]
        "Of the time the belt rubbed, the share on the left."
    RubCrossed "rub_crossed" "per cent" [1, 20, 45, 56, 80, 100]
        "Of the time the belt rubbed, the share at head left and boot right."
    RubSteady "rub_steady" "per cent" [5, 20, 50, 80, 95, 100]
        "For what share of the time since it first closed the contact that rubbed most was closed: a stuck one never opens again."
    RubFirst "rub_first" "ms" [1, 60, 300, 2000, 10000, 60000]
        "How long the first of its rubs lasted: a belt that wanders touches now and then before it leans."
    RubBounce "rub_bounce" "in a minute" [1, 5, 20, 100]
        "The most changes of a contact within 30 ms in a minute: contacts bounce, belts do not."
    RubAtRest "rub_at_rest" "ms" [1, 500, 3000, 20000]
        "For how long a contact stayed closed while the leg stood: a stuck contact, or a belt that leans."
    ContactFaulty "contact_faulty" "0 no, 1 yes" [0, 1]
        "Whether a contact's supervision spoke."
    Reference "reference" "ppm of normal" [0, 500000, 800000, 950000, 999000, 1001000]
        "The speed asked for."
    ReferenceMiss "reference_miss" "ppm" [-300000, -100000, -30000, -8000, 8000, 30000, 100000, 300000]
        "Head speed less the speed asked for, most of the record."
    Outlet "outlet" "0 free, 1 plugged" [0, 1]
        "Whether the outlet was plugged at or before the moment."
    Hottest "hottest" "tenths of a degree above the coolest" [20, 60, 120, 250, 500]
        "How much hotter the hottest rub point was than the coolest."
    HottestAt "hottest_at" "0 to 3: the place" [0, 1, 2, 3]
        "Which rub point was hottest."
    Tripped "tripped" "0 no, 1 yes" [0, 1]
        "Whether the leg was stopped."
    RulesFirst "rules_first" "0 none, 1 to 25: the rule" [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25]
        "What the box's own rules, which go by physics alone, name first."
    RulesSecond "rules_second" "0 none, 1 to 25: the rule" [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25]
        "What they name second."
}
