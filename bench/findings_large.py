#!/usr/bin/env python3
"""What the evidence of the findings holds: large classifiers on the very runs that `cargo xtask findings` plays.

    cargo xtask findings --store STORE --runs N --measured N ...
    python3 bench/findings_large.py STORE [SEED]

Learns from the runs that the shipped trees are learned from and is measured on the same held-out ones, with the raw answers (unknown stays
unknown where a classifier can take it). Every run to learn from is of a leg of its own, so folds by run are folds by leg. The
cross-validation chooses; the held-out runs are looked at once for each classifier. Needs numpy, pandas, scikit-learn, lightgbm.
"""

import sys

import lightgbm
import numpy
import pandas
import sklearn
from sklearn.ensemble import ExtraTreesClassifier, RandomForestClassifier

FOLDS = 5
META = ["index", "cause", "also", "means", "hours", "rules", "first"]


def runs(path):
    told = pandas.read_csv(path)
    return told[told["first"].notna()].reset_index(drop=True)


def columns(told, firsts, unknown):
    asked = told[[name for name in told.columns if name not in META]].astype(float)
    first = pandas.DataFrame({f"first:{name}": (told["first"] == name).astype(float) for name in firsts})
    return pandas.concat([asked, first], axis=1).fillna(unknown).to_numpy()


def boosted(rounds, leaves, rate):
    return lightgbm.LGBMClassifier(
        n_estimators=rounds, num_leaves=leaves, learning_rate=rate, min_child_samples=5, colsample_bytree=0.3,
        subsample=0.8, subsample_freq=1, reg_lambda=1.0, random_state=1, n_jobs=1, verbose=-1,
    )


CANDIDATES = {
    "boosting, 60 rounds": (boosted(60, 15, 0.07), numpy.nan),
    "boosting, 120 rounds": (boosted(120, 15, 0.07), numpy.nan),
    "forest, 500 trees": (RandomForestClassifier(500, min_samples_leaf=1, max_features=0.15, random_state=1), -9e6),
    "extra trees, 500": (ExtraTreesClassifier(500, min_samples_leaf=1, max_features=0.3, random_state=1), -9e6),
}


def chances(classifier, of, causes):
    told = numpy.zeros((len(of), len(causes)))
    told[:, classifier.classes_] = classifier.predict_proba(of)
    return told


def score(told, truth, also, weights=None):
    order = numpy.argsort(-told, axis=1)
    right = lambda among: ((order[:, :among] == truth[:, None]) | (order[:, :among] == also[:, None])).any(axis=1)
    brier = ((told - numpy.eye(told.shape[1])[truth]) ** 2).sum(axis=1)
    mean = lambda values: 100 * numpy.average(values, weights=weights)
    return f"first {mean(right(1)):.1f} %, of two {mean(right(2)):.1f} %, Brier {mean(brier) / 100:.3f}"


def main():
    store, seed = sys.argv[1], sys.argv[2] if len(sys.argv) > 2 else "1"
    learned, held = (runs(f"{store}/{kind}-{seed}.csv") for kind in ("learning", "measuring"))
    causes = sorted(set(learned["cause"]) | set(held["cause"]))
    firsts = sorted(set(learned["first"]) | set(held["first"]))
    number = {cause: index for index, cause in enumerate(causes)}
    truths = [told["cause"].map(number).to_numpy() for told in (learned, held)]
    alsos = [told["also"].map(lambda cause: number.get(cause, -1)).to_numpy() for told in (learned, held)]
    drawn = numpy.bincount(truths[0], minlength=len(causes)).clip(1)
    print(f"{len(learned)} runs learned from, {len(held)} held out; scikit-learn {sklearn.__version__}, lightgbm {lightgbm.__version__}")
    together = []
    for name, (classifier, unknown) in CANDIDATES.items():
        of, of_held = (columns(told, firsts, unknown) for told in (learned, held))
        kept = numpy.zeros((len(learned), len(causes)))
        fold = (learned["index"] // 40 % FOLDS).to_numpy()
        for out in range(FOLDS):
            classifier.fit(of[fold != out], truths[0][fold != out])
            kept[fold == out] = chances(classifier, of[fold == out], causes)
        print(f"{name}: {FOLDS} folds of the runs learned from: {score(kept, truths[0], alsos[0])}", flush=True)
        classifier.fit(of, truths[0])
        told = chances(classifier, of_held, causes)
        print(f"{name}: held out, as drawn: {score(told, truths[1], alsos[1])}", flush=True)
        even = told / drawn
        even /= even.sum(axis=1, keepdims=True)
        print(f"{name}: held out, all causes equally likely: {score(even, truths[1], alsos[1])}", flush=True)
        together.append(even)
    even = sum(together) / len(together)
    print(f"all of them together: held out, all causes equally likely: {score(even, truths[1], alsos[1])}")


main()
