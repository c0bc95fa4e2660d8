"""Imports run cli -> edges -> core -> base; the command starts without the heavy packages."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import patchrisk

ROOT = Path(patchrisk.__file__).parent

# From the ground up; a module may import from its own layer and from those below it. A name
# stands for a module, or a package with all in it unless a longer name places it.
LAYERS = {
    "base": "base",
    "core": "core",
    "files": "read",
    "site": "site_day",
    "told": "report study",
    "cli": "__main__ cli",
}
LAYER = {name: n for n, names in enumerate(LAYERS.values()) for name in names.split()}

EDGE_PACKAGES = {"click", "requests", "requests_cache", "meteostat", "matplotlib", "pydantic"}
HEAVY = {"pandas", "numpy", "scipy", "matplotlib", "meteostat", "requests", "pydantic", "jinja2"}


def modules():
    """Every module's dotted name below the package, and its file."""
    found = {}
    for path in ROOT.rglob("*.py"):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    del found[""]
    return found


def layer_of(name):
    """Layer of a module, by the longest name that holds it."""
    parts = name.split(".")
    held = (".".join(parts[:n]) for n in range(len(parts), 0, -1))
    return next(LAYER[name] for name in held if name in LAYER)


def imported(path, names):
    """Modules of the package that a file names in imports, anywhere but for type checkers."""
    for node in walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("patchrisk."):
            base = node.module.removeprefix("patchrisk.")
            for alias in node.names:
                full = f"{base}.{alias.name}"
                yield full if full in names else base
        elif isinstance(node, ast.ImportFrom) and node.module == "patchrisk":
            yield from (alias.name for alias in node.names if alias.name in names)
        elif isinstance(node, ast.Import):
            dotted = (alias.name.removeprefix("patchrisk.") for alias in node.names)
            yield from (name for name in dotted if name in names)


def walk(node):
    """All nodes below one, but for what stands under ``if TYPE_CHECKING``."""
    for child in ast.iter_child_nodes(node):
        test = getattr(child, "test", None)
        if isinstance(child, ast.If) and isinstance(test, ast.Name) and test.id == "TYPE_CHECKING":
            continue
        yield child
        yield from walk(child)


def test_every_module_has_a_layer_and_every_layer_its_modules():
    names = modules()
    assert all(any(name == n or name.startswith(f"{n}.") for n in LAYER) for name in names)
    assert set(LAYER) <= set(names)


@pytest.mark.parametrize("name", sorted(modules()))
def test_imports_run_downwards(name):
    names = modules()
    above = [i for i in imported(names[name], names) if layer_of(i) > layer_of(name)]
    assert not above


def loaded_after(statement):
    code = f"import sys\n{statement}\nprint(*sorted({{m.split('.')[0] for m in sys.modules}}))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(run.stdout.split())


def test_the_core_loads_no_package_of_the_edges():
    core = sorted(name for name in modules() if layer_of(name) <= 1)
    assert "core.rules.windows" in core
    loaded = loaded_after("\n".join(f"import patchrisk.{name}" for name in core))
    assert "numpy" in loaded
    assert not loaded & EDGE_PACKAGES


def test_help_loads_no_heavy_package():
    statement = "from patchrisk.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass"
    loaded = loaded_after(
        "import io, contextlib\nwith contextlib.redirect_stdout(io.StringIO()):\n"
        + "\n".join("    " + line for line in statement.splitlines())
    )
    assert "click" in loaded
    assert not loaded & HEAVY
