"""What every reader needs: the program, the examples, a scratch folder."""

import json
import os
import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TINSEL = os.environ.get("TINSEL", str(ROOT / "target" / "debug" / "tinsel"))
EXAMPLES = [
    ROOT / "examples" / name
    for name in ("first/porch.tinsel", "middle/yard.tinsel", "walk/brook.tinsel", "veteran/yard.tinsel")
]
SCRATCH = Path(tempfile.mkdtemp(prefix="tinsel-readers-"))


def tinsel(*arguments, status=0):
    """Runs the program and returns the bytes of its standard output."""
    done = subprocess.run([TINSEL, *map(str, arguments)], capture_output=True)
    assert done.returncode == status, (arguments, done.returncode, done.stderr.decode())
    return done.stdout


def table(display):
    """All tables of a display."""
    return json.loads(tinsel("table", display, "--format", "json"))


# Cells that a spreadsheet might run, as a display may well hold them.
HOSTILE = ROOT / "tests" / "readers" / "hostile.tinsel"
