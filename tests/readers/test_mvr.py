"""The MVR, opened by pymvr, has every string and fixture of the table at its address."""

import uuid

import pymvr

from common import EXAMPLES, HOSTILE, SCRATCH, table, tinsel


def fixtures(display):
    path = SCRATCH / "scene.mvr"
    tinsel("table", display, "-o", path)
    with pymvr.GeneralSceneDescription(str(path)) as scene:
        assert (scene.version_major, scene.version_minor, scene.provider) == ("1", "6", "tinsel")
        return [(layer.name, fixture) for layer in scene.scene.layers for fixture in layer.child_list.fixtures]


def test_every_row():
    for display in [*EXAMPLES, HOSTILE]:
        rows = table(display)["strings"]
        found = fixtures(display)
        assert len(found) == len(rows)
        seen = set()
        for (layer, fixture), row in zip(found, rows):
            assert (layer, fixture.name) == (row["controller"], row["name"])
            [address] = fixture.addresses.addresses
            start = row["start"]
            assert (address.universe, address.address) == (start["universe"], start["slot"]), row
            assert str(uuid.UUID(fixture.uuid)) == fixture.uuid
            seen.add(fixture.uuid)
        assert len(seen) == len(rows)
        by_name = {fixture.name: fixture.uuid for _, fixture in found}
        for (_, fixture), row in zip(found, rows):
            assert fixture.multipatch == (by_name[row["same_as"]] if row["same_as"] else None)


def test_where_it_stands():
    [star] = [fixture for _, fixture in fixtures(HOSTILE) if fixture.name == "star"]
    assert [float(value) for value in star.matrix.matrix[3][:3]] == [1500, -2000, 0]


def test_identity_stays():
    """Something new before it changes no identity, and the same display gives the same bytes."""
    text = HOSTILE.read_text()
    wider = SCRATCH / "wider.tinsel"
    wider.write_text(text.replace("prop owl ", "prop new { node bud; string 5 nodes }\nprop owl ").replace("owl ->", "new -> owl ->"))
    before = {fixture.name: fixture.uuid for _, fixture in fixtures(HOSTILE)}
    after = {fixture.name: fixture.uuid for _, fixture in fixtures(wider)}
    assert before.items() <= after.items() and len(after) == len(before) + 1
    assert tinsel("table", HOSTILE, "--format", "mvr") == tinsel("table", HOSTILE, "--format", "mvr")
