"""The shape of the project: one flow, flat modules, and a map that tells the truth."""

import ast
import re
from pathlib import Path

import pytest

from gradekit.rulebook import load_rulebook

ROOT = Path(__file__).parent.parent
LIBRARY = ROOT / "gradekit"
MODULES = sorted(p.stem for p in LIBRARY.glob("*.py") if p.stem != "__init__")


def flow() -> list[str]:
    """The modules in the order of the map in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    return re.findall(r"^    (\w+)\.py ", text, re.MULTILINE)


def imported(module: str) -> set[str]:
    """The library's modules that a module imports anywhere in its text."""
    tree = ast.parse((LIBRARY / f"{module}.py").read_text("utf-8"))
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            if node.module == "gradekit":
                names |= {alias.name for alias in node.names}
            elif node.module.startswith("gradekit."):
                names.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            names |= {a.name.split(".")[1] for a in node.names if a.name.startswith("gradekit.")}
    return names


def test_the_map_names_every_module_once() -> None:
    """DEVELOPERS.md lists exactly the modules there are."""
    assert sorted(flow()) == MODULES


@pytest.mark.parametrize("module", MODULES)
def test_imports_point_only_backwards(module: str) -> None:
    """A module imports only modules that stand before it in the flow."""
    order = flow()
    later = order[order.index(module) :]
    assert not imported(module) & set(later)


@pytest.mark.parametrize("module", MODULES)
def test_no_module_knows_a_kind_by_name(module: str) -> None:
    """A new kind needs no Python, so no Python may name one."""
    text = (LIBRARY / f"{module}.py").read_text("utf-8")
    for kind in load_rulebook().kind_files:
        assert not re.search(rf"\b{kind}s?\b", text), kind


def test_every_folder_of_the_map_is_there() -> None:
    """Each folder that the map shows exists, and each top-level folder is shown."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    shown = set(re.findall(r"^(\w+)/", text, re.MULTILINE))
    there = {p.name for p in ROOT.iterdir() if p.is_dir() and not p.name.startswith(".")}
    assert shown <= there
    made = {"build", "dist", "demo_out"}
    assert there - made - {p.name for p in ROOT.glob("*.egg-info")} <= shown
