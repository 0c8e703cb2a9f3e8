"""Files are written whole or not at all: whichever step fails, what stood there before still stands.

Each step is broken in turn: making the folder, making the temporary file, writing, forcing to the disk, setting the
mode, moving into place. Where the machine lets us (root on Linux) a real disk of a few kilobytes is filled as well.
"""

import errno
import os
import stat
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from reminders.files import FileError, private_file, read_file, signature, write_files, write_private
from reminders.plan.source import LONGEST_FILE

OLD = {"plan.ics": b"old calendar", "plan.json": b"old schedule", "plan-red.ics": b"old red"}
NEW = {"plan.ics": b"new calendar, longer", "plan.json": b"new schedule", "plan-red.ics": b"new red"}


@pytest.fixture(name="folder")
def a_folder_with_older_files(tmp_path: Path) -> Path:
    folder = tmp_path / "out"
    folder.mkdir()
    for name, content in OLD.items():
        (folder / name).write_bytes(content)
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder, hidden ones included."""
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def failing_at(nth: int, real: Callable[..., Any], error: BaseException) -> Callable[..., Any]:
    """Return a function that does as ``real`` does, save that its nth call fails."""
    calls = 0

    def call(*args: Any, **named: Any) -> Any:
        nonlocal calls
        calls += 1
        if calls == nth:
            raise error
        return real(*args, **named)

    return call


FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
REFUSED = PermissionError(errno.EACCES, os.strerror(errno.EACCES))
BROKEN = OSError(errno.EIO, os.strerror(errno.EIO))


def test_new_files_take_the_place_of_old_ones(folder: Path) -> None:
    write_files(folder, NEW)
    assert contents(folder) == NEW


def test_a_folder_that_is_not_there_is_made(tmp_path: Path) -> None:
    folder = tmp_path / "one" / "two"
    write_files(folder, NEW)
    assert contents(folder) == NEW


def test_other_files_of_the_folder_are_left_alone(folder: Path) -> None:
    (folder / "notes.txt").write_bytes(b"hers")
    write_files(folder, {"plan.ics": b"new"})
    assert contents(folder) == {**OLD, "plan.ics": b"new", "notes.txt": b"hers"}


def test_no_files_change_nothing(folder: Path) -> None:
    write_files(folder, {})
    assert contents(folder) == OLD


def test_others_may_read_what_is_written(folder: Path) -> None:
    """A temporary file is its owner's alone; a calendar that a phone is to fetch must not stay so."""
    write_files(folder, NEW)
    assert {stat.S_IMODE((folder / name).stat().st_mode) for name in NEW} == {0o644}


STEPS = [
    (owner, name, error, nth)
    for owner, name, error, times in (
        (os, "fsync", BROKEN, 6),
        (os, "fsync", FULL, 6),
        (os, "fdopen", BROKEN, 6),
        (tempfile, "mkstemp", FULL, 6),
        (tempfile, "mkstemp", REFUSED, 6),
        (Path, "chmod", REFUSED, 6),
        (Path, "read_bytes", BROKEN, 3),
        (Path, "replace", BROKEN, 3),
        (Path, "replace", REFUSED, 3),
    )
    for nth in range(1, times + 1)
]
"""What may fail and at which call: three new files are written, then each old one is kept aside and its place taken."""


@pytest.mark.parametrize(
    ("owner", "name", "error", "nth"), STEPS, ids=lambda value: getattr(value, "__name__", None) or str(value)
)
def test_whichever_step_fails_the_old_files_still_stand(
    folder: Path, monkeypatch: pytest.MonkeyPatch, owner: Any, name: str, error: OSError, nth: int
) -> None:
    """The nth call of a step fails. All old files stand, none new, and nothing temporary is left."""
    with monkeypatch.context() as patch, pytest.raises(FileError, match=str(error.strerror)):
        patch.setattr(owner, name, failing_at(nth, getattr(owner, name), error))
        write_files(folder, NEW)
    assert contents(folder) == OLD


@pytest.mark.parametrize("nth", [1, 2, 3])
def test_where_nothing_stood_before_a_failed_move_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, nth: int
) -> None:
    """Files that were moved into place before the failure are taken away again; a stranger's file stays."""
    (tmp_path / "notes.txt").write_bytes(b"hers")
    monkeypatch.setattr(Path, "replace", failing_at(nth, Path.replace, BROKEN))
    with pytest.raises(FileError, match="Nothing was written"):
        write_files(tmp_path, NEW)
    assert contents(tmp_path) == {"notes.txt": b"hers"}


def test_a_disk_that_refuses_even_the_taking_back_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the second move on nothing moves any more, so the first cannot be undone. It is told, not a crash."""
    real = Path.replace
    calls = 0

    def replace(self: Path, target: Path) -> Path:
        nonlocal calls
        calls += 1
        if calls > 1:
            raise BROKEN
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(FileError, match="Input/output error"):
        write_files(folder, NEW)


@pytest.mark.parametrize("nth", [1, 2, 3])
def test_a_full_disk_leaves_the_old_files(folder: Path, monkeypatch: pytest.MonkeyPatch, nth: int) -> None:
    """The disk fills up while the nth file is being written."""
    real = os.fdopen

    class Filling:
        def __init__(self, file: Any) -> None:
            self.file = file

        def __enter__(self) -> "Filling":
            return self

        def __exit__(self, *reason: object) -> None:
            self.file.close()

        def write(self, content: bytes) -> int:
            self.file.write(content[: len(content) // 2])
            raise FULL

        def __getattr__(self, name: str) -> Any:
            return getattr(self.file, name)

    calls = 0

    def opened(handle: int, *args: Any, **named: Any) -> Any:
        nonlocal calls
        calls += 1
        file = real(handle, *args, **named)
        return Filling(file) if calls == nth else file

    monkeypatch.setattr(os, "fdopen", opened)
    with pytest.raises(FileError, match="No space left"):
        write_files(folder, NEW)
    assert contents(folder) == OLD


@pytest.mark.parametrize("name", NEW)
def test_a_folder_in_the_place_of_one_file_leaves_all_files(folder: Path, name: str) -> None:
    """Nothing is simulated here: the move onto a folder fails by itself."""
    (folder / name).unlink()
    (folder / name).mkdir()
    before = {path.name for path in folder.iterdir()}
    with pytest.raises(FileError):
        write_files(folder, NEW)
    assert {path.name for path in folder.iterdir()} == before
    assert {other: (folder / other).read_bytes() for other in OLD if other != name} == {
        other: content for other, content in OLD.items() if other != name
    }


@pytest.mark.parametrize(("owner", "name"), [(os, "fsync"), (Path, "chmod"), (Path, "replace")])
@pytest.mark.parametrize("nth", [1, 2, 3])
def test_an_interruption_by_the_user_leaves_the_old_files(
    folder: Path, monkeypatch: pytest.MonkeyPatch, owner: Any, name: str, nth: int
) -> None:
    """Ctrl-C while files are forced to the disk, or between two moves: all old files stand, and nothing temporary."""
    monkeypatch.setattr(owner, name, failing_at(nth, getattr(owner, name), KeyboardInterrupt()))
    with pytest.raises(KeyboardInterrupt):
        write_files(folder, NEW)
    assert contents(folder) == OLD


def test_the_folder_that_cannot_be_forced_to_the_disk_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The last step: by then every file stands, whole and new, and nothing temporary."""
    monkeypatch.setattr(os, "fsync", failing_at(len(NEW) + len(OLD) + 1, os.fsync, BROKEN))
    with pytest.raises(FileError, match=r"was written, but .* Input/output error"):
        write_files(folder, NEW)
    assert contents(folder) == NEW


@pytest.mark.parametrize("old", [OLD, {}], ids=["over old files", "where nothing stood"])
def test_each_file_is_on_the_disk_before_the_first_takes_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, old: dict[str, bytes]
) -> None:
    """The new files first; then, for each, the old one that is kept aside, before its place is taken."""
    for name, content in old.items():
        (tmp_path / name).write_bytes(content)
    steps: list[str] = []
    real_fsync, real_replace = os.fsync, Path.replace

    def fsync(handle: int) -> None:
        steps.append("force")
        real_fsync(handle)

    def replace(self: Path, target: Path) -> Path:
        steps.append("move")
        return real_replace(self, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "replace", replace)
    write_files(tmp_path, NEW)
    assert steps[:3] == ["force"] * 3
    each = ["force", "move"] if old else ["move"]
    assert steps[3 : 3 + 3 * len(each)] == each * 3
    if os.name == "posix":
        assert steps[3 + 3 * len(each) :] == ["force"], "the folder's own entry comes last"


def test_a_file_in_the_place_of_the_folder_is_told_and_stays(tmp_path: Path) -> None:
    place = tmp_path / "out"
    place.write_bytes(b"a letter")
    with pytest.raises(FileError, match="out"):
        write_files(place, NEW)
    assert place.read_bytes() == b"a letter"


@contextmanager
def nobody_special() -> Iterator[None]:
    """Root may write everywhere, so root acts as another user meanwhile; anyone else stays who they are."""
    before = os.geteuid()
    if before == 0:
        os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(before)


@pytest.mark.skipif(os.name != "posix", reason="not run: folders without permission need POSIX")
def test_a_folder_that_may_not_be_written_is_told() -> None:
    """Nothing is simulated here. The folder is none of pytest's own, which only their owner may enter."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        folder.chmod(0o555)
        with nobody_special(), pytest.raises(FileError, match="Permission denied"):
            write_files(folder, NEW)
        assert contents(folder) == {}


@pytest.mark.parametrize("name", ["a\0b.ics", "x" * 300 + ".ics", "no/such/folder.ics"])
def test_a_name_that_no_file_can_have_is_told(folder: Path, name: str) -> None:
    with pytest.raises(FileError):
        write_files(folder, {**NEW, name: b"new"})
    assert contents(folder) == OLD


@pytest.fixture(name="tiny_disk")
def a_disk_of_64_kilobytes(tmp_path: Path) -> Iterator[Path]:
    """Give a test a real disk that is soon full."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)], capture_output=True, check=False
    ) if hasattr(os, "geteuid") and os.geteuid() == 0 else None  # fmt: skip
    if mounted is None or mounted.returncode:
        pytest.skip("not run: mounting a small disk needs root")
    try:
        yield disk
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_a_disk_that_is_really_full_leaves_the_old_files(tiny_disk: Path) -> None:
    folder = tiny_disk / "out"
    write_files(folder, OLD)
    with pytest.raises(FileError, match="No space left"):
        write_files(folder, {"plan.ics": b"x" * 30_000, "plan.json": b"y" * 60_000, "plan-red.ics": b"z"})
    assert contents(folder) == OLD


def test_a_plan_is_read_byte_for_byte(tmp_path: Path) -> None:
    content = bytes(range(256)) + b"\r\n\n"
    (tmp_path / "plan.toml").write_bytes(content)
    assert read_file(tmp_path / "plan.toml") == content


def test_of_a_file_far_too_large_only_so_much_is_read_as_shows_it(tmp_path: Path) -> None:
    with (tmp_path / "film.mp4").open("wb") as file:
        file.truncate(50 * LONGEST_FILE)
    assert len(read_file(tmp_path / "film.mp4")) == LONGEST_FILE + 1


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nowhere.toml", "There is no file"),
        (".", "is a folder"),
        ("a\0b", "cannot be read"),
        ("x" * 5000, "cannot be read"),
    ],
    ids=["missing", "a folder", "a name with a zero byte", "a name too long"],
)
def test_a_file_that_cannot_be_read_is_told(tmp_path: Path, name: str, said: str) -> None:
    with pytest.raises(FileError, match=said):
        read_file(tmp_path / name)


def test_a_file_that_may_not_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Simulated, because root may read everything."""

    def refused(self: Path, *args: Any, **named: Any) -> Any:
        raise REFUSED

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(FileError, match=r"plan\.toml.*Permission denied"):
        read_file(tmp_path / "plan.toml")


def test_a_path_through_a_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_bytes(b"")
    with pytest.raises(FileError):
        read_file(tmp_path / "plan.toml" / "plan.toml")


# What only its owner may read


@pytest.mark.parametrize("step", ["os.fsync", "pathlib.Path.chmod", "pathlib.Path.replace"])
def test_a_private_file_that_cannot_be_written_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    place = tmp_path / "secrets.json"
    write_private(place, b"old")
    monkeypatch.setattr(step, failing_at(1, os.fsync, FULL))
    with pytest.raises(OSError, match="No space"):
        write_private(place, b"new")
    assert contents(tmp_path) == {"secrets.json": b"old"}


@pytest.mark.skipif(os.name != "posix", reason="not run: file modes are POSIX")
@pytest.mark.parametrize("umask", [0o000, 0o022])
def test_a_private_file_is_its_owners_alone(tmp_path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        write_private(tmp_path / "one", b"text", sync=False)
        private_file(tmp_path / "two", b"text").replace(tmp_path / "two")
    finally:
        os.umask(before)
    assert contents(tmp_path) == {"one": b"text", "two": b"text"}
    assert {stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()} == {0o600}


def test_what_need_not_outlive_a_power_cut_is_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.fsync", failing_at(1, os.fsync, FULL))
    write_private(tmp_path / "life.json", b"text", sync=False)
    assert contents(tmp_path) == {"life.json": b"text"}


def test_a_signature_changes_with_its_file(tmp_path: Path) -> None:
    place = tmp_path / "secrets.json"
    assert signature(place) is None
    seen = set()
    for content in (b"one", b"two", b"longer"):
        write_private(place, content)
        seen.add(signature(place))
        with place.open("rb") as file:
            assert signature(file.fileno()) == signature(place)
    assert len(seen) == 3 and None not in seen
