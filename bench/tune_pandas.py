"""The slip part of a tuning study in plain numpy and pandas, for comparison.

    cargo bench -p slackside-simulator --bench tune -- --export DIR 20
    python bench/tune_pandas.py DIR

The export holds the stored motion of one leg-day (times, slip over one and over four turns) and what Slackside found for each
setting with every condition judged. This script judges the four slip conditions alone, checks that it finds the same alarms
to the microsecond, and prints both times. Needs numpy and pandas.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd


def states(value, limit, clear):
    """1 beyond, 0 within, held in between and where unknown; 0 at the beginning."""
    sense = np.where(value >= limit, 1.0, np.where(value < clear, 0.0, np.nan))
    return pd.Series(sense).ffill().fillna(0.0).to_numpy()


def raises(t, state, on_us, off_us, end):
    """When the alarm comes, given when the value is beyond."""
    change = np.flatnonzero(np.diff(state, prepend=0.0))
    out = []
    active = False
    due = None
    for at, beyond in zip(t[change].tolist(), state[change].tolist()):
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
    study = json.loads((directory / "study.json").read_text())
    t = np.fromfile(directory / "time_us.i64", dtype="<i8")
    columns = {}
    for name in ("short", "long"):
        raw = np.fromfile(directory / f"{name}_ppm.i32", dtype="<i4").astype(float)
        raw[raw == np.iinfo(np.int32).min] = np.nan
        columns[name] = raw
    began = time.perf_counter()
    wrong = 0
    for setting in study["settings"]:
        for condition in setting["conditions"]:
            value = columns[condition["column"]] * condition["sign"]
            state = states(value, condition["setpoint"], condition["setpoint"] - condition["deadband"])
            found = raises(t, state, condition["on_us"], condition["off_us"], study["end_us"])
            if found != condition["raised_us"]:
                wrong += 1
                print(f"setting {setting['number']} {condition['name']}: {found[:3]}... {len(found)} against "
                      f"{condition['raised_us'][:3]}... {len(condition['raised_us'])}")
    took = time.perf_counter() - began
    count = len(study["settings"])
    ours = study["seconds"]
    print(f"{count} settings, {len(t)} rows, one thread each")
    print(f"pandas, slip conditions alone: {took:.2f} s, {took / count * 1e3:.1f} ms a setting")
    print(f"Slackside, every condition:    {ours:.2f} s, {ours / count * 1e3:.1f} ms a setting")
    print(f"ratio {took / ours:.0f}")
    if wrong:
        sys.exit(f"{wrong} conditions differ")
    print("the same alarms, to the microsecond")


if __name__ == "__main__":
    main()
