#!/usr/bin/env python3
"""Solves the placement and bin-packing instances of this folder again, with OR-Tools CP-SAT from PyPI.

    pip install ortools
    python3 solve_with_ortools.py FILE.json... [--seconds 60] [--workers 2] [--answers FOLDER]

Origin of the instances: a*.json were generated for this project (props on a line, controllers about ten metres apart);
u*.json and t*.json are bin-packing instances made for this project by Falkenauer's published recipes (uniform: sizes 20 to
100 in bins of 150; triplets: three items fill each bin of 1000 exactly). They are not the archived files of these names.

Placement: `props` have a position in metres and the node counts of their strings, `ctl` a position, `P` ports and `L` nodes
a port. All strings of a prop go to one controller. Fewest used ports first; then, with that number held, the least lead:
|prop - controller| to a tenth of a metre, times the prop's strings. Each of the two solves gets the seconds given.

Printed for each file: the best found, the bound that was proven, and OR-Tools' own word for the state of the proof. The
direct model is a weak one above about a hundred props: the port bound from packing the strings alone, which is
solved too, as an arc-flow over node counts, is then the better yardstick.
"""
import argparse
import json
import math
import os
import time
from collections import Counter

from ortools.sat.python import cp_model


def solver(options):
    made = cp_model.CpSolver()
    made.parameters.max_time_in_seconds = options.seconds
    made.parameters.num_workers = options.workers
    made.parameters.random_seed = 1
    return made


def arc_flow(sizes, room, options):
    """Fewest bins for the sizes alone: a flow of bins over fill levels, items in order of falling size."""
    counts = sorted(Counter(sizes).items(), reverse=True)
    model = cp_model.CpModel()
    inflow, outflow = {}, {}
    reached = {0}
    for size, count in counts:
        arcs = []
        level = sorted(reached)
        for start in level:
            end = start
            for _ in range(count):
                if end + size > room:
                    break
                if (end, size) not in outflow.setdefault("seen", set()):
                    outflow["seen"].add((end, size))
                    arc = model.new_int_var(0, count, "")
                    outflow.setdefault(end, []).append(arc)
                    inflow.setdefault(end + size, []).append(arc)
                    arcs.append(arc)
                end += size
                reached.add(end)
        model.add(sum(arcs) == count)
    bins = model.new_int_var(math.ceil(sum(sizes) / room), len(sizes), "bins")
    outflow.pop("seen", None)
    for node in sorted(reached):
        ends = model.new_int_var(0, len(sizes), "")
        into = sum(inflow.get(node, [])) if node else bins
        model.add(into == sum(outflow.get(node, [])) + ends)
    model.minimize(bins)
    run = solver(options)
    status = run.solve(model)
    found = int(run.objective_value) if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None
    return found, math.ceil(run.best_objective_bound - 1e-6), run.status_name(status)


def placement(data, options, least):
    props, sites = data["props"], data["ctl"]
    model = cp_model.CpModel()
    goes = [[model.new_bool_var("") for _ in sites] for _ in props]
    used = [[model.new_bool_var("") for _ in range(site["P"])] for site in sites]
    lead, place = [], {}
    for prop, choice in zip(props, goes):
        model.add_exactly_one(choice)
        for site, chosen in zip(sites, choice):
            lead.append(round(10 * abs(prop["pos"] - site["pos"])) * len(prop["s"]) * chosen)
    for number, site in enumerate(sites):
        loads = [[] for _ in range(site["P"])]
        for index, prop in enumerate(props):
            for string, size in enumerate(prop["s"]):
                spots = [model.new_bool_var("") for _ in range(site["P"])]
                model.add(sum(spots) == goes[index][number])
                for port, spot in enumerate(spots):
                    loads[port].append(size * spot)
                    place[index, string, number, port] = spot
        for port in range(site["P"]):
            model.add(sum(loads[port]) <= site["L"] * used[number][port])
            if port:
                model.add_implication(used[number][port], used[number][port - 1])
    ports = sum(var for site in used for var in site)
    model.add(ports >= least)
    model.minimize(ports)
    run = solver(options)
    status = run.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, run.status_name(status)
    count, bound, first = int(run.objective_value), math.ceil(run.best_objective_bound - 1e-6), run.status_name(status)
    for var in [*(v for row in goes for v in row), *(v for row in used for v in row), *place.values()]:
        model.add_hint(var, run.value(var))
    model.add(ports <= count)
    model.minimize(sum(lead))
    run = solver(options)
    status = run.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return (count, bound, None, None, None), f"ports {first}, lead {run.status_name(status)}"
    controllers = [next(n for n, var in enumerate(choice) if run.value(var)) for choice in goes]
    answer = {
        "ctl": controllers,
        "port": [
            [next(q for q in range(sites[c]["P"]) if run.value(place[i, s, c, q])) for s in range(len(props[i]["s"]))]
            for i, c in enumerate(controllers)
        ],
    }
    result = (count, bound, run.objective_value / 10, run.best_objective_bound / 10, answer)
    return result, f"ports {first}, lead {run.status_name(status)}"


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("files", nargs="+")
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--answers", help="folder for the answers of the placement instances")
    options = parser.parse_args()
    for file in options.files:
        with open(file) as text:
            data = json.load(text)
        name = os.path.splitext(os.path.basename(file))[0]
        start = time.time()
        if "C" in data:
            found, bound, state = arc_flow(data["w"], data["C"], options)
            print(f"{name}: bins {found}, bound {bound}, {state}, {time.time() - start:.1f} s", flush=True)
            continue
        rooms = [site["L"] for site in data["ctl"]]
        sizes = [size for prop in data["props"] for size in prop["s"]]
        alone = arc_flow(sizes, max(rooms), options)
        print(f"{name}: strings alone: ports {alone[0]}, bound {alone[1]}, {alone[2]}, {time.time() - start:.1f} s", flush=True)
        start = time.time()
        result, state = placement(data, options, alone[1])
        if result is None:
            print(f"{name}: nothing found, {state}, {time.time() - start:.1f} s", flush=True)
            continue
        ports, bound, lead, lead_bound, answer = result
        print(f"{name}: ports {ports}, bound {max(bound, alone[1])}, lead {lead} m, bound {lead_bound} m, {state}, {time.time() - start:.1f} s", flush=True)
        if options.answers and answer:
            with open(os.path.join(options.answers, f"{name}.json"), "w") as out:
                json.dump(answer, out)


if __name__ == "__main__":
    main()
