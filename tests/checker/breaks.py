#!/usr/bin/env python3
"""Is each one-line break of the program found by the judge of the promises?

    python3 tests/checker/breaks.py [--days 2000] [NAME ...]

Works in a copy of the checkout below target/, so that nothing here is changed. A break is found when the counts of some
promise are others than those of the whole program, beyond what the lives differ by: broken half as often again and at
least five times more, or the test itself fails. Prints a row for each break, and ends with 1 if one was not found.
"""

import argparse
import os
import pathlib
import re
import shutil
import subprocess
import sys

TOP = pathlib.Path(__file__).resolve().parents[2]
COPY = TOP / "target" / "breaks"
ROW = re.compile(r"^\|\s*`?([A-Z]\d+(?:\.\w+)?|alive)`?\s*\|(.*)$")
PAIR = re.compile(r"([\d,]+) / ([\d,]+)")


def breaks(names):
    for line in (TOP / "tests/checker/breaks.txt").read_text().splitlines():
        if line and not line.startswith("#"):
            name, file, old, new, promise = (part.strip().replace("\\|", "|") for part in re.split(r"(?<!\\)(?<!\|) \| ", line))
            if not names or name in names:
                yield name, file, old, new, promise


def copied():
    """The checkout as it is; what is built there is kept from break to break."""
    COPY.mkdir(parents=True, exist_ok=True)
    for part in ("src", "tests", "docs", "config"):
        shutil.rmtree(COPY / part, ignore_errors=True)
        shutil.copytree(TOP / part, COPY / part)
    for part in ("Cargo.toml", "Cargo.lock", "README.md", "DEVELOPERS.md"):
        shutil.copy2(TOP / part, COPY / part)


def judged(days):
    """The counts of each promise, and whether the test passed."""
    environment = {**os.environ, "RECHECK_CHECKER": str(days), "CARGO_TARGET_DIR": str(COPY / "target")}
    environment.pop("RECHECK_OPEN_CGM", None)
    test = "checker::the_promises_are_kept_but_for_those_known_to_be_broken"
    command = ["cargo", "test", "--quiet", "--test", "all", test, "--", "--nocapture"]
    done = subprocess.run(command, cwd=COPY, env=environment, capture_output=True, text=True, check=False)
    counts = {}
    for line in done.stderr.splitlines():
        row = ROW.match(line)
        pairs = PAIR.findall(row[2]) if row else []
        if pairs:
            numbers = [[int(number.replace(",", "")) for number in pair] for pair in pairs]
            counts[row[1]] = (sum(pair[0] for pair in numbers), sum(pair[1] for pair in numbers))
    if not counts:
        sys.exit(f"nothing was judged:\n{done.stderr[-2000:]}")
    return counts, done.returncode == 0


def told(whole, broken):
    """Promises whose share of breaks is half as high again, by five breaks or more."""
    found = []
    for promise, (stake, count) in broken.items():
        stake_before, before = whole.get(promise, (0, 0))
        expected = before * stake / stake_before if stake_before else 0
        if count > max(1.5 * expected, expected + 5):
            found.append(f"{promise} {before} of {stake_before} -> {count} of {stake}")
    return found


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--days", type=int, default=2000)
    arguments.add_argument("names", nargs="*")
    wanted = arguments.parse_args()
    copied()
    whole, passed = judged(wanted.days)
    if not passed:
        sys.exit("the whole program does not pass")
    missed = 0
    for name, file, old, new, promise in breaks(wanted.names):
        path = COPY / "src" / file
        text = path.read_text()
        if text.count(old) != 1:
            sys.exit(f"{name}: {file} holds it {text.count(old)} times: {old}")
        path.write_text(text.replace(old, new))
        counts, passed = judged(wanted.days)
        path.write_text(text)
        found = told(whole, counts)
        hidden = promise == "out of sight"
        missed += not found and passed and not hidden
        mark = "found" if found else "found (the test fails)" if not passed else "hidden" if hidden else "NOT FOUND"
        print(f"{mark:22} {name} (meant for {promise}): {'; '.join(found[:4])}", flush=True)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
