"""The workbook, opened by openpyxl, has the rows of the table, as numbers and as text that nothing runs."""

import csv
import io
import re

import openpyxl

from common import EXAMPLES, HOSTILE, SCRATCH, table, tinsel

BY = {"strings": "string", "ports": "port", "controllers": "controller", "universes": "universe", "props": "prop"}


def run(one):
    """A run of a string as a display writes it."""
    if "skip" in one:
        return f"skip {one['skip']}"
    if "lead_mm" in one:
        return f"lead {one['lead_mm'] / 1000:g} m"
    words = f"{one['nodes']} node{'' if one['nodes'] == 1 else 's'}"
    return f"{one['name']} {words}" if one["name"] else words


def flat(row):
    """A row of the JSON as the columns of a sheet name it."""
    out = dict(row)
    for end in ("start", "end", "first", "last"):
        for key, value in out.pop(end, {}).items():
            out[f"{end}_{key}"] = value
    if "first_address" in out:  # a controller
        span = out["universes"]
        out.update(first_universe=span["first"], last_universe=span["last"], universes=span["count"])
    if "runs" in out:  # a string
        out["built"] = " -> ".join(map(run, out.pop("runs")))
    for key in ("strings", "receivers"):
        if isinstance(out.get(key), list):
            out[key] = " ".join(out[key])
    if "also" in out:  # a universe: who else listens
        out["also"] = " ".join(other["controller"] for other in out["also"])
    for key in ("stored", "contiguous", "one_piece"):
        if key in out:
            out[key] = "yes" if out[key] else "no"
    return out


def test_every_row():
    for display in [*EXAMPLES, HOSTILE]:
        tables = table(display)
        path = SCRATCH / "table.xlsx"
        tinsel("table", display, "-o", path)
        book = openpyxl.load_workbook(path)
        assert book.sheetnames == list(BY)
        for name in BY:
            rows = list(book[name].iter_rows(values_only=True))
            heads, rows = rows[0], rows[1:]
            assert len(set(heads)) == len(heads)
            assert len(rows) == len(tables[name]), (display, name)
            for row, expected in zip(rows, map(flat, tables[name])):
                for head, cell in zip(heads, row):
                    want = expected[head]
                    if head == "built" and cell and name == "strings":  # JSON has the size of a lead elsewhere
                        cell = re.sub(r" of [\d.]+ (AWG|mm2)", "", cell)
                    assert cell == (want if want != "" else None), (display, name, head, cell, want)


def test_same_columns_as_csv():
    path = SCRATCH / "columns.xlsx"
    tinsel("table", EXAMPLES[0], "-o", path)
    book = openpyxl.load_workbook(path)
    for name, by in BY.items():
        text = tinsel("table", EXAMPLES[0], "--by", by, "--format", "csv").decode()
        heads = next(csv.reader(io.StringIO(text)))
        assert [cell.value for cell in book[name][1]] == heads


def test_no_formula():
    path = SCRATCH / "hostile.xlsx"
    tinsel("table", HOSTILE, "-o", path)
    book = openpyxl.load_workbook(path)
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert any(str(cell.value).startswith("=") for cell in cells)
    for cell in cells:
        assert cell.data_type in ("s", "n"), (cell.coordinate, cell.value)
        if isinstance(cell.value, str) and cell.value[0] in "=+-@":
            assert cell.quotePrefix, cell.value
    for by in BY.values():
        text = tinsel("table", HOSTILE, "--by", by, "--format", "csv").decode()
        for row in csv.reader(io.StringIO(text)):
            assert not any(cell[:1] in "=+-@\t\r" and cell for cell in row), row


def test_same_bytes():
    assert tinsel("table", EXAMPLES[3], "--format", "xlsx") == tinsel("table", EXAMPLES[3], "--format", "xlsx")
