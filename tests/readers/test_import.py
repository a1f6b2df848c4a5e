"""A table of a hundred invented props: imported, compiled, exported again, it has the same rows."""

import csv
import io
import random

from common import SCRATCH, table, tinsel

WORDS = ["arch", "star", "reed", "owl", "post", "gable", "hedge", "Moon", "fir", "bell"]


def invented(seed):
    """Rows (name, count, nodes, strings, controller, port) that a display could well have."""
    draw = random.Random(seed)
    free = [(f"shed-{box}", port) for box in range(1, 9) for port in range(1, 49)]
    rows = []
    for number in range(100):
        count, strings = draw.choice([(1, 1), (1, 1), (3, 1), (1, 2), (2, 2), (5, 1)])
        each = draw.randrange(10, 80)
        controller, port = free[0]
        share = draw.random()
        if share < 0.5:  # all on one port
            free.pop(0)
            port = str(port)
        elif share < 0.8:  # a port each
            here = [port for box, port in free if box == controller][: count * strings]
            if len(here) < count * strings:
                here = here[:1]
            free = [spot for spot in free if spot[0] != controller or spot[1] not in here]
            port = f"{here[0]}-{here[-1]}" if len(here) > 1 else str(here[0])
        else:
            free.pop(0)
            port = ""
        rows.append((f"{WORDS[number % 10]}-{number}", count, each * strings, strings, controller, port))
    return rows


def spread(port):
    """The ports of a cell."""
    first, _, last = port.partition("-")
    return [str(one) for one in range(int(first), int(last or first) + 1)] if port else []


def test_a_hundred_props():
    for seed, separator, end in [(1, ",", "\n"), (2, ";", "\r\n"), (3, "\t", "\r\n")]:
        rows = invented(seed)
        path, display = SCRATCH / f"props-{seed}.csv", SCRATCH / f"props-{seed}.tinsel"
        with path.open("w", newline="", encoding="utf-8-sig") as out:
            sheet = csv.writer(out, delimiter=separator, lineterminator=end)
            sheet.writerow(["Prop", "Qty", "Pixels", "Strings", "Controller", "Port"])
            sheet.writerows(rows)
        tinsel("import", path, "-o", display)
        assert tinsel("check", display, "--format", "json", "--all-wired", "-D")
        tables = table(display)
        props = [prop for prop in tables["props"]]
        again = []
        for name, count, nodes, strings, controller, port in rows:
            members = [prop for prop in props if prop["prop"] == name]
            assert len(members) == count
            assert [prop["nodes"] for prop in members] == [nodes] * count
            assert [prop["strings"] for prop in members] == [strings] * count
            placed = [row for row in tables["strings"] if row["prop"] == name]
            placed.sort(key=lambda row: (row["instance"] or 0, row["string"]))
            assert {row["controller"] for row in placed} == {controller}
            ports, found = spread(port), [row["port"] for row in placed]
            if ports:
                share = len(placed) // len(ports)
                assert found == [one for one in ports for _ in range(share)], (name, port, found)
            again.append((name, count, nodes, strings, controller, port))
        assert again == rows
        # The table that comes out goes in again: a row a string, named and placed as it was.
        out = tinsel("table", display, "--format", "csv").decode()
        strings = list(csv.DictReader(io.StringIO(out)))
        twice = SCRATCH / f"again-{seed}.csv"
        with twice.open("w", newline="") as file:
            sheet = csv.writer(file)
            sheet.writerow(["name", "nodes", "controller", "port"])
            sheet.writerows((row["name"], row["nodes"], row["controller"], row["port"]) for row in strings)
        display = SCRATCH / f"again-{seed}.tinsel"
        tinsel("import", twice, "-o", display)
        second = table(display)["strings"]
        assert [(int(row["nodes"]), row["controller"], row["port"], int(row["position"])) for row in strings] == [
            (row["nodes"], row["controller"], row["port"], row["position"]) for row in second
        ]


def test_statuses():
    path = SCRATCH / "odd.csv"
    path.write_text("name,nodes\nowl,fifty\nfox,20\n")
    assert b"prop fox" in tinsel("import", path, status=1)
    path.write_bytes("name,nodes\nSäule,5\n".encode("latin-1"))
    assert "Säule".encode() in tinsel("import", path)
    path.write_text("name,nodes\nowl,50\n")
    display = SCRATCH / "there.tinsel"
    tinsel("import", path, "-o", display)
    tinsel("import", path, "-o", display, status=2)
