#!/usr/bin/env python3
"""Draws a diary of answers for an open trace, which knows of none, from the lines of a replay.

    recheck replay trace.csv --json > lines.jsonl
    python3 draw-answers.py lines.jsonl --seed 1 > answers.csv
    recheck replay trace.csv answers.csv --together --summary

Each ring for the wearer is answered with a chance, some minutes later, as seen or as treated. What is drawn hangs on
the seed, the time of the reading and the condition alone: a ring that stays when the program or a setting changes
keeps its answer, so that two replays differ by what was decided and not by the dice. A ring that comes only because
something was answered has no answer yet: draw again from the lines of `--together`, until the diary stays as it is.

The shares are made up, but for the 54 in a hundred by night: a camp trial (PMID 24168317, seen as an abstract).
"""

import argparse
import csv
import datetime
import hashlib
import json
import sys

SIDES = {
    "low": ["very_low", "low", "caution", "forecast_very_low", "forecast_low", "recheck_low"],
    "high": ["high", "very_high", "forecast_high", "recheck_high"],
}


def draw(seed, line):
    """Three numbers from 0 to below 1, which hang on nothing else."""
    key = f"{seed}|{line['reading_at'] or line['at']}|{line['condition']}"
    digest = hashlib.sha256(key.encode()).digest()
    return [int.from_bytes(digest[place : place + 8], "big") / 2**64 for place in (0, 8, 16)]


def minute(text):
    hours, minutes = text.split(":")
    return int(hours) * 60 + int(minutes)


def is_night(at, night):
    begin, end = (minute(part) for part in night.split("-"))
    now = at.hour * 60 + at.minute
    return begin <= now < end if begin <= end else now >= begin or now < end


def answer(line, options):
    """When it is answered, and how; none where it is not."""
    if not line["rings"] or "wearer" not in line["to"] or line["event"] == "ended":
        return None
    at = datetime.datetime.fromisoformat(line["at"])
    chance, delay, how = draw(options.seed, line)
    if chance * 100 >= (options.by_night if is_night(at, options.night) else options.by_day):
        return None
    minutes = options.after[0] + int(delay * (options.after[1] - options.after[0] + 1))
    when = (at + datetime.timedelta(minutes=minutes)).isoformat(sep=" ", timespec="seconds")
    side = next((side for side, conditions in SIDES.items() if line["condition"] in conditions), None)
    return (when, "treated", side) if side and how * 100 < options.treated else (when, "seen", "")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("lines", nargs="?", type=argparse.FileType(), default=sys.stdin, help="lines of replay --json")
    parser.add_argument("--seed", default="1")
    parser.add_argument("--by-day", type=float, default=80, help="percent of rings that are answered")
    parser.add_argument("--by-night", type=float, default=54)
    parser.add_argument("--night", default="23:00-07:00", help="as wearer.night, by the clock of the lines")
    parser.add_argument("--after", type=int, nargs=2, default=(1, 10), metavar="MINUTES", help="first and last")
    parser.add_argument("--treated", type=float, default=50, help="percent of answers to a high or a low")
    options = parser.parse_args()
    drawn = [answer(json.loads(line), options) for line in options.lines]
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(["time", "kind", "amount"])
    out.writerows(sorted({one for one in drawn if one}))


if __name__ == "__main__":
    main()
