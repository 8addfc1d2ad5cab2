"""HANDOVER: the files of a lot, written aside and put under their names only when whole.

It stands between the chunks of a lot and its folder. While a lot is graded its files grow in a
folder of their own, with a note of how far they are; a run that was stopped goes on from that
note. It knows nothing of what it writes.
"""

import hashlib
import os
import shutil
import time
from collections.abc import Iterable
from contextlib import ExitStack
from datetime import date
from pathlib import Path
from typing import BinaryIO, Literal

import msgspec

from gradekit.errors import LotError, Problem
from gradekit.tallies import Tally

ASIDE = ".unfinished"
MANIFEST = "manifest.json"
PAGES = "listings"
NOTE = "note.json"
NOTED_EVERY = 2.0
"""Seconds between two notes of how far the lot is."""


class Note(msgspec.Struct):
    """How far a lot is: chunks done, what they came to, and how long each file was then."""

    key: str
    on: date
    done: int = 0
    lines: int = 0
    tally: Tally = msgspec.field(default_factory=Tally)
    sizes: dict[str, int] = {}


class FileStamp(msgspec.Struct):
    """A file that was handed over."""

    bytes: int
    sha256: str


OWN = ("graded.csv", "rejects.csv", "findings.csv", "units.ndjson", "report.html", PAGES, MANIFEST)
"""Every name that a lot may put into its folder."""


class Unfinished:
    """The files of one lot while they grow: ``names`` line by line, and pages if wanted."""

    def __init__(self, out: Path, names: Iterable[str], *, pages: bool) -> None:
        self.out, self.aside = out, out / ASIDE
        self.names = tuple(names)
        self.pages = pages
        self.note: Note
        self._held = ExitStack()
        self._files: dict[str, BinaryIO] = {}
        self._noted = time.monotonic()

    def begin(self, key: str, on: date, heads: dict[str, bytes]) -> None:
        """Start anew; what an earlier run left unfinished goes."""
        self.out.mkdir(parents=True, exist_ok=True)
        self._lock()
        self._refuse_strangers()
        if self.aside.exists():
            shutil.rmtree(self.aside)
        (self.aside / PAGES if self.pages else self.aside).mkdir(parents=True)
        self.note = Note(key, on)
        for name in self.names:
            self._hold(name, "wb").write(heads.get(name, b""))
        self.save()

    def _refuse_strangers(self) -> None:
        """Files of our names that no lot put there are somebody's, and stay."""
        if self.aside.exists() or _is_ours(self.out / MANIFEST):
            return
        strange = [name for name in OWN if (self.out / name).exists()]
        if strange:
            problem = f"holds {', '.join(strange)}, and no lot put it there"
            raise LotError([Problem(str(self.out), problem, "give --out an empty folder")])

    def go_on(self, note: Note) -> None:
        """Go on where an earlier run of the same lot was stopped."""
        self._lock()
        self.note = note
        if self.whole:
            return
        for name in self.names:
            file = self._hold(name, "r+b")
            if file.seek(0, os.SEEK_END) < note.sizes[name]:
                problem = Problem(str(self.aside), f"{name} was cut off", "leave out --resume")
                raise LotError([problem])
            file.seek(note.sizes[name])
            file.truncate()

    @property
    def whole(self) -> bool:
        """Everything is written; only the handing over is left."""
        return (self.aside / MANIFEST).exists()

    def _lock(self) -> None:
        """Keep a second run out of the folder, where the system can."""
        try:
            import fcntl
        except ImportError:
            return
        folder = os.open(self.out, os.O_RDONLY)
        self._held.callback(os.close, folder)
        try:
            fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            problem = Problem(str(self.out), "another run is at work here", "wait until it is done")
            raise LotError([problem]) from None
        except OSError:
            return  # a file system without locks

    def _hold(self, name: str, mode: Literal["wb", "r+b"]) -> BinaryIO:
        self._files[name] = self._held.enter_context((self.aside / name).open(mode))
        return self._files[name]

    def add(self, files: dict[str, list[bytes]], pages: Iterable[tuple[str, bytes]]) -> None:
        """Add a chunk's lines and pages. The note is brought up to date by who calls."""
        for name in self.names:
            self._files[name].writelines(files[name])
        for name, data in pages:
            self._page(name, data)

    def _page(self, name: str, data: bytes) -> None:
        """Two names may be alike by chance; the second page then gets a number of its own."""
        path, number = self.aside / PAGES / name, 1
        while path.exists() and path.read_bytes() != data:
            number += 1
            path = path.with_name(f"{name.removesuffix('.html')}-{number}.html")
        path.write_bytes(data)

    def save_now_and_then(self) -> None:
        """Note how far the lot is: after the first chunk, and when the last note is old."""
        if self.note.done == 1 or time.monotonic() - self._noted >= NOTED_EVERY:
            self.save()

    def save(self) -> None:
        """Note how far the lot is, after everything noted has reached the disk."""
        for name, file in self._files.items():
            file.flush()
            os.fsync(file.fileno())
            self.note.sizes[name] = file.tell()
        self.put(NOTE, msgspec.json.encode(self.note))
        self._noted = time.monotonic()

    def put(self, name: str, data: bytes) -> None:
        """Write a whole file aside, at once or not at all."""
        new = self.aside / f"{name}.new"
        with new.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        new.replace(self.aside / name)

    def close(self) -> None:
        """Let the files and the folder go; they can be gone on with."""
        self._held.close()

    def hand_over(self) -> None:
        """Put every file under its name, the manifest last: where it stands, all is whole.

        Stopped in between, it can be done again. Files of an earlier lot that this one does not
        write go.
        """
        told = msgspec.json.decode((self.aside / MANIFEST).read_bytes())
        (self.out / MANIFEST).unlink(missing_ok=True)
        for name in OWN:
            new = self.aside / name
            if new.exists() or name not in told["files"]:
                _remove(self.out / name)
            if new.exists():
                new.replace(self.out / name)
        shutil.rmtree(self.aside)


def read_note(out: Path) -> Note:
    """How far a stopped run got; LotError if there is none to go on with."""
    try:
        return msgspec.json.decode((out / ASIDE / NOTE).read_bytes(), type=Note)
    except (OSError, msgspec.MsgspecError):
        problem = Problem(str(out), "holds no stopped run", "leave out --resume")
        raise LotError([problem]) from None


def stamp(path: Path) -> FileStamp:
    """Size and SHA-256 of a file."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return FileStamp(path.stat().st_size, digest)


def _is_ours(manifest: Path) -> bool:
    try:
        told = msgspec.json.decode(manifest.read_bytes())
    except (OSError, msgspec.MsgspecError):
        return False
    return isinstance(told, dict) and "lot" in told


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
