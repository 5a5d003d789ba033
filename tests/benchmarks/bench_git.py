"""Keeping, looking back and checking beside git's own commands, in one run: python tests/benchmarks/bench_git.py

The book is generated: 500 engines of four builds each, 12,000 files, 5,000 commits, by `git fast-import`. Every
figure is the median of several whole processes, ours and git's by turns, in the same book.
With --together, 20 processes record 50 measurements each into one build, and what came of it is counted.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from time import monotonic

SAMPLES = Path(__file__).parents[2] / "sample_builds"
SOURCE = "heron-07/2025-06-first"
ENGINES, BUILDS, COMMITS = 500, 4, 5000
KINDS = ("build", "parts", "weighings", "pairings", "spins", "clearances")


def files_of(engine: str, build: str) -> dict[str, str]:
    """The texts of a build: those of a sample, under another name."""
    folder = SAMPLES / "engines" / SOURCE
    texts = {kind: (folder / f"{kind}.yaml").read_text() for kind in KINDS}
    unsealed = texts["build"].partition("  - id: A2")[0]  # a build that is closed takes no record
    renamed = unsealed.replace("heron-07", engine).replace("2025-06-first", build)
    return texts | {"build": re.sub(r"^follows:.*\n", "", renamed, flags=re.MULTILINE)}


def history() -> Iterator[tuple[str, dict[str, str]]]:
    """Each commit's message, and the files that it writes."""
    engine_text = (SAMPLES / "engines" / "heron-07" / "engine.yaml").read_text()
    names = [(f"engine-{e:03}", f"2025-{b + 1:02}-build") for e in range(ENGINES) for b in range(BUILDS)]
    texts: dict[str, str] = {}
    yield "Begin the book", {"shop.yaml": (SAMPLES / "shop.yaml").read_text()}
    for engine, build in names:
        new = {f"engines/{engine}/{build}/{kind}.yaml": text for kind, text in files_of(engine, build).items()}
        texts |= new
        yield (
            f"Begin build {engine}/{build}\n\nBuild: {engine}/{build}\n",
            {f"engines/{engine}/engine.yaml": engine_text.replace("heron-07", engine), **new},
        )
    chance = random.Random("five thousand commits")
    for number in range(COMMITS - len(names) - 1):
        engine, build = chance.choice(names)
        path = f"engines/{engine}/{build}/{chance.choice(KINDS)}.yaml"
        texts[path] += f"# remark {number}\n"
        yield f"Record {number}\n\nBuild: {engine}/{build}\n", {path: texts[path]}


def generate(book: Path) -> None:
    git(book.parent, "init", "--quiet", "--initial-branch=main", str(book))
    with subprocess.Popen(["git", "-C", str(book), "fast-import", "--quiet"], stdin=subprocess.PIPE) as into:
        assert into.stdin is not None
        for number, (message, files) in enumerate(history()):
            who = f"committer Ava <ava@example.org> {1_735_000_000 + number * 600} +0000\n"
            said = message.encode()
            into.stdin.write(f"commit refs/heads/main\n{who}data {len(said)}\n".encode() + said + b"\n")
            for path, text in files.items():
                content = text.encode()
                into.stdin.write(f"M 100644 inline {path}\ndata {len(content)}\n".encode() + content + b"\n")
    git(book, "reset", "--quiet", "--hard")


def git(folder: Path, *arguments: str) -> str:
    done = subprocess.run(["git", "-C", str(folder), *arguments], capture_output=True, text=True, check=True)
    return done.stdout


def buildbook(book: Path, *arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "buildbook", *arguments], cwd=book, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise SystemExit(f"buildbook {' '.join(arguments)}: {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout


def seconds(what: Callable[[], object]) -> float:
    began = monotonic()
    what()
    return monotonic() - began


def side_by_side(times: int, *each: Callable[[], object]) -> list[float]:
    """The median time of each [s], measured by turns."""
    taken = [[seconds(what) for what in each] for _ in range(times + 1)][1:]  # the first round fills the caches
    return [statistics.median(column) for column in zip(*taken, strict=True)]


def say(title: str, ours: float, gits: float, allowed: float, start: float = 0.0) -> None:
    plus = f" + {start * 1000:.0f} ms start" if start else ""
    verdict = "met" if ours <= allowed * gits + start else "NOT met"
    sys.stdout.write(
        f"{title:44} ours {ours * 1000:6.0f} ms  git {gits * 1000:6.0f} ms  "
        f"{(ours - start) / gits:5.2f} of {allowed:g} x git{plus}: {verdict}\n"
    )
    sys.stdout.flush()


def measure(book: Path, times: int) -> None:
    build = "engine-250/2025-02-build"
    folder = book / "engines" / build
    path = folder / "clearances.yaml"

    sys.stdout.write(f"the first check of all: {seconds(lambda: buildbook(book, 'check')):.0f} s\n")
    checked, status = side_by_side(times, lambda: buildbook(book, "check"), lambda: git(book, "status", "--porcelain"))
    say("check of the unchanged book", checked, status, 3)

    def by_git() -> None:
        with path.open("a") as file:
            file.write("# a line by hand\n")
        git(book, "add", "--", str(path))
        git(book, "commit", "--quiet", "--message=By hand", "--", str(path))

    def by_keep() -> None:
        with path.open("a") as file:
            file.write("# a line to keep\n")
        subprocess.run([sys.executable, "-c", KEEP, str(book), str(path)], check=True)

    def record() -> None:
        arguments = ("measure", "top_ring_gap", "1=0.48", "--with", "feeler_gauge", "--by", "ava")
        done = subprocess.run(
            [sys.executable, "-m", "buildbook", *arguments, "--build", build],
            cwd=book,
            capture_output=True,
            check=False,
        )
        assert b"kept in git" in done.stdout, (done.stdout, done.stderr)

    def work_out() -> None:
        subprocess.run([sys.executable, "-m", "buildbook", "fits", build], cwd=book, capture_output=True, check=False)

    start, imports, past_imports, manual, ours, whole, without = side_by_side(
        times,
        lambda: subprocess.run([sys.executable, "-c", "pass"], check=True),
        lambda: subprocess.run([sys.executable, "-c", "import buildbook.book.git"], check=True),
        lambda: subprocess.run([sys.executable, "-c", "import buildbook.book.commits"], check=True),
        by_git,
        by_keep,
        record,
        work_out,
    )
    sys.stdout.write(
        f"the interpreter starts in {start * 1000:.0f} ms, with keep's imports in {imports * 1000:.0f} ms, "
        f"with history's in {past_imports * 1000:.0f} ms\n"
    )
    say("git.keep of one changed file", ours, manual, 1.5, start)
    say("  the same, beside a start with its imports", ours, manual, 1.5, imports)
    say("a whole 'measure'", whole, manual, 1.5, start)
    say("  the same, beside 'fits' of that build", whole, manual, 1.5, without)

    log, folder_log = side_by_side(
        times,
        lambda: subprocess.run([sys.executable, "-c", PAST, str(book), str(folder)], check=True),
        lambda: git(book, "log", "--format=%H", "--", str(folder)),
    )
    say("commits of one build", log, folder_log, 1.5, start)
    say("  the same, beside a start with its imports", log, folder_log, 1.5, past_imports)


KEEP = """\
import sys
from pathlib import Path
from buildbook.book import git
git.keep(Path(sys.argv[1]), [Path(sys.argv[2])], "By keep", "Ava <ava@example.org>")
"""
PAST = """\
import sys
from pathlib import Path
from buildbook.book.commits import commits
assert commits(Path(sys.argv[1]), Path(sys.argv[2]))
"""


def all_together(book: Path, processes: int, records: int) -> None:
    """Many benches at one build at once: is every record there, and is the history one line?"""
    build = "engine-100/2025-01-build"
    loop = (
        f"for i in $(seq {records}); do '{sys.executable}' -m buildbook measure top_ring_gap 1=0.48 "
        f"--with feeler_gauge --by ava --build {build} >/dev/null || exit 1; done"
    )
    before = int(git(book, "rev-list", "--count", "HEAD"))
    began = monotonic()
    running = [subprocess.Popen(["sh", "-c", loop], cwd=book) for _ in range(processes)]
    failed = sum(process.wait() != 0 for process in running)
    text = (book / "engines" / build / "clearances.yaml").read_text()
    ids = re.findall(r"id: (M\d+)", text)
    commits = int(git(book, "rev-list", "--count", "HEAD")) - before
    merges = git(book, "rev-list", "--merges", "HEAD").count("\n")
    sys.stdout.write(
        f"{processes} processes x {records}: {monotonic() - began:.0f} s, {failed} failed; {commits} commits, {merges} "
        f"merges; {len(ids)} records, {len(set(ids))} ids; left over: {git(book, 'status', '--porcelain')!r}\n"
        + buildbook(book, "check", build)
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--times", type=int, default=7, help="rounds of each")
    asked.add_argument("--book", type=Path, help="a book generated before, or where to keep this one")
    asked.add_argument("--together", action="store_true", help="20 processes x 50 records into one build")
    given: Sequence[str] = sys.argv[1:]
    options = asked.parse_args(given)
    with tempfile.TemporaryDirectory() as home:
        for name in [name for name in os.environ if name.startswith(("GIT_", "BUILDBOOK_"))]:
            del os.environ[name]
        os.environ |= {"HOME": home, "XDG_CACHE_HOME": f"{home}/cache", "XDG_CONFIG_HOME": f"{home}/config"}
        os.environ |= {"GIT_CONFIG_NOSYSTEM": "1", "NO_COLOR": "1", "COLUMNS": "80"}
        # an installed program is compiled once, not at every start
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = f"{home}/compiled"
        Path(home, ".gitconfig").write_text("[user]\n\tname = Ava\n\temail = ava@example.org\n[gc]\n\tauto = 0\n")
        book = (options.book or Path(home) / "book").absolute()
        if not book.exists():
            sys.stdout.write(f"{ENGINES * BUILDS} builds and {COMMITS} commits made in ")
            sys.stdout.write(f"{seconds(lambda: generate(book)):.0f} s\n")
        if options.together:
            all_together(book, 20, 50)
        else:
            measure(book, options.times)
        if options.book is None:
            shutil.rmtree(book)


if __name__ == "__main__":
    main()
