#!/usr/bin/env python3
"""generate.py FOLDER [SEEDS]: instances of the same kinds as those of the tests folder, from other seeds."""
import json, random, sys

folder, seeds = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 4


def props(rng, count, span):
    """Props on a line: one to four strings, mostly of common lengths, the last one sometimes a remainder."""
    found = []
    for _ in range(count):
        strings = rng.choices([1, 2, 3, 4], [11, 5, 2, 3])[0]
        size = rng.choices([25, 40, 50, 60, 75, 80, 100, rng.randint(12, 100)], [4, 4, 7, 3, 3, 3, 8, 4])[0]
        sizes = [size] * strings
        if rng.random() < 0.25:
            sizes[-1] = rng.randint(max(10, size // 4), size)
        found.append({"pos": round(rng.uniform(0, span), 1), "s": sizes})
    return found


def display(rng, count, controllers, ports, load):
    """Controllers about ten metres apart; the limit of a port follows from the load that is wanted."""
    span = 10.0 * controllers
    made = props(rng, count, span)
    total = sum(sum(prop["s"]) for prop in made)
    limit = max(100, round(total / (controllers * ports * load) / 10) * 10)
    sites = [{"pos": round(span * (i + 0.5) / controllers + rng.uniform(-3, 3), 1), "P": ports, "L": limit} for i in range(controllers)]
    return {"props": made, "ctl": sites}


def triplets(rng, bins):
    """Falkenauer's triplets: each bin of 1000 is filled exactly by three items between 250 and 500."""
    sizes = []
    for _ in range(bins):
        first = rng.randint(380, 490)
        second = rng.randint(250, (1000 - first) // 2)
        sizes += [first, second, 1000 - first - second]
    return {"C": 1000, "w": sizes}


for seed in range(1, seeds + 1):
    rng = random.Random(seed)
    made = {
        f"a30-{seed}": display(rng, 30, 2, 16, 0.75),
        f"a60-{seed}": display(rng, 60, 4, 16, 0.85),
        f"a150-{seed}": display(rng, 150, 8, 16, 0.78),
        f"a300-{seed}": display(rng, 300, 12, 16, 0.9),
        f"a600-{seed}": display(rng, 600, 24, 16, 0.78),
    }
    for count in (120, 250, 500, 1000):
        made[f"u{count}-{seed}"] = {"C": 150, "w": [rng.randint(20, 100) for _ in range(count)]}
    for bins in (20, 40, 83, 167):
        made[f"t{3 * bins}-{seed}"] = triplets(rng, bins)
    for name, instance in made.items():
        with open(f"{folder}/{name}.json", "w") as out:
            json.dump(instance, out)
