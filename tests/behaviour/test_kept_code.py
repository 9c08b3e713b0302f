"""Compiled code is run when it is read: its folder is the user's alone, and damage or a full disk costs time and no more.

Each case is a process of its own with a home of its own, which compiles one small law.
"""

import errno
import importlib
import os
import pickle
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from sim import compiled, own_folder

ROOT = Path(__file__).resolve().parents[2]
ANSWER = "1.225\n"
LAW = "from sim.laws.air import air_density; print(round(air_density(101325.0, 288.15), 4))"
NO_LARGE_FILES = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000)); "

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="users, links and limits of another system")


def run(home: Path, code: str = LAW, **more: str) -> tuple[str, list[str]]:
    """What a process with this home prints, and the lines it says beside."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("NUMBA_", "HAULBENCH_", "XDG_"))}
    (home / "temporary").mkdir(exist_ok=True)
    environment = {**kept, "HOME": str(home), "XDG_CACHE_HOME": str(home / "cache"), "PYTHONPATH": str(ROOT)}
    environment |= {"TMPDIR": str(home / "temporary"), **more}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout, done.stderr.splitlines()


def files(home: Path, ending: str) -> list[Path]:
    return sorted((home / "cache" / "haulbench").rglob(f"*{ending}"))


@pytest.fixture
def home(tmp_path) -> Path:
    """A home in which the law was compiled once."""
    assert run(tmp_path) == (ANSWER, [])
    return tmp_path


def test_compiled_code_is_kept_in_a_folder_of_the_users_alone(home):
    folder = home / "cache" / "haulbench"
    (version,) = folder.iterdir()
    for place in (folder, version):
        assert stat.S_IMODE(place.lstat().st_mode) == 0o700 and place.lstat().st_uid == os.geteuid()
    before = {file: file.stat().st_mtime_ns for file in (*files(home, ".nbi"), *files(home, ".nbc"))}
    assert len(before) == 2
    assert run(home) == (ANSWER, [])
    assert {file: file.stat().st_mtime_ns for file in before} == before, "it is not compiled again"


def cut(content: bytes) -> bytes:
    return content[: len(content) // 2]


def emptied(content: bytes) -> bytes:
    return b""


def noise(content: bytes) -> bytes:
    return os.urandom(len(content))


def one_byte(content: bytes) -> bytes:
    """A byte of the machine code: nothing but a hash notices."""
    place = len(content) * 2 // 3
    return content[:place] + bytes([content[place] ^ 0xFF]) + content[place + 1 :]


@pytest.mark.parametrize("damage", [cut, emptied, noise, one_byte])
@pytest.mark.parametrize("ending", [".nbi", ".nbc"])
def test_damaged_code_is_named_and_compiled_anew(home, ending, damage):
    (file,) = files(home, ending)
    file.write_bytes(damage(file.read_bytes()))
    answer, (line,) = run(home)
    assert answer == ANSWER
    assert line.startswith(f"haulbench: {home}") and "is damaged" in line and "compiled anew" in line
    assert run(home) == (ANSWER, []), "it is whole again"


def test_a_folder_in_the_place_of_a_file_is_damage_too(home):
    (file,) = files(home, ".nbi")
    file.unlink()
    file.mkdir()
    answer, (line,) = run(home)
    assert answer == ANSWER and "is damaged" in line
    assert run(home) == (ANSWER, [])


def test_a_missing_file_is_compiled_anew(home):
    files(home, ".nbc")[0].unlink()
    assert run(home) == (ANSWER, [])


def test_a_disk_without_room_is_named_and_the_work_goes_on(tmp_path):
    answer, (line,) = run(tmp_path, NO_LARGE_FILES + LAW)
    assert answer == ANSWER
    assert line.startswith(f"haulbench: {tmp_path}/cache/haulbench/") and "File too large" in line
    assert list((tmp_path / "temporary").iterdir()) == []


def test_a_disk_that_fills_up_is_named_and_the_work_goes_on(home):
    other = LAW.replace("101325.0, 288.15", "101325, 288")  # whole numbers: another version of the same law
    answer, (line,) = run(home, NO_LARGE_FILES + other)
    assert answer == "1.2256\n" and "cannot be kept (File too large)" in line and "Make room" in line


class Evil:
    """Leaves a mark when it is unpickled."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark

    def __reduce__(self):
        return os.mkdir, (str(self.mark),)


def planted(home: Path, where: Path) -> Path:
    """Puts files of somebody else where compiled code might be looked for; the mark that they leave when they are read."""
    mark = home / "mark"
    for file in files(home, ".nbi"):
        there = where / file.relative_to(home / "cache" / "haulbench")
        there.parent.mkdir(parents=True)
        there.write_bytes(pickle.dumps(Evil(mark)))
    return mark


def test_the_evil_files_would_be_run(home):
    mark = planted(home, home / "other")
    (version,) = (home / "other").iterdir()
    run(home, NUMBA_CACHE_DIR=str(version))
    assert mark.is_dir(), "so the other tests prove something"


def away(home: Path) -> Path:
    """Takes the folder for compiled code out of the home, and gives its place."""
    folder = home / "cache" / "haulbench"
    folder.rename(home / "before")
    return folder


def test_without_a_home_no_folder_that_others_could_have_made_is_used(home):
    mark = planted(home, home / "temporary" / "haulbench-cache")
    away(home)
    (home / "cache").rmdir()
    (home / "cache").write_text("no folder")
    answer, (line,) = run(home)
    assert answer == ANSWER and not mark.exists()
    assert "not used for compiled code (Not a directory)" in line
    assert [path.name for path in (home / "temporary").iterdir()] == ["haulbench-cache"], "what was made is gone"


def test_a_link_to_somebody_elses_folder_is_not_followed(home):
    mark = planted(home, home / "other")
    away(home).symlink_to(home / "other")
    answer, (line,) = run(home)
    assert answer == ANSWER and not mark.exists() and "it is a link or a file" in line


def test_a_link_to_somebody_elses_version_is_not_followed(home):
    mark = planted(home, home / "other")
    folder = away(home)
    folder.mkdir()
    (version,) = (home / "other").iterdir()
    (folder / version.name).symlink_to(version)
    answer, (line,) = run(home)
    assert answer == ANSWER and not mark.exists() and "it is a link or a file" in line


def test_a_folder_others_may_write_into_is_not_used(home):
    mark = planted(home, home / "other")
    (home / "other").rename(away(home))
    (version,) = (home / "cache" / "haulbench").iterdir()
    version.chmod(0o777)
    answer, (line,) = run(home)
    assert answer == ANSWER and not mark.exists() and "others may write into it" in line


def test_a_folder_below_one_that_others_may_write_into_is_not_used(home):
    mark = planted(home, home / "other")
    (home / "other").rename(away(home))
    for place in (home / "cache" / "haulbench").iterdir():
        place.chmod(0o700)
    (home / "cache").chmod(0o777)
    answer, (line,) = run(home)
    assert answer == ANSWER and not mark.exists() and "others may write into a folder above it" in line


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root gives files away")
def test_a_folder_of_another_user_is_not_used(home):
    mark = planted(home, home / "other")
    (home / "other").rename(away(home))
    (version,) = (home / "cache" / "haulbench").iterdir()
    version.chmod(0o700)
    os.chown(version, 12345, 12345)
    answer, (line,) = run(home)
    assert answer == ANSWER and not mark.exists() and "it belongs to another user" in line


def test_workers_use_the_folder_of_the_process_that_started_them(tmp_path):
    (tmp_path / "cache").write_text("no folder")
    script = tmp_path / "script.py"
    script.write_text(
        "from sim.compiled import CACHE_FOLDER\n"
        "def told(_): return CACHE_FOLDER\n"
        'if __name__ == "__main__":\n'
        "    from sim.trips.pool import TripPool\n"
        "    with TripPool(2) as pool:\n"
        "        theirs = {pool.submit(told, n).result() for n in range(4)}\n"
        "    print(theirs == {CACHE_FOLDER}, str(CACHE_FOLDER.parent))\n"
    )
    answer, lines = run(tmp_path, f"import runpy; runpy.run_path({str(script)!r}, run_name='__main__')")
    same, folder = answer.split()
    assert same == "True" and folder.startswith(str(tmp_path / "temporary" / "haulbench-"))
    assert len(lines) == 1, "one process says it for all"
    assert not Path(folder).exists()


# ---------------------------------------------------------------- the same in this process


def test_a_home_that_is_none_is_named_and_another_folder_is_made(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr(compiled.platformdirs, "user_cache_dir", lambda _: "~/.cache/haulbench")
    monkeypatch.setenv(own_folder.FOLLOW, "")
    monkeypatch.delenv(compiled.SAID, raising=False)
    monkeypatch.setattr(own_folder.tempfile, "tempdir", str(tmp_path))
    folder = compiled._chosen_folder("version")
    assert (
        folder is not None and folder.parent.parent == tmp_path and os.environ[own_folder.FOLLOW] == str(folder.parent)
    )
    assert "~/.cache/haulbench/version: not used for compiled code (there is no home folder)" in caplog.text
    assert compiled._chosen_folder("version") == folder, "whoever is started from here finds it"


def test_code_that_is_damaged_or_cannot_be_kept_is_said_once(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr(compiled.numba.config, "CACHE_DIR", str(tmp_path / "kept"))
    monkeypatch.setattr(compiled._Kept, "told", set())
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / "law_of_mine.py").write_text("def twice(x):\n    return 2.0 * x\n")
    twice = compiled.compiled(importlib.import_module("law_of_mine").twice)
    if not hasattr(twice, "py_func"):
        pytest.skip("nothing is compiled")
    assert twice(4.0) == 8.0
    cache, (signature, result) = twice._cache, next(iter(twice.overloads.items()))
    assert cache.load_overload(signature, result.target_context) is not None
    (index,) = tmp_path.rglob("*.nbi")
    for _ in range(2):
        index.write_bytes(b"noise")
        assert cache.load_overload(signature, result.target_context) is None

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(cache._cache_file, "_save_data", full)
    for _ in range(2):
        cache.save_overload(signature, result)
    assert [record.getMessage().split("(")[0] for record in caplog.records] == [
        f"haulbench: {compiled.CACHE_FOLDER}: compiled code there is damaged ",
        f"haulbench: {compiled.CACHE_FOLDER}: compiled code cannot be kept ",
    ]
