"""What a person gets who installs the wheel: library, rule data and demo data, and no more."""

import os
import re
import subprocess
import sys
import tomllib
import venv
import zipfile
from importlib.metadata import Distribution, distribution, distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
PAPERS = f"gradekit-{PROJECT['version']}.dist-info"
INSTALLED_AS = {
    "gradekit": "gradekit",
    "grading_rules": "grading_rules",
    "demo_data": "gradekit/demo_data",
}


def run(*command: str | Path, cwd: Path = ROOT) -> str:
    env = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    done = subprocess.run(command, cwd=cwd, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{command} ended with {done.returncode}:\n{done.stderr}"
    return done.stdout


def source_files() -> set[str]:
    """Every file under the shipped folders, named as the wheel should name it."""
    return {
        f"{target}/{path.relative_to(ROOT / folder).as_posix()}"
        for folder, target in INSTALLED_AS.items()
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def needed_by(requirements: list[str]) -> set[str]:
    """The distributions that these requirements bring, without anybody's extras."""
    found: set[str] = set()
    todo = [Requirement(text) for text in requirements]
    while todo:
        wanted = todo.pop()
        name = canonicalize_name(wanted.name)
        if name in found or (wanted.marker and not wanted.marker.evaluate({"extra": ""})):
            continue
        found.add(name)
        todo += map(Requirement, distribution(name).requires or [])
    return found


def link(installed: Distribution, site: Path) -> None:
    """Lend one installed distribution to another environment."""
    for name in {path.parts[0] for path in installed.files or []} - {"..", "__pycache__"}:
        (site / name).symlink_to(Path(str(installed.locate_file(name))))


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", folder)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def command(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The installed `gradekit`, in an environment that has what it declares and nothing else."""
    home = tmp_path_factory.mktemp("installed")
    venv.create(home, with_pip=False)
    python = home / "bin" / "python"
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", str(python)]
    run(*pip, "install", "--quiet", "--no-deps", "--no-index", wheel)
    (site,) = home.glob("lib/python*/site-packages")
    (ours,) = distributions(path=[str(site)])
    for name in needed_by(ours.requires or []):
        link(distribution(name), site)
    return home / "bin" / "gradekit"


def test_the_wheel_holds_the_shipped_folders_and_its_own_papers_only(wheel: Path) -> None:
    """A wheel installs every file of the shipped folders, and no service, test or stray file."""
    names = set(zipfile.ZipFile(wheel).namelist())
    assert {name for name in names if not name.startswith(f"{PAPERS}/")} == source_files()


def test_the_wheel_says_that_it_is_typed_and_under_which_licence(wheel: Path) -> None:
    """The marker for type checkers and the licence travel with the library."""
    names = zipfile.ZipFile(wheel).namelist()
    assert "gradekit/py.typed" in names
    assert f"{PAPERS}/licenses/LICENSE" in names


def test_the_command_reads_its_own_rules_wherever_it_is_run(command: Path, tmp_path: Path) -> None:
    """A `grading_rules` package in the working folder never stands in for the shipped one."""
    for name in ("grading_rules", "gradekit"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text("raise RuntimeError('not the shipped one')\n")
    shipped = {path.stem for path in (ROOT / "grading_rules" / "kinds").glob("*.toml")}
    assert shipped
    assert shipped <= set(re.findall(r"\w+", run(command, "kinds", cwd=tmp_path)))


def test_the_demo_needs_nothing_but_the_wheel(command: Path, tmp_path: Path) -> None:
    """Who installed the wheel can see the whole job without a checkout of the project."""
    run(command, "demo", "--out", "shown", cwd=tmp_path)
    assert any(path.stat().st_size for path in (tmp_path / "shown").rglob("*") if path.is_file())


def test_the_lock_pins_whatever_the_project_declares() -> None:
    """Each declared dependency is in the lock at a version that its bound allows."""
    lock = (ROOT / "requirements.lock").read_text("utf-8")
    pins = dict(re.findall(r"^([a-z0-9-]+)==([^ ;]+)", lock, re.MULTILINE))
    extras = PROJECT["optional-dependencies"]
    declared = PROJECT["dependencies"] + extras["dev"] + extras["api"] + extras["postgres"]
    for wanted in map(Requirement, declared):
        assert wanted.specifier.contains(pins[canonicalize_name(wanted.name)]), wanted


def test_the_lock_belongs_to_no_machine_and_every_pin_has_its_hashes() -> None:
    """The lock names no address and no folder, and pip can check all that it brings."""
    lock = (ROOT / "requirements.lock").read_text("utf-8")
    assert "://" not in lock
    assert "--find-links" not in lock
    pins = re.split(r"^(?=[a-z0-9-]+==)", lock, flags=re.MULTILINE)[1:]
    assert pins
    assert all("--hash=sha256:" in pin for pin in pins)
