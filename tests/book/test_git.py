"""What git makes of a book is told apart; a commit is that one change; and a stranger's repository runs nothing."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from cli.workshop import git as real_git
from cli.workshop import into_git, one_after_the_other
from conftest import Book, Run

from buildbook.book import git, trusting
from buildbook.book.reading import Reader


@pytest.fixture
def kept(book: Book) -> Path:
    """A small book in git."""
    return into_git(book.root)


def situation(book: Path) -> git.Situation:
    found = git.situation(book)
    assert found is not None
    return found


def keep(book: Path, name: str = "shop.yaml", message: str = "Keep it") -> list[str]:
    path = book / name
    path.write_text(path.read_text() + "# changed\n" if path.exists() else "# new\n")
    return git.keep(book, [path], message, "Ava Merrow <ava@example.org>")


def test_a_sound_book_is_in_no_situation_and_keeps_what_is_changed(kept: Path) -> None:
    assert git.situation(kept) is None
    assert keep(kept) == []
    assert real_git(kept, "show", "--no-patch", "--format=%an %s") == "Ava Merrow Keep it\n"


def conflict(book: Path) -> None:
    """Two branches that changed one line."""
    real_git(book, "switch", "--quiet", "-c", "other")
    keep(book, "shop.yaml", "There")
    real_git(book, "switch", "--quiet", "main")
    (book / "shop.yaml").write_text((book / "shop.yaml").read_text() + "# otherwise\n")
    real_git(book, "commit", "--quiet", "--all", "--message=Here")


def merging(book: Path) -> None:
    conflict(book)
    with pytest.raises(subprocess.CalledProcessError):
        real_git(book, "merge", "other")


def rebasing(book: Path) -> None:
    conflict(book)
    with pytest.raises(subprocess.CalledProcessError):
        real_git(book, "rebase", "other")


def picking(book: Path) -> None:
    conflict(book)
    with pytest.raises(subprocess.CalledProcessError):
        real_git(book, "cherry-pick", "other")


def reverting(book: Path) -> None:
    keep(book)
    keep(book)
    with pytest.raises(subprocess.CalledProcessError):
        real_git(book, "revert", "HEAD~1")


def bisecting(book: Path) -> None:
    for _ in range(4):
        keep(book)
    real_git(book, "bisect", "start", "HEAD", "HEAD~4")


def detached(book: Path) -> None:
    real_git(book, "checkout", "--quiet", "--detach")


def without(book: Path) -> None:
    shutil.rmtree(book / ".git")


def inside_another(book: Path) -> None:
    shutil.rmtree(book / ".git")
    into_git(book.parent)


def locked(book: Path) -> None:
    (book / ".git" / "index.lock").touch()


def damaged(book: Path) -> None:
    shutil.rmtree(book / ".git" / "objects")
    (book / ".git" / "HEAD").unlink()


SITUATIONS = {
    "merge": (merging, "git merge --abort"),
    "rebase": (rebasing, "git rebase --abort"),
    "cherry-pick": (picking, "git cherry-pick --abort"),
    "revert": (reverting, "git revert --abort"),
    "bisect": (bisecting, "git bisect reset"),
    "detached": (detached, "git switch main"),
    "no-repository": (without, "git init"),
    "inside-another": (inside_another, "git init"),
    "locked": (locked, "delete that file"),
    "damaged": (damaged, "from a copy"),
}


@pytest.mark.parametrize("packed", [False, True], ids=["loose", "packed"])
def test_the_way_back_from_a_detached_head_names_the_branch_that_there_is(kept: Path, packed: bool) -> None:
    real_git(kept, "branch", "-m", "bench/one")
    if packed:
        real_git(kept, "pack-refs", "--all")
    detached(kept)
    assert "'git switch bench/one'" in str(git.trouble(kept))
    real_git(kept, "branch", "two")
    assert "'git switch BRANCH'" in str(git.trouble(kept))


@pytest.mark.parametrize("name", SITUATIONS)
def test_each_situation_is_told_apart_with_its_remedy_and_keeps_nothing(
    kept: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(git, "_PATIENCE", 0.2)
    bring_about, remedy = SITUATIONS[name]
    bring_about(kept)
    found = situation(kept)
    assert (found.name, found.stops) == (name, True)
    assert remedy in found.remedy
    with pytest.raises(git.NotKept, match=r"(?s).+") as refused:
        keep(kept)
    assert found.remedy in str(refused.value)
    assert (kept / "shop.yaml").read_text().endswith("# changed\n")  # what is written stays written


@pytest.mark.parametrize("left", [b"", b"rubbish", None], ids=["empty", "corrupt", "gone"])
@pytest.mark.parametrize("of", ["HEAD", "HEAD^{tree}"])
def test_a_history_that_a_power_cut_damaged_is_told_from_one_that_has_not_begun(
    kept: Path, left: bytes | None, of: str
) -> None:
    id_ = real_git(kept, "rev-parse", of).strip()
    object_ = kept / ".git" / "objects" / id_[:2] / id_[2:]
    object_.unlink()
    if left is not None:
        object_.write_bytes(left)
    (kept / "shop.yaml").write_text("format: 1\n# damaged\n")
    if of == "HEAD":
        assert (situation(kept).name, situation(kept).stops) == ("damaged", True)
    with pytest.raises(git.NotKept, match="damaged: some of it cannot be read") as refused:
        keep(kept)
    assert "the files themselves are as they were" in str(refused.value)


def test_the_locks_of_a_dead_git_are_removed_after_a_minute(kept: Path) -> None:
    left = [kept / ".git" / name for name in ("HEAD.lock", "index.lock", "next-index-7.lock", "refs/heads/main.lock")]
    for lock in left:
        lock.touch()
    assert git.remove_dead_locks(kept) == []
    assert str(kept / ".git" / "index.lock") in situation(kept).what
    for lock in left:
        os.utime(lock, (0, 0))
    assert keep(kept) == []
    assert not [lock for lock in left if lock.exists()]


def test_the_lock_of_a_git_that_is_at_work_is_never_removed(kept: Path) -> None:
    locked(kept)
    os.utime(kept / ".git" / "index.lock", (0, 0))
    batch = ["git", "cat-file", "--batch-check"]
    with subprocess.Popen(batch, cwd=kept / "engines", stdin=subprocess.PIPE, stdout=subprocess.PIPE) as at_work:
        assert at_work.stdin is not None
        assert at_work.stdout is not None
        at_work.stdin.write(b"HEAD\n")
        at_work.stdin.flush()
        assert at_work.stdout.readline()  # it is up
        assert git.remove_dead_locks(kept) == []
        with pytest.raises(git.NotKept, match=r"index\.lock"):
            keep(kept)
        at_work.stdin.close()
    assert git.remove_dead_locks(kept) == [kept / ".git" / "index.lock"]


def test_another_git_at_work_is_waited_for(kept: Path) -> None:
    lock = kept / ".git" / "index.lock"
    lock.touch()
    with subprocess.Popen(["sh", "-c", f"sleep 0.7; rm '{lock}'"]):
        assert keep(kept) == []


def test_a_book_before_its_first_commit_can_be_kept(book: Book) -> None:
    git.begin(book.root)
    found = situation(book.root)
    assert (found.name, found.stops) == ("no-commit", False)
    assert keep(book.root) == []
    assert git.situation(book.root) is None


def a_git_that_says(folder: Path, script: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a program named git before the real one."""
    folder.mkdir()
    (folder / "git").write_text(f"#!/bin/sh\n{script}\n")
    (folder / "git").chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}:{os.environ['PATH']}")


def test_a_git_too_old_is_told_which_version_is_needed(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = 'case "$*" in *version*) echo git version 2.20.1;; *) echo "error: unknown option" >&2; exit 129;; esac'
    a_git_that_says(tmp_path / "old", script, monkeypatch)
    found = situation(kept)
    assert (found.name, found.what) == ("too-old", "git 2.20 is too old")
    assert "2.28" in found.remedy
    with pytest.raises(git.NotKept, match=r"git 2\.20 is too old; install git 2\.28"):
        keep(kept)


@pytest.mark.parametrize(
    ("script", "words"),
    [("exit 0", "it says 'nothing'"), ("echo no developer tools >&2; exit 1", "it says 'no developer tools'")],
    ids=["silent", "a stand-in"],
)
def test_what_is_only_called_git_keeps_nothing_and_is_told_apart(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, words: str
) -> None:
    a_git_that_says(tmp_path / "stub", script, monkeypatch)
    found = situation(kept)
    assert found.name == "no-git"
    assert words in found.what
    with pytest.raises(git.NotKept, match=r"is not git.*install git 2\.28"):
        keep(kept)


def test_a_git_that_fails_without_a_word_is_named_with_its_version(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = 'case "$*" in *version*) echo git version 2.40.1;; *var*) echo A;; *) exit 1;; esac'
    a_git_that_says(tmp_path / "mute", script, monkeypatch)
    with pytest.raises(git.NotKept, match=r"git version 2\.40\.1; 2\.28 is needed"):
        keep(kept)


def test_no_git_at_all(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    assert situation(kept).name == "no-git"
    with pytest.raises(git.NotKept, match="install it"):
        keep(kept)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a folder away")
def test_a_book_of_another_user_is_told_how_it_can_be_trusted(kept: Path) -> None:
    for folder, _, files in os.walk(kept):
        for path in (folder, *(os.path.join(folder, name) for name in files)):
            os.chown(path, 1234, 1234)
    found = situation(kept)
    assert found.name == "not-yours"
    assert f"safe.directory '{kept}'" in found.remedy
    with pytest.raises(git.NotKept, match="dubious ownership"):
        keep(kept)


def test_what_is_staged_stays_staged_exactly_as_it_was(kept: Path) -> None:
    engine = kept / "engines" / "twin" / "engine.yaml"
    engine.write_text(engine.read_text() + "# staged\n")
    (kept / "new.txt").write_text("staged\n")
    real_git(kept, "add", "--all")
    engine.write_text(engine.read_text() + "# not staged\n")
    before = real_git(kept, "ls-files", "-s", "engines/twin/engine.yaml", "new.txt")
    keep(kept, "engines/twin/first/weighings.yaml")  # one that git does not know yet
    keep(kept)
    assert real_git(kept, "show", "--name-only", "--format=", "HEAD~1").split() == ["engines/twin/first/weighings.yaml"]
    assert real_git(kept, "show", "--name-only", "--format=", "HEAD").split() == ["shop.yaml"]
    assert real_git(kept, "ls-files", "-s", "engines/twin/engine.yaml", "new.txt") == before
    assert real_git(kept, "status", "--porcelain").splitlines() == ["MM engines/twin/engine.yaml", "A  new.txt"]


def test_file_names_are_no_patterns(kept: Path) -> None:
    (kept / "a[b]*.yaml").write_text("one\n")
    (kept / "ab.yaml").write_text("another\n")
    git.keep(kept, [kept / "a[b]*.yaml"], "Only this")
    assert real_git(kept, "status", "--porcelain") == "?? ab.yaml\n"


def test_the_history_is_indexed_for_looking_back(kept: Path) -> None:
    keep(kept)
    assert (kept / ".git/objects/info/commit-graphs/commit-graph-chain").exists()
    real_git(kept, "commit-graph", "verify")


def armed(book: Path) -> Path:
    """A script that leaves a trace when it is run."""
    trace = book.parent / "it ran"
    script = book / "evil"
    script.write_text(f"#!/bin/sh\ntouch '{trace}'\ncat\n")
    script.chmod(0o755)
    return trace


PROGRAMS = {
    "fsmonitor": "[core]\n\tfsmonitor = ./evil\n",
    "hooks path": "[core]\n\thooksPath = .\n",
    "ssh": "[core]\n\tsshCommand = ./evil\n",
    "pager": "[core]\n\tpager = ./evil\n",
    "editor": "[core]\n\teditor = ./evil\n",
    "filter": '[filter "x"]\n\tclean = ./evil\n\tsmudge = ./evil\n',
    "textconv": '[diff "x"]\n\ttextconv = ./evil\n',
    "external diff": "[diff]\n\texternal = ./evil\n",
    "merge driver": '[merge "x"]\n\tdriver = ./evil\n',
    "signing": "[commit]\n\tgpgsign = true\n[gpg]\n\tprogram = ./evil\n",
    "credentials": "[credential]\n\thelper = ./evil\n",
    "alias": "[alias]\n\tcommit = !./evil\n",
    "include": "[include]\n\tpath = ../evil.config\n",
    "include by condition": '[includeIf "gitdir:**"]\n\tpath = ../evil.config\n',
    "work tree elsewhere": "[core]\n\tworktree = /\n",
    "upload pack": '[remote "origin"]\n\turl = .\n\tuploadpack = ./evil\n',
    "one line": "[core] fsmonitor = ./evil\n",
    "odd spelling": "[CoRe]\n\tFsMonitor=./evil\n",
    "after a continued line": "[user]\n\tname = a \\\n\n[core]\n\tfsmonitor = ./evil\n",
    "filter process": '[filter "x"]\n\tprocess = ./evil\n\trequired = true\n',
    "diff command": '[diff "x"]\n\tcommand = ./evil\n',
    "signing with ssh": '[gpg]\n\tformat = ssh\n[gpg "ssh"]\n\tprogram = ./evil\n',
    "receive pack": '[remote "origin"]\n\turl = .\n\treceivepack = ./evil\n',
    "a helper for the remote": '[remote "origin"]\n\turl = .\n\tvcs = evil\n',
    "another address for the remote": '[url "ext::./evil "]\n\tinsteadOf = .\n[remote "origin"]\n\turl = .\n',
    "allowed to run": '[protocol "ext"]\n\tallow = always\n[remote "origin"]\n\turl = ext::./evil\n',
    "proxy": "[core]\n\tgitProxy = ./evil\n",
    "password": "[core]\n\taskPass = ./evil\n",
    "order of commits": "[sequence]\n\teditor = ./evil\n",
    "other refs": "[core]\n\talternateRefsCommand = ./evil\n",
    "trailer": '[trailer "build"]\n\tkey = Build\n\tcommand = ./evil\n',
    "submodule": '[submodule "x"]\n\tupdate = !./evil\n',
    "attributes elsewhere": "[core]\n\tattributesFile = /etc/passwd\n",
    "excludes elsewhere": "[core]\n\texcludesFile = /etc/passwd\n",
    "messages elsewhere": "[commit]\n\ttemplate = /etc/passwd\n",
    "hooks to be copied": "[init]\n\ttemplateDir = .\n",
    "settings of the work tree": "[extensions]\n\tworktreeConfig = true\n",
    "windows lines": "[core]\r\n\tfsmonitor = ./evil\r\n",
}


# The way to git is one for all commands: with these, each of them is tried.
FOR_EVERY_COMMAND = {"fsmonitor", "hooks path", "ssh", "filter", "textconv", "merge driver", "signing", "include"}


@pytest.mark.parametrize("name", PROGRAMS)
def test_a_setting_of_a_strangers_repository_that_names_a_program_runs_nothing(kept: Path, name: str) -> None:
    setting = PROGRAMS[name]
    trace = armed(kept)
    (kept.parent / "evil.config").write_text("[core]\n\tfsmonitor = ./evil\n")
    (kept / ".gitattributes").write_text("* filter=x diff=x merge=x\n")
    shutil.copy(kept / "evil", kept / "pre-commit")
    with (kept / ".git" / "config").open("a") as config:
        config.write(setting)
    with pytest.raises(git.NotKept, match="--trust"):
        keep(kept)
    if name in FOR_EVERY_COMMAND:
        commands = ("check", "keep --by ava", "sync", "history twin", "audit", "diff twin/first twin/first --json")
        codes = [each.code for each in one_after_the_other(commands, kept)]
        assert codes[:3] == [0, 2, 2]
    assert situation(kept).name == "distrusted"
    assert not trace.exists()


def test_the_same_settings_count_where_somebody_said_that_the_book_is_theirs(kept: Path) -> None:
    trace = armed(kept)
    with (kept / ".git" / "config").open("a") as config:
        config.write(PROGRAMS["fsmonitor"])
    trusting.trust(kept)
    assert keep(kept) == []
    assert trace.exists()  # the test above can fail


HOOKS = (
    *("pre-commit", "prepare-commit-msg", "commit-msg", "post-commit", "post-index-change", "reference-transaction"),
    *("pre-auto-gc", "post-merge", "post-checkout", "pre-push", "fsmonitor-watchman", "post-rewrite"),
)


def test_no_hook_of_a_strangers_repository_runs_whatever_is_done_in_it(kept: Path, tmp_path: Path) -> None:
    real_git(tmp_path, "clone", "--quiet", "--bare", str(kept), "hub.git")
    real_git(kept, "remote", "add", "origin", str(tmp_path / "hub.git"))
    trace = armed(kept)
    (kept / ".git" / "hooks").mkdir(exist_ok=True)
    for hook in HOOKS:
        shutil.copy(kept / "evil", kept / ".git" / "hooks" / hook)
    (kept / "shop.yaml").write_text((kept / "shop.yaml").read_text() + "# changed\n")
    shown = one_after_the_other(["keep --by ava", "sync", "check", "history twin"], kept)
    assert [each.code for each in shown] == [0, 0, 0, 0], shown
    assert not trace.exists()
    real_git(kept, "commit", "--quiet", "--allow-empty", "--message=By git itself")
    assert trace.exists()  # the test above can fail


def test_hooks_run_in_a_book_begun_here_and_in_no_other(kept: Path, tmp_path: Path) -> None:
    ours = tmp_path / "ours"
    shutil.copytree(kept, ours, ignore=shutil.ignore_patterns(".git"))
    git.begin(ours)
    git.keep(ours, [ours / "shop.yaml"], "Begin")
    for root in (kept, ours):
        hook = root / ".git" / "hooks" / "post-commit"
        hook.parent.mkdir(exist_ok=True)
        hook.write_text(f"#!/bin/sh\ntouch '{root}/hook ran'\n")
        hook.chmod(0o755)
    assert keep(ours) == []
    (remark,) = keep(kept)
    assert "post-commit" in remark
    assert "--trust" in remark
    assert [(root / "hook ran").exists() for root in (ours, kept)] == [True, False]


def test_a_repository_that_was_there_before_is_not_trusted_by_beginning_a_book_in_it(tmp_path: Path) -> None:
    real_git(tmp_path, "init", "--quiet", "there")
    git.begin(tmp_path / "there")
    assert not trusting.is_trusted(tmp_path / "there")
    git.begin(tmp_path / "home")
    assert trusting.is_trusted(tmp_path / "home")


def elsewhere(book: Path) -> None:
    (book / ".git").rename(book.parent / "elsewhere")
    (book / ".git").write_text(f"gitdir: {book.parent / 'elsewhere'}\n")


def linked(book: Path) -> None:
    (book / ".git").rename(book.parent / "elsewhere")
    (book / ".git").symlink_to(book.parent / "elsewhere")


def borrowing(book: Path) -> None:
    (book / ".git" / "objects" / "info").mkdir(exist_ok=True)
    (book / ".git" / "objects" / "info" / "alternates").write_text("/somewhere/else\n")


def linked_within(book: Path) -> None:
    (book / ".git" / "objects").rename(book.parent / "objects")
    (book / ".git" / "objects").symlink_to(book.parent / "objects")


def settings_linked(book: Path) -> None:
    (book / ".git" / "config").rename(book.parent / "settings")
    (book / ".git" / "config").symlink_to(book.parent / "settings")


def sharing(book: Path) -> None:
    (book / ".git" / "commondir").write_text("../../elsewhere\n")


@pytest.mark.parametrize("arrange", [elsewhere, linked, linked_within, settings_linked, borrowing, sharing])
def test_a_strangers_repository_that_lies_elsewhere_is_not_read(kept: Path, arrange: object) -> None:
    assert callable(arrange)
    arrange(kept)
    assert situation(kept).name == "distrusted"
    with pytest.raises(git.NotKept):
        git.run(kept, "log")


def test_a_repository_further_up_runs_nothing_either(book: Book, run: Run) -> None:
    trace = armed(book.root)
    outer = into_git(book.root.parent)
    with (outer / ".git" / "config").open("a") as config:
        config.write(f"[core]\n\tfsmonitor = '{book.root}/evil'\n")
    with pytest.raises(git.NotKept, match="inside another"):
        git.run(book.root, "status")
    assert run("check", cwd=book.root).returncode == 0
    assert not trace.exists()


def test_a_repository_within_the_book_runs_nothing_either(kept: Path, run: Run) -> None:
    trace = armed(kept)
    inner = kept / "engines" / "inner"
    inner.mkdir()
    (inner / "engine.yaml").write_text("format: 1\nengine: inner\nlayout: v2_90_common_pin\n")
    into_git(inner)
    real_git(kept, "add", "engines/inner")
    real_git(kept, "commit", "--quiet", "--message=A repository within")
    with (inner / ".git" / "config").open("a") as config:
        config.write(f"[core]\n\tfsmonitor = '{kept}/evil'\n")
    run("check", cwd=kept)
    keep(kept)
    run("keep", cwd=kept)
    assert not trace.exists()
    trusting.trust(kept)
    run("check", cwd=kept)
    assert not trace.exists()


def test_links_out_of_a_book_are_not_followed(kept: Path, tmp_path: Path, run: Run) -> None:
    secret = tmp_path / "secret.yaml"
    secret.write_text("format: 1\nsecret: do not read this\n")
    (kept / "engines/twin/first/parts.yaml").symlink_to(secret)
    (kept / "engines/other").symlink_to(tmp_path)
    assert "outside" in {each.rule for each in Reader(kept).load("twin/first").findings}
    for command in (("check",), ("keep",), ("keep", "--even-so"), ("show", "twin/first")):
        done = run(*command, cwd=kept)
        assert "do not read this" not in done.stdout + done.stderr
    assert "do not read this" not in real_git(kept, "log", "--all", "--patch")
