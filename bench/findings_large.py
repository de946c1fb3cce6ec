"""Large classifiers on the runs that the findings are learned from and measured on, for comparison.

    cargo xtask findings --runs 23520 --seed 1 --measured 4800 --measured-seed 7011
    python bench/findings_large.py target/findings 7011

The first plays and keeps the runs; this learns a random forest, gradient boosting and the mean of both from those to learn from, measures
them on those held out, as the findings are measured, and writes crates/xtask/src/findings/large.csv, which the first puts into the book
when it is run again. Unknown answers are below all others, runs weigh as they do for the trees (all of a cause together as much as those of
any other, but none more than three mean ones), and how often causes come is read from the book's page. Needs numpy, pandas, scikit-learn
and LightGBM. Takes minutes.
"""

import sys
from pathlib import Path

import lightgbm
import numpy as np
import pandas as pd
import sklearn
from sklearn.ensemble import RandomForestClassifier

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs/src/engineer/findings.md"
OUT = ROOT / "crates/xtask/src/findings/large.csv"
# What a row of the store holds before its answers.
HEAD = ["index", "cause", "also", "means", "hours", "rules", "first"]
# How many mean runs a run of a rare cause weighs at most.
MOST = 3.0
UNKNOWN = -1e9


def causes_and_weights():
    """The causes of the book's table, and how often each comes."""
    rows = PAGE.read_text().split("## Cause by cause")[1].split("\n\n")[2].splitlines()[2:]
    cells = [[cell.strip() for cell in row.strip("|").split("|")] for row in rows]
    return [cell[0] for cell in cells], np.array([float(cell[1]) for cell in cells])


def alarmed(path):
    """The runs of a file in which something was alarmed, and the line that says what they were drawn by."""
    with open(path) as file:
        drawn_by = file.readline().removeprefix("# ").strip()
    runs = pd.read_csv(path, comment="#")
    return runs[runs["first"].notna()].reset_index(drop=True), drawn_by


def answers(runs, conditions):
    """Every answer as a number, and of each condition whether it was the first."""
    numbers = runs.drop(columns=HEAD).astype(float).fillna(UNKNOWN).to_numpy()
    return np.hstack([numbers, np.array([runs["first"] == condition for condition in conditions], float).T])


def figures(chances, is_, also, often):
    """Right first and of two: all alike, as a report weighs, as often as they come, in per cent; Brier's score of the last."""
    weighed = chances * often
    weighed /= weighed.sum(axis=1, keepdims=True)
    weights = (often / np.maximum(np.bincount(is_, minlength=len(often)), 1))[is_]
    told = []
    for each, weigh in [(chances, None), (weighed, None), (weighed, weights)]:
        order = np.argsort(-each, axis=1, kind="stable")
        for among in (1, 2):
            hits = (order[:, :among] == is_[:, None]).any(axis=1) | (order[:, :among] == also[:, None]).any(axis=1)
            told.append(100.0 * np.average(hits, weights=weigh))
    return [*told, np.average(((weighed - np.eye(len(often))[is_]) ** 2).sum(axis=1), weights=weights)]


def main(store, measured_seed):
    causes, often = causes_and_weights()
    number = {cause: at for at, cause in enumerate(causes)}
    learning, drawn_by = alarmed(store / "learning-1.csv")
    held, held_by = alarmed(store / f"measuring-{measured_seed}.csv")
    if drawn_by != held_by:
        sys.exit(f"{store}: learned from runs {drawn_by}, held out {held_by}: draw both anew")
    conditions = sorted(set(learning["first"]))
    known, asked = answers(learning, conditions), answers(held, conditions)
    cause = learning["cause"].map(number).to_numpy()
    drawn = np.maximum(np.bincount(cause, minlength=len(causes)), 1)
    weights = np.minimum(len(cause) / len(causes) / drawn, MOST)[cause]
    is_ = held["cause"].map(number).to_numpy()
    also = held["also"].map(lambda name: number.get(name, -1)).to_numpy()

    def chances(model):
        model.fit(known, cause, sample_weight=weights)
        told = np.zeros((len(asked), len(causes)))
        told[:, model.classes_] = model.predict_proba(asked)
        return told

    forest = chances(RandomForestClassifier(n_estimators=400, random_state=1, n_jobs=-1))
    boosted = chances(
        lightgbm.LGBMClassifier(
            n_estimators=120, learning_rate=0.06, num_leaves=15, min_child_samples=5, colsample_bytree=0.3, subsample=0.8,
            subsample_freq=1, reg_lambda=1.0, random_state=1, verbose=-1,
        )
    )
    table = {
        "a random forest of 400 trees": forest,
        "gradient boosting of 120 rounds": boosted,
        "the mean of both": (forest + boosted) / 2,
    }
    lines = [
        f"# {drawn_by}",
        f"# scikit-learn {sklearn.__version__} and LightGBM {lightgbm.__version__}",
        "classifier,first,of two,first as reported,of two as reported,first as they come,of two as they come,Brier",
    ]
    for name, told in table.items():
        *shares, brier = figures(told, is_, also, often)
        lines.append(",".join([name, *(f"{share:.1f}" for share in shares), f"{brier:.3f}"]))
        print(lines[-1], flush=True)
    OUT.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
