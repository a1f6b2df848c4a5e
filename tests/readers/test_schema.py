"""Every example's JSON against the published schema, which also sees what is wrong."""

import copy
import json

import jsonschema

from common import EXAMPLES, HOSTILE, table, tinsel


def test_tables():
    schema = json.loads(tinsel("schema"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for display in [*EXAMPLES, HOSTILE]:
        tables = table(display)
        validator.validate(tables)
        for part, rows in tables.items():
            for row in rows[:1] if isinstance(rows, list) else [rows]:
                for key in row:
                    broken = copy.deepcopy(tables)
                    del (broken[part][0] if isinstance(rows, list) else broken[part])[key]
                    assert not validator.is_valid(broken), (part, key)
        broken = copy.deepcopy(tables)
        broken["strings"][0]["port"] = 3
        assert not validator.is_valid(broken)


def test_every_key_is_told():
    """The schema has a place for each key that the tables have."""
    schema = json.loads(tinsel("schema"))

    def properties(at):
        while "$ref" in at:
            at = schema["$defs"][at["$ref"].rsplit("/", 1)[1]]
        return at

    for display in [*EXAMPLES, HOSTILE]:
        for part, rows in table(display).items():
            at = properties(schema["properties"][part])
            for row in rows if isinstance(rows, list) else [rows]:
                known = properties(at["items"]) if "items" in at else at
                assert set(row) == set(known["properties"]) == set(known["required"]), part


def test_parts():
    schema = json.loads(tinsel("schema", "parts"))
    for display in [*EXAMPLES, HOSTILE]:
        jsonschema.validate(json.loads(tinsel("parts", display, "--format", "json")), schema)


def test_fit_and_power():
    for command, more in [("fit", ["--add", "prop", "star"]), ("fit", []), ("power", []), ("power", ["--suggest"])]:
        schema = json.loads(tinsel("schema", command))
        jsonschema.Draft202012Validator.check_schema(schema)
        for display in [HOSTILE] if "--add" in more else [*EXAMPLES, HOSTILE]:
            said = json.loads(tinsel(command, display, "--format", "json", *more))
            jsonschema.validate(said, schema)
            assert set(said) == set(schema["required"]), command
