"""What the README shows is what the program prints."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"```console\n\$ (.*?)\n(.*?)```", README, re.DOTALL)


def test_the_readme_shows_commands() -> None:
    """There is something to check."""
    assert BLOCKS


@pytest.mark.parametrize(("command", "shown"), BLOCKS, ids=[c for c, _ in BLOCKS])
def test_the_readme_shows_true_output(command: str, shown: str) -> None:
    """Each console block, run in a fresh clone, prints what it shows."""
    words = shlex.split(command)
    program = Path(sys.executable).with_name(words[0])
    ran = subprocess.run([program, *words[1:]], cwd=ROOT, capture_output=True, text=True)
    assert ran.stdout + ran.stderr == shown
