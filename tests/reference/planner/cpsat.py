"""The planning problem as a CP-SAT model: prints the proven best loss of a problem file.

Usage: cpsat.py PROBLEM.json [SECONDS [--any]]   ->   {"loss": 1234, "proven": true}

With --any it is no failure to find no plan in that time: the loss is null then.

A second statement of the planner's rules (the whole format), for small problems only.
Needs the package ortools. Times are minutes; the loss is rate x minutes.
"""

import itertools
import json
import sys

from ortools.sat.python import cp_model


class Stage:
    """A stage that may be sprayed: its cells as literals, and its place in the line of each."""

    def __init__(self, operation, present, begin, start, end):
        self.operation, self.present = operation, present
        self.begin, self.start, self.end = begin, start, end
        self.in_cell = {}
        self.grams = {}  # by lot
        self.period = None


class Spot:
    """Where and when an operation is, if it is done."""

    def __init__(self, begin, start, stage, draws):
        self.begin, self.start, self.stage = begin, start, stage
        self.draws = draws  # for each, [(whether it is taken from, of what)]


class Model:
    def __init__(self, problem):
        self.problem = problem
        self.horizon = problem["horizon"]
        self.m = cp_model.CpModel()
        self.periods = self.attended_periods()
        self.crew = []  # (interval, people)
        self.at_station = {station["id"]: [] for station in problem["stations"]}
        self.in_batch = {station["id"]: [] for station in problem["stations"] if station.get("batch")}  # (present, start, end, kind)
        self.loads = {limit["id"]: [] for limit in problem.get("limits", [])}  # (interval, amount)
        self.draws = {store["id"]: [] for store in problem["stores"]}  # (present, start, amount, floor)
        self.stages = []
        self.debts = []  # present * debt
        self.left_out = {}  # by job
        self.chosen = {}  # by job and option
        self.spots = {}  # by job and option, in the order of its operations
        self.finish = {job["id"]: self.job(job) for job in problem["jobs"]}
        self.cells()
        self.stations()
        self.batches()
        self.people()
        self.limits()
        self.lots()
        self.stores()
        self.total = self.loss()
        self.m.minimize(self.total)

    def attended_periods(self):
        periods = []
        for window in self.problem["windows"]:
            if periods and periods[-1][1] == window["from"]:
                periods[-1] = (periods[-1][0], window["to"])
            else:
                periods.append((window["from"], window["to"]))
        return periods

    def minute(self, name, most=None):
        return self.m.new_int_var(0, self.horizon if most is None else most, name)

    def job(self, job):
        """Chooses an option or leaves the job out; returns when it is finished."""
        finish = self.minute(f"{job['id']} finish")
        left_out = self.left_out[job["id"]] = self.m.new_bool_var(f"{job['id']} left out")
        self.m.add(finish == self.horizon).only_enforce_if(left_out)
        chosen = [left_out]
        for option in job["options"]:
            key = (job["id"], option["id"])
            present = self.chosen[key] = self.m.new_bool_var(f"{job['id']} by {option['id']}")
            self.spots[key] = []
            ready = max(job["release"], option["earliest"])
            if ready > self.horizon:
                self.m.add(present == 0)
                ready = self.horizon
            begins, ends = [], []
            for number, operation in enumerate(option["operations"]):
                spot, ready = self.operation(f"{job['id']} {option['id']} {number}", operation, present, ready)
                self.spots[key].append(spot)
                begins.append(spot.begin)
                ends.append(ready)
            self.hold(option["operations"], present, begins, ends)
            self.m.add(finish == ready).only_enforce_if(present)
            self.debts.append(present * option.get("debt", 0))
            chosen.append(present)
        self.m.add_exactly_one(chosen)
        return finish

    def operation(self, name, operation, present, ready):
        on_duty = [(window["from"], window["to"] - 1) for window in self.problem["windows"]]
        if not on_duty:
            self.m.add(present == 0)
            on_duty = [(0, 0)]
        start = self.m.new_int_var_from_domain(cp_model.Domain.from_intervals(on_duty), f"{name} start")
        end = self.minute(f"{name} end", self.horizon + operation["minutes"])
        self.m.add(end == start + operation["minutes"])
        self.m.add(end <= self.horizon).only_enforce_if(present)
        self.m.add(start >= ready + operation["after"]).only_enforce_if(present)
        if "within" in operation:
            self.m.add(start <= ready + operation["within"]).only_enforce_if(present)
        begin, stage = start, None
        if "powder" in operation:
            begin = self.minute(f"{name} set-up from")
            self.m.add(begin <= start)
            stage = Stage(operation, present, begin, start, end)
            self.stages.append(stage)
        length = self.minute(f"{name} held", self.horizon + operation["minutes"])
        held = self.m.new_optional_interval_var(begin, length, end, present, f"{name} held")
        if operation["crew"]:
            self.crew.append((held, operation["crew"]))
        if operation.get("station") is not None:
            self.at_station[operation["station"]].append(held)
        if operation.get("station") in self.in_batch:
            kind = (operation.get("cycle"), operation["minutes"])
            self.in_batch[operation["station"]].append((present, start, end, kind))
        draws = [self.choices(draw, present) for draw in operation["draws"]]
        for taken, of in itertools.chain.from_iterable(draws):
            self.draws[of["store"]].append((taken, start, of["amount"], of["floor"]))
        return Spot(begin, start, stage, draws), end

    def hold(self, operations, present, begins, ends):
        """What the operations of an option hold of limits, each load to the end of the operation it names."""
        for number, operation in enumerate(operations):
            for load in operation.get("loads", []):
                begin, end = begins[number], ends[load.get("through", number)]
                length = self.m.new_int_var(0, 2 * self.horizon + operation["minutes"], "load lasts")
                held = self.m.new_optional_interval_var(begin, length, end, present, "load")
                self.loads[load["limit"]].append((held, load["amount"]))

    def choices(self, draw, present):
        """What a draw may take, each with whether it does: one of 'any_of' if the operation is done at all."""
        if "any_of" not in draw:
            return [(present, draw)]
        choices = [(self.m.new_bool_var(f"from {of['store']}"), of) for of in draw["any_of"]]
        self.m.add(sum(taken for taken, _ in choices) == present)
        return choices

    def cells(self):
        for number, stage in enumerate(self.stages):
            stage.period = self.m.new_int_var(0, max(len(self.periods) - 1, 0), f"period of {number}")
            for k, (first, last) in enumerate(self.periods):
                here = self.m.new_bool_var(f"{number} in period {k}")
                self.m.add(stage.period == k).only_enforce_if(here)
                self.m.add(stage.period != k).only_enforce_if(here.negated())
                self.m.add(stage.begin >= first).only_enforce_if(here, stage.present)
                self.m.add(stage.end <= last).only_enforce_if(here, stage.present)
            for cell in stage.operation["cells"]:
                stage.in_cell[cell] = self.m.new_bool_var(f"{number} in {cell}")
            self.m.add(sum(stage.in_cell.values()) == stage.present)
        for cell in self.problem["cells"]:
            self.line(cell, [stage for stage in self.stages if cell["id"] in stage.in_cell])

    def line(self, cell, stages):
        """The stages of a cell one behind the other, as a circuit through a node 0 that stands for 'none'."""
        blocked = [self.m.new_fixed_size_interval_var(a, b - a, "closed") for a, b in cell.get("closed", [])]
        arcs = [(0, 0, self.m.new_bool_var("cell not used"))]
        for j, stage in enumerate(stages, start=1):
            here = stage.in_cell[cell["id"]]
            arcs.append((j, j, here.negated()))
            size = self.minute("cell held", self.horizon + stage.operation["minutes"])
            busy = self.m.new_optional_interval_var(stage.begin, size, stage.end, here, "in cell")
            for closure in blocked:
                self.m.add_no_overlap([busy, closure])
            powder = stage.operation["powder"]
            first = self.m.new_bool_var("first in cell")
            arcs.append((0, j, first))
            self.m.add(stage.begin >= cell["free_from"]).only_enforce_if(first)
            needed = self.set_up(cell, cell["powder"], powder) + cell["warm_up"]
            self.m.add(stage.start - stage.begin >= needed).only_enforce_if(first)
            arcs.append((j, 0, self.m.new_bool_var("last in cell")))
            for i, before in enumerate(stages, start=1):
                if i == j:
                    continue
                follows = self.m.new_bool_var("follows")
                arcs.append((i, j, follows))
                self.m.add(stage.begin >= before.end).only_enforce_if(follows)
                warm = self.m.new_bool_var("still warm")
                self.m.add(stage.period == before.period).only_enforce_if(warm)
                needed = self.set_up(cell, before.operation["powder"], powder)
                cold = cell["warm_up"] * warm.negated()
                self.m.add(stage.start - stage.begin >= needed + cold).only_enforce_if(follows)
        self.m.add_circuit(arcs)

    @staticmethod
    def set_up(cell, before, powder):
        if before is None or before == powder:
            return cell["same_powder"]
        return cell["changeover"].get(before, {}).get(powder, cell["default_changeover"])

    def stations(self):
        for station in self.problem["stations"]:
            self.share(station["slots"], [(held, 1) for held in self.at_station[station["id"]]], station.get("closed", []))

    def batches(self):
        """Of two steps at a batch station one goes before the other, or they start together and are alike."""
        for steps in self.in_batch.values():
            for (one, start, end, kind), (other, other_start, other_end, other_kind) in itertools.combinations(steps, 2):
                before, behind, together = (self.m.new_bool_var(name) for name in ("before", "behind", "together"))
                self.m.add(end <= other_start).only_enforce_if(before)
                self.m.add(other_end <= start).only_enforce_if(behind)
                self.m.add(start == other_start).only_enforce_if(together)
                if kind != other_kind:
                    self.m.add(together == 0)
                self.m.add_bool_or(before, behind, together, one.negated(), other.negated())

    def people(self):
        """Everybody at work, less those who are not on duty."""
        most = max((window["crew"] for window in self.problem["windows"]), default=0)
        missing = [(window["from"], window["to"], most - window["crew"]) for window in self.problem["windows"]]
        edges = [0] + [edge for window in self.problem["windows"] for edge in (window["from"], window["to"])]
        edges.append(2 * self.horizon + 1)
        missing += [(a, b, most) for a, b in zip(edges[0::2], edges[1::2])]
        self.share(most, self.crew, missing)

    def limits(self):
        """What is held, less what a window with a smaller capacity takes away from the largest."""
        for limit in self.problem.get("limits", []):
            windows = sorted(limit.get("windows", []))
            most = max([limit["capacity"]] + [capacity for _, _, capacity in windows])
            missing, clock = [], 0
            for a, b, capacity in windows + [[2 * self.horizon, 2 * self.horizon, most]]:
                missing += [(clock, a, most - limit["capacity"]), (a, b, most - capacity)]
                clock = b
            self.share(most, self.loads[limit["id"]], [(a, b, n) for a, b, n in missing if a < b])

    def share(self, capacity, held, taken):
        """At no minute more is held than the capacity less what is taken; below nothing there is nothing."""
        edges = sorted({edge for a, b, _ in taken for edge in (a, b)})
        intervals, demands = [interval for interval, _ in held], [demand for _, demand in held]
        for a, b in zip(edges, edges[1:]):
            fewer = min(capacity, sum(n for x, y, n in taken if x <= a < y))
            if fewer:
                intervals.append(self.m.new_fixed_size_interval_var(a, b - a, "taken"))
                demands.append(fewer)
        self.m.add_cumulative(intervals, demands, capacity)

    def lots(self):
        drawn = {lot["id"]: [] for lot in self.problem["lots"]}
        for stage in self.stages:
            operation = stage.operation
            grams, used = [], []
            for lot in self.problem["lots"]:
                if lot["powder"] != operation["powder"]:
                    continue
                amount = stage.grams[lot["id"]] = self.m.new_int_var(0, operation["grams"], "grams")
                takes = self.m.new_bool_var("takes")
                self.m.add(amount == 0).only_enforce_if(takes.negated())
                self.m.add(stage.start >= lot["from"]).only_enforce_if(takes)
                self.m.add(stage.end <= lot["until"]).only_enforce_if(takes)
                drawn[lot["id"]].append(amount)
                grams.append(amount)
                used.append(takes)
            self.m.add(sum(grams) == operation["grams"] * stage.present)
            if operation["one_lot"]:
                self.m.add_at_most_one(used)
        for lot in self.problem["lots"]:
            self.m.add(sum(drawn[lot["id"]]) <= lot["grams"])

    def stores(self):
        for store in self.problem["stores"]:
            draws = self.draws[store["id"]]
            for i, (present, start, amount, floor) in enumerate(draws):
                left = store["level"] - amount
                for minute, coming in store["arrivals"]:
                    come = self.m.new_bool_var("come")
                    self.m.add(start >= minute).only_enforce_if(come)
                    left += coming * come
                for j, (other, at, taken, _) in enumerate(draws):
                    if j != i:
                        counts = self.m.new_bool_var("drawn by then")
                        self.m.add(at > start).only_enforce_if(counts.negated(), other, present)
                        left -= taken * counts
                self.m.add(left >= floor).only_enforce_if(present)

    def loss(self):
        back = {}
        for asset in {asset for capability in self.problem["capabilities"] for asset in capability["assets"]}:
            ends = [self.finish[job["id"]] for job in self.problem["jobs"] if job["asset"] == asset]
            known = self.problem.get("assets", {}).get(asset, {})
            if ends:
                back[asset] = self.minute(f"{asset} back")
                self.m.add_max_equality(back[asset], ends)
            else:
                back[asset] = max(0, min(self.horizon, known.get("back", self.horizon)))
        return sum(self.loss_of(capability, back) for capability in self.problem["capabilities"]) + sum(self.debts)

    def loss_of(self, capability, back):
        """Between two minutes at which a machine goes down, machines only come back: there, the time with k
        of them down is the k-th largest of their returns."""
        down_from = {a: self.problem.get("assets", {}).get(a, {}).get("down_from", 0) for a in capability["assets"]}
        first, table = max(0, capability["from"]), capability["loss_per_hour"]
        cuts = sorted({first, self.horizon} | {d for d in down_from.values() if first < d < self.horizon})
        total = table[0] * max(0, self.horizon - first)
        for a, b in zip(cuts, cuts[1:]):
            if a >= self.horizon:
                break
            returns = []
            for asset in capability["assets"]:
                if down_from[asset] <= a:
                    late = self.m.new_int_var(a, max(a, self.horizon), "back after the cut")
                    self.m.add_max_equality(late, [back[asset], a])
                    clipped = self.m.new_int_var(a, b, "back within the piece")
                    self.m.add_min_equality(clipped, [late, b])
                    returns.append(clipped)
            for k in range(1, len(returns) + 1):
                kth = self.m.new_int_var(a, b, "k-th largest return")
                for group in itertools.combinations(returns, k):
                    least = self.m.new_int_var(a, b, "first of the group to return")
                    self.m.add_min_equality(least, list(group))
                    self.m.add(kth >= least)
                total += (table[k] - table[k - 1]) * (kth - a)
        return total


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        model = Model(json.load(file))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 120.0
    solver.parameters.num_workers = 2
    status = solver.solve(model.m)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    if not found and "--any" not in sys.argv:
        sys.exit(f"no plan found: {solver.status_name(status)}")
    loss = round(solver.objective_value) if found else None
    print(json.dumps({"loss": loss, "proven": status == cp_model.OPTIMAL}))


if __name__ == "__main__":
    main()
