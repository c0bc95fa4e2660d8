"""Imports run cli -> edges -> core; the command starts without the heavy packages."""

import subprocess
import sys

import pytest

CORE = [
    "patchrisk.ahead.course",
    "patchrisk.ahead.look",
    "patchrisk.ahead.paths",
    "patchrisk.ahead.traces",
    "patchrisk.backtest.cases",
    "patchrisk.backtest.engine",
    "patchrisk.backtest.skill",
    "patchrisk.backtest.sweep",
    "patchrisk.backtest.trend",
    "patchrisk.counters",
    "patchrisk.expression",
    "patchrisk.infection",
    "patchrisk.outlook",
    "patchrisk.pressure",
    "patchrisk.programme.area",
    "patchrisk.programme.cover",
    "patchrisk.programme.plan",
    "patchrisk.seasons",
    "patchrisk.soil.air_to_soil",
    "patchrisk.soil.conduction",
    "patchrisk.soil.join",
    "patchrisk.soil.stores",
    "patchrisk.tally",
    "patchrisk.units",
    "patchrisk.windows",
]
EDGE_PACKAGES = {"click", "requests", "requests_cache", "meteostat", "matplotlib", "pydantic"}
HEAVY = {"pandas", "numpy", "scipy", "matplotlib", "meteostat", "requests", "pydantic", "jinja2"}


def loaded_after(statement):
    code = f"import sys\n{statement}\nprint(*sorted({{m.split('.')[0] for m in sys.modules}}))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(run.stdout.split())


@pytest.mark.parametrize("module", CORE)
def test_the_core_knows_no_edge(module):
    assert not loaded_after(f"import {module}") & EDGE_PACKAGES


def test_help_loads_no_heavy_package():
    statement = "from patchrisk.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass"
    loaded = loaded_after(
        "import io, contextlib\nwith contextlib.redirect_stdout(io.StringIO()):\n"
        + "\n".join("    " + line for line in statement.splitlines())
    )
    assert "click" in loaded
    assert not loaded & HEAVY
