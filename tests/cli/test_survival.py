"""A book survives: killed writers, failing disks, many writers at once, and what git may be in the middle of."""

import json
import os
import re
import resource
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import SHOP, Book, Run
from figures.ledger import PARTS

from buildbook.book.reading import Reader
from buildbook.book.writing import lock
from cli.workshop import git, into_git

MEASURE = ("measure", "top_ring_gap", "1=0.48", "2=0.49", "--with", "feeler", "--by", "ava", "--build", "twin/first")
CLEARANCES = "format: 1\nunits: {length: mm}\nsessions:\n"


def session(number: int) -> str:
    who = "taken: 2026-10-02, by: ava, with: feeler"
    return f"  - {{id: M{number}, {who}, what: top_ring_gap, readings: {{1: 0.50, 2: 0.50}}}}\n"


@pytest.fixture
def twin(book: Book) -> Book:
    """A twin with one measurement, in git."""
    book.write("shop.yaml", SHOP + "  feeler: {kind: feeler_gauge, resolution: 0.01 mm, repeatability: 0.005 mm}\n")
    book.write("parts.yaml", PARTS)
    book.write("clearances.yaml", CLEARANCES + session(1))
    into_git(book.root)
    return book


def ids(root: Path) -> list[str]:
    """The ids of the measurements, from a book that loads."""
    loaded = Reader(root).load("twin/first")
    assert loaded.build is not None, loaded.findings
    return [each.id or "" for each in loaded.build.clearances]


# Runs one command over and over, each time in a fresh copy of the book, and lets it fail or die at its n-th step that
# touches the disk or starts a program; n = 1, 2, … until it gets through. Then the same command runs undisturbed.
_FAULTS = """\
import builtins, errno, json, os, shutil, sys
from buildbook.book import writing
from buildbook.cli.main import run
import buildbook.cli.measure, buildbook.cli.new, buildbook.figures.rules, buildbook.book.beginning

pristine, place, mode, stride, *command = sys.argv[1:]
STEPS = {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "fcntl.flock", "subprocess.Popen",
         "tempfile.mkstemp", "tempfile.mkdtemp", "fsync", "write", "half written"}
at = steps = 0

def step(event, arguments):
    global steps
    writes = event == "open" and (arguments[2] or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
    if not at or not (event in STEPS or writes):
        return
    steps += 1
    if steps == at:
        if mode == "killed":
            os._exit(99)
        raise OSError(errno.EIO, f"the disk failed at {event}")

sys.addaudithook(step)
fsync = os.fsync

def failing_fsync(descriptor):
    step("fsync", ())
    fsync(descriptor)

class HalfWritten:
    def __init__(self, file):
        self.file = file
    def __enter__(self):
        return self
    def __exit__(self, *_):
        self.file.close()
    def write(self, content):
        step("write", ())
        self.file.write(content[: len(content) // 2])
        self.file.flush()
        step("half written", ())
        self.file.write(content[len(content) // 2 :])
    def __getattr__(self, name):
        return getattr(self.file, name)

os.fsync = failing_fsync
writing.open = lambda *given: HalfWritten(builtins.open(*given))

def forked(fault):
    global at
    child = os.fork()
    if child == 0:
        os.chdir(place)
        to = os.open(place + ".said", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        os.dup2(to, 1)
        os.dup2(to, 2)
        sys.argv = ["buildbook", *command]
        at = fault
        code = run()
        at = 0
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code if not fault or steps >= fault else 100 + code)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    with builtins.open(place + ".said") as said:
        return code, said.read()

def state():
    files = {}
    for folder, _, names in os.walk(place):
        if "/.git" not in folder:
            for name in names:
                with builtins.open(os.path.join(folder, name), errors="replace") as file:
                    files[os.path.relpath(os.path.join(folder, name), place)] = file.read()
    return files

fault, codes = 0, []  # a stride of 3 looks at every third step
shutil.copytree(pristine, place)
initial = state()
while not codes or codes[-1] < 100:
    fault += int(stride)
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(pristine, place)
    code, said = forked(fault)
    codes.append(code)
    between = state()
    again, said_again = forked(0) if between != initial else (None, "")  # where nothing happened, nothing is to repair
    print(json.dumps([fault, code, said, between, again, said_again, state()]), flush=True)
"""


def faults(book: Book, mode: str, command: tuple[str, ...], stride: int = 1) -> list[Any]:
    done = subprocess.run(
        [sys.executable, "-c", _FAULTS, str(book.root), str(book.root.parent / "copy"), mode, str(stride), *command],
        capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_at_whatever_step_the_disk_fails_nothing_is_lost_and_the_next_record_lands(twin: Book) -> None:
    name = "engines/twin/first/clearances.yaml"
    before = (twin.root / name).read_text()
    seen = faults(twin, "failing", MEASURE)
    assert len(seen) > 15
    for fault, code, said, between, again, said_again, after in seen:
        where = (fault, said)
        assert between[name].startswith(before), where  # the old state, or the new
        found = re.findall(r"id: (M\d+)", between[name])
        assert found in (["M1"], ["M1", "M2"]), where
        assert between[name].endswith("\n"), where
        if code % 100 == 0:
            assert found == ["M1", "M2"], where  # what was accepted is there
        else:
            assert code in {1, 2}, where
            assert "fault of buildbook" not in said, where
            assert found == ["M1"] or "was recorded" in said, where
        if again is None:
            continue
        assert again == 0, (*where, said_again)
        assert re.findall(r"id: (M\d+)", after[name]) == [*found, f"M{len(found) + 1}"], where
        assert "kept in git" in said_again, (*where, said_again)
        assert not [each for each in after if each.endswith(".writing")], where
    assert seen[-1][1] == 100  # the last went through undisturbed


def test_a_new_build_is_there_as_a_whole_or_not_at_all_whenever_its_writer_is_killed(twin: Book) -> None:
    seen = faults(twin, "killed", ("new", "build", "twin/second", "--follows", "first", "--by", "ava"), stride=3)
    assert len(seen) > 10
    for fault, _, said, between, again, said_again, after in seen:
        there = [name for name in between if name.startswith("engines/twin/second/")]
        assert len(there) in {0, 6}, (fault, said)
        if again is None:
            continue
        assert again == (2 if there else 0), (fault, said_again)  # it is there already
        assert sum(name.startswith("engines/twin/second/") for name in after) == 6
        assert not [name for name in after if ".writing" in name], (fault, said_again)


def test_many_processes_record_into_one_build_at_once_and_every_record_lands(twin: Book, run: Run) -> None:
    script = f"for i in 1 2 3 4; do '{sys.executable}' -m buildbook {' '.join(MEASURE)} || exit 1; done"
    running = [
        subprocess.Popen(
            ["sh", "-c", script], cwd=twin.root, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        for _ in range(4)
    ]
    said = [process.communicate(timeout=120)[0] for process in running]
    assert [process.returncode for process in running] == [0] * 4, said
    assert ids(twin.root) == [f"M{number}" for number in range(1, 18)]
    assert git(twin.root, "rev-list", "--count", "HEAD").strip() == "17"
    assert git(twin.root, "rev-list", "--merges", "HEAD") == ""
    assert git(twin.root, "status", "--porcelain") == ""
    records = re.findall(r"^Record: (M\d+)$", git(twin.root, "log", "--format=%B"), re.MULTILINE)
    assert sorted(records) == sorted(f"M{number}" for number in range(2, 18))
    errors = json.loads(run("check", "--json", cwd=twin.root).stdout)["findings"]
    assert not [each for each in errors if each["severity"] != "warning" or each["rule"] == "record-twice"]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 400 KB."""
    place = tmp_path / "small"
    place.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", str(place)], capture_output=True).returncode:
        pytest.skip("no disk can be mounted here; the limit on a file's size is tested below")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk_leaves_the_file_as_it_was_and_says_so(twin: Book, small_disk: Path, run: Run) -> None:
    root = shutil.copytree(twin.root, small_disk / "book", ignore=shutil.ignore_patterns("*.sample"))
    before = (root / "engines/twin/first/clearances.yaml").read_text()
    with (small_disk / "full").open("wb", buffering=0) as filler:
        try:
            while True:
                filler.write(b"x" * 4096)
        except OSError:
            pass
    done = run(*MEASURE, cwd=root)
    assert done.returncode == 2
    assert "No space left on device" in done.stderr
    assert "nothing more was written" in " ".join(done.stderr.split())
    assert (root / "engines/twin/first/clearances.yaml").read_text() == before
    (small_disk / "full").unlink()
    assert "kept in git" in run(*MEASURE, cwd=root).stdout


def test_a_file_that_may_not_grow_stays_as_it_was(twin: Book) -> None:
    file = twin.folder / "clearances.yaml"
    before = file.read_text()

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 20, len(before) + 20))

    done = subprocess.run(
        [sys.executable, "-m", "buildbook", *MEASURE], cwd=twin.root, capture_output=True, text=True, check=False,
        preexec_fn=limit,
    )  # fmt: skip
    assert done.returncode == 2
    assert "File too large" in done.stderr
    assert file.read_text() == before
    assert sorted(path.name for path in twin.folder.iterdir()) == ["build.yaml", "clearances.yaml", "parts.yaml"]


def test_a_folder_that_may_only_be_read_is_named_and_nothing_is_written(twin: Book, run: Run) -> None:
    if os.geteuid() == 0:
        frozen = subprocess.run(["chattr", "+i", str(twin.folder)], capture_output=True)
        if frozen.returncode:
            pytest.skip("root may write everywhere, and this disk cannot forbid it")
    else:
        twin.folder.chmod(0o555)
    try:
        done = run(*MEASURE, cwd=twin.root)
        assert done.returncode == 2
        assert "clearances.yaml" in done.stderr
        assert "nothing more was written" in " ".join(done.stderr.split())
        assert ids(twin.root) == ["M1"]
    finally:
        if os.geteuid() == 0:
            subprocess.run(["chattr", "-i", str(twin.folder)], check=True)
        else:
            twin.folder.chmod(0o755)


def test_with_no_git_on_the_machine_it_is_written_and_said_not_to_be_kept(twin: Book, run: Run) -> None:
    done = run(*MEASURE, cwd=twin.root, PATH="/nowhere")
    assert done.returncode == 0
    assert "git was not found on this machine" in " ".join(done.stdout.split())
    assert ids(twin.root) == ["M1", "M2"]
    checked = run("check", cwd=twin.root, PATH="/nowhere")
    assert checked.stderr == ""
    assert "git was not found on this machine" in " ".join(checked.stdout.split())
    assert "M2 added" in run("keep", "--by", "ava", cwd=twin.root).stdout


def test_a_hook_that_refuses_leaves_the_record_written_and_gives_its_words(twin: Book, run: Run) -> None:
    hook = twin.root / ".git" / "hooks" / "pre-commit"
    hook.parent.mkdir(exist_ok=True)
    hook.write_text("#!/bin/sh\necho 'not on a Friday' >&2\nexit 1\n")
    hook.chmod(0o755)
    run("keep", "--trust", cwd=twin.root)
    done = run(*MEASURE, cwd=twin.root)
    said = " ".join(done.stdout.split())
    assert done.returncode == 0
    assert "not kept in git's history" in said
    assert "not on a Friday" in said
    assert "pre-commit" in said
    assert ids(twin.root) == ["M1", "M2"]
    hook.unlink()
    assert "measurement M2 added" in run("keep", "--by", "ava", cwd=twin.root).stdout


def test_one_command_waits_for_another_and_check_waits_for_none(twin: Book, run: Run) -> None:
    (twin.folder / ".weighings.yaml.abcdefgh.writing").write_text("half")
    with lock(twin.root):
        assert run("check", cwd=twin.root).returncode == 0
        process = subprocess.Popen([sys.executable, "-m", "buildbook", *MEASURE], cwd=twin.root, stdout=subprocess.PIPE)
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(timeout=1.5)
        assert ids(twin.root) == ["M1"]
        assert (twin.folder / ".weighings.yaml.abcdefgh.writing").exists()  # its writer may be alive
    assert process.communicate(timeout=30)[0].startswith(b"recorded")
    assert not (twin.folder / ".weighings.yaml.abcdefgh.writing").exists()


def test_check_removes_what_a_killed_command_left_and_says_so(twin: Book, run: Run) -> None:
    left = [twin.folder / ".build.yaml.abcdefgh.writing", twin.root / "engines/twin/.second.abcdefgh.writing"]
    left[0].write_text("half")
    left[1].mkdir()
    (left[1] / "build.yaml").write_text("half")
    mine = twin.folder / ".build.yaml.swp"
    mine.write_text("an editor's")
    done = run("check", cwd=twin.root)
    assert done.stderr.count("left behind by a command that was killed") == 2
    assert [path.exists() for path in (*left, mine)] == [False, False, True]
    assert run("check", cwd=twin.root).stderr == ""
