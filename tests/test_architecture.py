"""The import rule, no cycles, pure physics, short files. Each check is also shown to fail on a broken tree."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "microclimate"

# higher imports lower; two names on one line never import each other
LINES = [
    {"__main__"},
    {"cli"},
    {"workflow"},
    {"learn"},
    {"actions", "sizing"},
    {"risk"},
    {"exposure", "simulate"},
    {"venue", "weather", "fieldlog", "report"},
    {"schema"},
    {"column"},
    {"units", "dates", "physics"},
    {"constants", "errors", "__init__"},
]
RANK = {room: -rank for rank, rooms in enumerate(LINES) for room in rooms}
PURE = {"physics", "column"}
PURE_MAY_SEE = {"numpy", "scipy", "numba", "llvmlite"}
MAX_LINES = 400


def _room(path: Path, package: Path) -> str:
    return path.relative_to(package).parts[0].removesuffix(".py")


def _imports(tree: ast.AST) -> Iterator[tuple[str, bool]]:
    """Each imported dotted name, and whether it stands inside a function."""
    functions = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)
    inside = {id(node) for f in ast.walk(tree) if isinstance(f, functions) for node in ast.walk(f)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, id(node) in inside) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            dots = "." * node.level
            base = f"{dots}{node.module or ''}"
            if base == "microclimate":
                yield from ((f"microclimate.{alias.name}", id(node) in inside) for alias in node.names)
            else:
                yield base, id(node) in inside


def faults(package: Path) -> list[str]:
    """Everything in a tree that breaks the rule of the house."""
    found: list[str] = []
    for path in sorted(package.rglob("*.py")):
        room, name = _room(path, package), str(path.relative_to(package))
        if room not in RANK:
            found.append(f"{name}: no such room")
            continue
        text = path.read_text(encoding="utf-8")
        if text.count("\n") > MAX_LINES:
            found.append(f"{name}: {text.count(chr(10))} lines")
        for module, inside in _imports(ast.parse(text)):
            if module.startswith("."):
                found.append(f"{name}: relative import {module}")
                continue
            if inside and room != "cli":
                found.append(f"{name}: import of {module} inside a function")
            top, *rest = module.split(".")
            if top == "microclimate" and rest and rest[0] != "__version__":
                if rest[0] not in RANK:
                    found.append(f"{name}: imports unknown room {rest[0]}")
                elif rest[0] != room and RANK[rest[0]] >= RANK[room]:
                    found.append(f"{name}: imports {module}, which is not below it")
            elif room in PURE and top not in PURE_MAY_SEE | {"microclimate"} | sys.stdlib_module_names:
                found.append(f"{name}: imports {top}")
    return found + _cycles(package)


def _cycles(package: Path) -> list[str]:
    """Cycles of modules inside one room (between rooms the rule already forbids them)."""
    modules = {
        ".".join(("microclimate", *p.relative_to(package).with_suffix("").parts)): p for p in package.rglob("*.py")
    }
    graph = {
        name: {m for m, _ in _imports(ast.parse(p.read_text("utf-8"))) if m in modules} for name, p in modules.items()
    }
    done: set[str] = set()
    found: list[str] = []

    def visit(name: str, trail: tuple[str, ...]) -> None:
        if name in trail:
            found.append("cycle: " + " -> ".join((*trail[trail.index(name) :], name)))
            return
        if name in done:
            return
        for other in sorted(graph[name]):
            visit(other, (*trail, name))
        done.add(name)

    for name in sorted(graph):
        visit(name, ())
    return found


def test_the_package_keeps_the_rule() -> None:
    assert faults(PACKAGE) == []


@pytest.mark.parametrize(
    ("path", "text", "fault"),
    [
        ("physics/soil.py", "import xarray\n", "imports xarray"),
        ("physics/soil.py", "import microclimate.venue.site\n", "not below"),
        ("exposure/air.py", "from microclimate.simulate import run\n", "not below"),
        ("report/words.py", "from microclimate import venue\n", "not below"),
        ("venue/site.py", "def f():\n    import numpy\n", "inside a function"),
        ("venue/site.py", "from . import bowl\n", "relative import"),
        ("venue/site.py", "x = 1\n" * 401, "401 lines"),
        ("kitchen/sink.py", "", "no such room"),
    ],
)
def test_a_broken_tree_is_seen(tmp_path: Path, path: str, text: str, fault: str) -> None:
    file = tmp_path / path
    file.parent.mkdir(parents=True)
    file.write_text(text, encoding="utf-8")
    assert any(fault in line for line in faults(tmp_path))


def test_a_cycle_is_seen(tmp_path: Path) -> None:
    (tmp_path / "venue").mkdir()
    (tmp_path / "venue/a.py").write_text("import microclimate.venue.b\n", encoding="utf-8")
    (tmp_path / "venue/b.py").write_text("import microclimate.venue.a\n", encoding="utf-8")
    assert any("cycle" in line for line in faults(tmp_path))


def test_the_top_level_holds_what_it_should() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "microclimate", "tests", "data_demo", "notebooks"}
    seen = {p.name for p in PACKAGE.parent.iterdir() if not p.name.startswith(".") and not p.name.endswith(".egg-info")}
    assert seen - {"build", "dist", "out"} <= allowed
