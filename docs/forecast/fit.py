"""Fits the parameters of src/engine/forecast/ on open sensor traces, and prints them.

    pip install numpy && python docs/forecast/fit.py FOLDER

FOLDER holds the two sets that docs/alerts-measured.md cites, as hupa-ucm/*.csv and t1d-uom/*.csv. Each file is one
person: a time and a value in mg/dL a row. The filter and the features are those of the program, written a second time.
"""

import csv
import datetime as dt
import math
import pathlib
import sys

import numpy as np

TAU, SIGMA, NOISE = 15.0, 0.4, 4.0
EPOCH = dt.datetime(2000, 1, 1)

# Files whose 15-minute points cannot be told from what was interpolated between them.
NO_CLEAR_PHASE = ("HUPA0001P", "HUPA0009P", "HUPA0010P")

# This file interleaves two different signals before that day.
TWO_SIGNALS, ONE_SIGNAL_FROM = "UoMGlucose2304", dt.datetime(2023, 11, 25)


def read(path):
    """Times in minutes and values, in order, kept at least 3.9 minutes apart."""
    with open(path, newline="") as file:
        rows = [(dt.datetime.fromisoformat(at), float(value)) for at, value in list(csv.reader(file))[1:]]
    if path.stem == TWO_SIGNALS:
        rows = [row for row in rows if row[0] >= ONE_SIGNAL_FROM]
    rows.sort(key=lambda row: row[0])
    kept = []
    for at, value in rows:
        minute = (at - EPOCH).total_seconds() / 60
        if not kept or minute - kept[-1][0] >= 3.9:
            kept.append((minute, max(39.0, value)))
    return np.array(kept).T


def every_third(times, values):
    """The 15-minute points behind values that were interpolated to 5 minutes: where the line bends."""
    keep, best = np.zeros(len(times), bool), 0
    for start in range(0, len(times), 288):
        day = slice(start, min(start + 288, len(times)))
        phase = np.round(times[day] / 5).astype(int) % 3
        if len(phase) >= 30:
            bends = np.zeros(len(phase))
            bends[1:-1] = np.abs(np.diff(values[day], 2)) > 0.6
            best = int(np.argmax([bends[phase == k].mean() for k in range(3)]))
        keep[day] = phase == best
    return times[keep], values[keep]


def stretches(times, values, gap):
    cuts = np.where(np.diff(times) > gap)[0] + 1
    return zip(np.split(times, cuts), np.split(values, cuts))


def velocity(times, values):
    """The filter: an integrated Ornstein-Uhlenbeck process, measured with noise."""
    level, speed, a, b, c = values[0], 0.0, 4.0, 0.0, 1.0
    out = [0.0]
    for step, value in zip(np.diff(times), values[1:]):
        keep = math.exp(-step / TAU)
        reach = TAU * (1 - keep)
        level, speed = level + reach * speed, keep * speed
        spread = SIGMA**2 * TAU
        a, b, c = (
            a + 2 * reach * b + reach**2 * c + spread * TAU * (step - 2 * reach + TAU / 2 * (1 - keep**2)),
            keep * (b + reach * c) + spread * TAU / 2 * (1 - keep) ** 2,
            keep**2 * c + spread / 2 * (1 - keep**2),
        )
        gain, gain_speed, miss = a / (a + NOISE), b / (a + NOISE), value - level
        level, speed = level + gain * miss, speed + gain_speed * miss
        a, b, c = a * (1 - gain), b * (1 - gain), c - gain_speed * b
        out.append(speed)
    return np.array(out)


def slope(times, values, span=30.0):
    out, first = np.zeros(len(times)), 0
    for last in range(len(times)):
        while times[last] - times[first] > span + 0.01:
            first += 1
        if last > first:
            out[last] = np.polyfit(times[first : last + 1] - times[last], values[first : last + 1], 1)[0]
    return out


def features(values, speed, trend, limit, side, fastest):
    """`side` is 1 for a limit below, -1 for one above: both are the same seen in a mirror. An approach counts up to
    `fastest`."""
    distance = np.clip(side * (values - limit), 0, 130) / 10
    speed, trend = side * speed, side * trend
    return np.stack(
        [
            np.ones(len(values)),
            distance,
            np.sqrt(distance + 0.1),
            np.clip(speed, -fastest, 0),
            np.clip(speed, 0, 1.5),
            np.clip(trend, -3, 1.5),
        ],
        axis=1,
    )


def logistic(rows, labels):
    """Maximum likelihood by Newton's method."""
    weights = np.zeros(rows.shape[1])
    for _ in range(50):
        chance = 1 / (1 + np.exp(-rows @ weights))
        slope_of = rows.T @ (labels - chance)
        curve = (rows * (chance * (1 - chance))[:, None]).T @ rows
        change = np.linalg.solve(curve, slope_of)
        weights += change
        if np.abs(change).max() < 1e-10:
            return weights
    raise SystemExit("it does not settle")


def examples(people, limit, side, horizon, fastest):
    """Features and labels of every reading on which an alert could be raised."""
    rows, labels = [], []
    for times, values, speed, trend in (stretch for person in people for stretch in person):
        beyond = side * values < side * limit
        at = times[beyond]
        ahead = np.searchsorted(at, times + 1e-6)
        wait = np.append(at, np.inf)[ahead] - times
        since = times - np.append(-np.inf, at)[np.searchsorted(at, times + 1e-6)]
        soon = wait <= horizon + 0.5
        known = soon | (times[-1] - times >= horizon - 0.5)
        # Within the limit, for 15 minutes or more, after three readings.
        use = known & ~beyond & (since > 15) & (times - times[0] >= 14)
        rows.append(features(values, speed, trend, limit, side, fastest)[use])
        labels.append(soon[use])
    return np.concatenate(rows), np.concatenate(labels).astype(float)


def main(folder):
    five, fifteen = [], []
    for path in sorted([*folder.glob("hupa-ucm/*.csv"), *folder.glob("t1d-uom/*.csv")]):
        if path.stem in NO_CLEAR_PHASE:
            continue
        times, values = read(path)
        if path.parent.name == "hupa-ucm":
            times, values = every_third(times, values)
        sparse = np.median(np.diff(times)) > 10
        cut = stretches(times, values, 35 if sparse else 20)
        person = [(t, v, velocity(t, v), slope(t, v)) for t, v in cut if len(t) > 4]
        (fifteen if sparse else five).append(person)
    print(len(five), "people with readings every 5 minutes,", len(fifteen), "every 15")
    everybody = five + fifteen
    for name, limit, side, horizon, fastest in (
        ("LOW", 70, 1, 20, 1.2),
        ("VERY_LOW", 54, 1, 15, 4),
        ("HIGH", 180, -1, 20, 4),
    ):
        rows, labels = examples(everybody, limit, side, horizon, fastest)
        weights = logistic(rows, labels)
        share = round(labels.mean(), 5)
        print(f"{name}: {limit} mg/dL within {horizon} min,", len(labels), "readings, share beyond", share)
        print("   ", [round(float(weight), 4) for weight in weights])
        for group, people in (("every 5 min", five), ("every 15 min", fifteen)):
            rows, labels = examples(people, limit, side, horizon, fastest)
            one = intercept(rows @ weights - weights[0], labels)
            chance = 1 / (1 + np.exp(-rows @ weights - (one - weights[0])))
            bins = np.minimum((chance * 10).astype(int), 9)
            shown = [f"{labels[bins == k].mean():.2f} of {(bins == k).sum()}" for k in range(2, 10) if (bins == k).sum() > 40]
            print(f"    {group}: calibrated intercept {one:.4f}; with it observed from 0.2 on:", ", ".join(shown))


def intercept(rest, labels):
    """That with which as many come as are said to, where all else stays as it is."""
    low, high = -10.0, 10.0
    for _ in range(60):
        middle = (low + high) / 2
        if (1 / (1 + np.exp(-rest - middle))).sum() < labels.sum():
            low = middle
        else:
            high = middle
    return (low + high) / 2


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
