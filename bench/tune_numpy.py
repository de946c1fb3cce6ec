"""The slip part of a tuning study in plain numpy, as fast as we can write it, for comparison.

    cargo bench -p slackside-simulator --bench tune -- --export DIR 200 crossing
    python bench/tune_numpy.py DIR

The export holds the stored motion of one leg-day (times, slip over one and over four turns) and what Slackside found for each
setting with every condition judged. This script judges the four slip conditions alone, each by itself, checks that it finds the
same alarms to the microsecond, and prints both times, processor time against processor time. What it can remember it remembers:
when a value is beyond a setpoint and back within its deadband is worked out once. Delays are worked out on whole lists. Needs numpy.
"""

import functools
import json
import platform
import sys
import time
from pathlib import Path

import numpy as np

UNKNOWN = np.iinfo(np.int32).min


def stretches(t, value, limit, clear):
    """Where the value is beyond: when each such stretch begins, and when it is over (the last may have no end).

    Beyond at or above the limit, within below clear, held in between and where unknown; within at the beginning.
    """
    decided = np.flatnonzero((value >= limit) | ((value < clear) & (value != UNKNOWN)))
    beyond = value[decided] >= limit
    change = np.flatnonzero(beyond[1:] != beyond[:-1]) + 1
    times = t[decided[change]]
    if beyond.size and beyond[0]:
        times = np.concatenate((t[decided[:1]], times))
    return times[0::2], times[1::2]


def raises(begins, ends, on_us, off_us, end):
    """When the alarm comes: a stretch beyond that lasts for the on-delay raises it, unless no stretch within has lasted for the
    off-delay since it was raised. A delay that ends at the time of a sample ends before it."""
    if not begins.size:
        return begins
    until = np.append(ends, end)[: begins.size]
    raised = until - begins >= on_us
    back = np.append(begins[1:], end)[: ends.size]
    cleared = np.zeros(begins.size, dtype=bool)
    cleared[: ends.size] = back - ends >= off_us
    # A raising stretch is an alarm if, since the raising one before it, some stretch within cleared.
    clears = np.concatenate(([0], np.cumsum(cleared)))
    at = np.flatnonzero(raised)
    if not at.size:
        return begins[:0]
    first = np.append(True, clears[at[1:]] > clears[at[:-1]])
    return begins[at[first]] + on_us


def main():
    directory = Path(sys.argv[1])
    study = json.loads((directory / "study.json").read_text())
    t = np.fromfile(directory / "time_us.i64", dtype="<i8")
    columns = {}
    for name in ("short", "long"):
        raw = np.fromfile(directory / f"{name}_ppm.i32", dtype="<i4")
        columns[name, 1] = raw
        columns[name, -1] = np.where(raw == UNKNOWN, UNKNOWN, -raw)

    @functools.cache
    def found_in(column, sign, limit, clear):
        return stretches(t, columns[column, sign], limit, clear)

    judged = []
    began = time.process_time()
    for setting in study["settings"]:
        for condition in setting["conditions"]:
            setpoint = condition["setpoint"]
            begins, ends = found_in(condition["column"], condition["sign"], setpoint, setpoint - condition["deadband"])
            judged.append(raises(begins, ends, condition["on_us"], condition["off_us"], study["end_us"]))
    took = time.process_time() - began

    # Held against Slackside's alarms outside of the time taken.
    asked = [(setting["number"], condition) for setting in study["settings"] for condition in setting["conditions"]]
    wrong = 0
    for (number, condition), found in zip(asked, judged):
        if found.tolist() != condition["raised_us"]:
            wrong += 1
            print(f"setting {number} {condition['name']}: {found[:3].tolist()}... {found.size} against "
                  f"{condition['raised_us'][:3]}... {len(condition['raised_us'])}")
    count = len(study["settings"])
    ours = study["seconds"]
    alarms = sum(len(condition["raised_us"]) for _, condition in asked)
    print(f"{count} settings, {len(t)} rows, {alarms} slip alarms, one thread each, processor time")
    print(f"Python {platform.python_version()}, numpy {np.__version__}")
    print(f"numpy, 4 slip conditions:      {took:.2f} s, {took / count * 1e3:.2f} ms a setting, of which crossings worked out "
          f"{found_in.cache_info().misses} times")
    print(f"Slackside, every condition:    {ours:.2f} s, {ours / count * 1e3:.2f} ms a setting, with heat tables "
          f"{(ours + study['tables']) / count * 1e3:.2f} ms")
    print(f"ratio {took / ours:.2f}, with heat tables {took / (ours + study['tables']):.2f}")
    if wrong:
        sys.exit(f"{wrong} conditions differ")
    print("the same alarms, to the microsecond")


if __name__ == "__main__":
    main()
