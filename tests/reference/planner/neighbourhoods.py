"""Whether a plan gets better by planning a few of its jobs anew, all others held as they are.

Usage: neighbourhoods.py PROBLEM.json PLAN.json [FREE TRIES SECONDS]
  ->   {"tries": 20, "gains": [1200], "undecided": 1}

Every other try frees jobs that begin one after the other, the rest any jobs. Each is asked for a gain, and
has so many seconds; one that neither finds a gain nor proves that there is none is undecided.
Needs the package ortools.
"""

import json
import random
import sys

from ortools.sat.python import cp_model

from cpsat import Model


class Held:
    """The model with each job held to a plan as long as the job's literal says so."""

    def __init__(self, problem, plan):
        self.model, self.loss = Model(problem), plan["loss"]
        self.m = self.model.m
        self.hold = {job["id"]: self.m.new_bool_var(f"{job['id']} held") for job in problem["jobs"]}
        self.gain = self.m.new_bool_var("a gain is asked for")
        self.m.add(self.model.total <= self.loss - 1).only_enforce_if(self.gain)
        for job in plan["left_out"]:
            self.pin(job, self.model.left_out[job], 1)
        for job in plan["jobs"]:
            key = (job["id"], job["option"])
            self.pin(job["id"], self.model.chosen[key], 1)
            for spot, planned in zip(self.model.spots[key], job["operations"], strict=True):
                self.spot(job["id"], spot, planned)

    def pin(self, job, variable, value):
        self.m.add(variable == value).only_enforce_if(self.hold[job])

    def spot(self, job, spot, planned):
        self.pin(job, spot.start, planned["start"])
        if spot.stage is not None:
            self.pin(job, spot.begin, planned["setup_from"])
            self.pin(job, spot.stage.in_cell[planned["cell"]], 1)
            drawn = {draw["lot"]: draw["grams"] for draw in planned["lots"]}
            for lot, grams in spot.stage.grams.items():
                self.pin(job, grams, drawn.get(lot, 0))
        for choices, store in zip(spot.draws, planned.get("from", [])):
            for taken, of in choices:
                if store is not None:
                    self.pin(job, taken, int(of["store"] == store))

    def solve(self, free, gain, seconds):
        for job, held in self.hold.items():
            self.fix(held, job not in free)
        self.fix(self.gain, gain)
        solver = cp_model.CpSolver()
        solver.parameters.max_time_in_seconds = seconds
        solver.parameters.num_workers = 2
        solver.parameters.random_seed = 1
        return solver.solve(self.m), solver

    def fix(self, literal, value):
        domain = self.m.proto.variables[literal.index].domain
        domain.clear()
        domain.extend([int(value), int(value)])


def neighbourhoods(plan, free, tries):
    """Sets of jobs, always the same for a plan."""
    dice = random.Random(1)
    begins = {job["id"]: min((it.get("setup_from", it["start"]) for it in job["operations"]), default=0) for job in plan["jobs"]}
    in_time = sorted(begins, key=begins.get) + plan["left_out"]
    free = min(free, len(in_time))
    for number in range(tries):
        if number % 2:
            yield set(dice.sample(in_time, free))
        else:
            first = dice.randint(0, len(in_time) - free)
            yield set(in_time[first:first + free])


def main():
    problem, plan = (json.load(open(path, encoding="utf-8")) for path in sys.argv[1:3])
    free, tries, seconds = (int(given) for given in (sys.argv[3:6] or [6, 20, 5]))
    held = Held(problem, plan)
    status, solver = held.solve(set(), False, 60.0)
    if status != cp_model.OPTIMAL or round(solver.objective_value) != plan["loss"]:
        sys.exit(f"the plan as it is: {solver.status_name(status)}, and its loss is {plan['loss']}")
    answer = {"tries": 0, "gains": [], "undecided": 0}
    for freed in neighbourhoods(plan, free, tries):
        status, solver = held.solve(freed, True, float(seconds))
        answer["tries"] += 1
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            answer["gains"].append(plan["loss"] - round(solver.objective_value))
        elif status != cp_model.INFEASIBLE:
            answer["undecided"] += 1
    print(json.dumps(answer))


if __name__ == "__main__":
    main()
