"""The slip part of a tuning study in plain numpy and pandas, for comparison.

    cargo bench -p slackside-simulator --bench tune -- --export DIR 20 quiet
    python bench/tune_pandas.py DIR [--remember]

The export holds the stored motion of one leg-day (times, slip over one and over four turns) and what Slackside found for each
setting with every condition judged. This script judges the four slip conditions alone, checks that it finds the same alarms
to the microsecond, and prints both times. With --remember it works out once for every setpoint and deadband when the value is
beyond, as Slackside does. Needs numpy and pandas.
"""

import functools
import json
import platform
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd


def states(value, limit, clear):
    """1 beyond, 0 within, held in between and where unknown; 0 at the beginning."""
    sense = np.where(value >= limit, 1.0, np.where(value < clear, 0.0, np.nan))
    return pd.Series(sense).ffill().fillna(0.0).to_numpy()


def crossings(t, value, limit, clear):
    """Times at which the value goes beyond or comes back, and which of the two."""
    state = states(value, limit, clear)
    change = np.flatnonzero(np.diff(state, prepend=0.0))
    return t[change].tolist(), state[change].tolist()


def raises(times, beyonds, on_us, off_us, end):
    """When the alarm comes, given when the value is beyond."""
    out = []
    active = False
    due = None
    for at, beyond in zip(times, beyonds):
        # A delay that ends at the time of a sample ends before it.
        if due is not None and due <= at:
            active = not active
            if active:
                out.append(due)
            due = None
        if bool(beyond) == active:
            due = None
        elif due is None:
            due = at + (on_us if beyond else off_us)
            if due <= at:
                active = not active
                if active:
                    out.append(at)
                due = None
    if due is not None and due <= end and not active:
        out.append(due)
    return out


def main():
    directory = Path(sys.argv[1])
    remember = "--remember" in sys.argv[2:]
    study = json.loads((directory / "study.json").read_text())
    t = np.fromfile(directory / "time_us.i64", dtype="<i8")
    columns = {}
    for name in ("short", "long"):
        raw = np.fromfile(directory / f"{name}_ppm.i32", dtype="<i4").astype(float)
        raw[raw == np.iinfo(np.int32).min] = np.nan
        columns[name] = raw

    def found_in(column, sign, limit, clear):
        return crossings(t, columns[column] * sign, limit, clear)

    if remember:
        found_in = functools.cache(found_in)
    began = time.perf_counter()
    wrong = 0
    for setting in study["settings"]:
        for condition in setting["conditions"]:
            setpoint = condition["setpoint"]
            times, beyonds = found_in(condition["column"], condition["sign"], setpoint, setpoint - condition["deadband"])
            found = raises(times, beyonds, condition["on_us"], condition["off_us"], study["end_us"])
            if found != condition["raised_us"]:
                wrong += 1
                print(f"setting {setting['number']} {condition['name']}: {found[:3]}... {len(found)} against "
                      f"{condition['raised_us'][:3]}... {len(condition['raised_us'])}")
    took = time.perf_counter() - began
    count = len(study["settings"])
    ours = study["seconds"]
    alarms = sum(len(condition["raised_us"]) for setting in study["settings"] for condition in setting["conditions"])
    print(f"{count} settings, {len(t)} rows, {alarms} slip alarms, one thread each")
    print(f"Python {platform.python_version()}, numpy {np.__version__}, pandas {pd.__version__}")
    print(f"pandas, 4 slip conditions:     {took:.2f} s, {took / count * 1e3:.2f} ms a setting")
    print(f"Slackside, every condition:    {ours:.2f} s, {ours / count * 1e3:.2f} ms a setting, with heat tables "
          f"{(ours + study['tables']) / count * 1e3:.2f} ms")
    print(f"ratio {took / ours:.1f}, with heat tables {took / (ours + study['tables']):.1f}")
    if wrong:
        sys.exit(f"{wrong} conditions differ")
    print("the same alarms, to the microsecond")


if __name__ == "__main__":
    main()
