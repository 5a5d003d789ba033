"""`sign` and `reopen`: the figures of the day frozen, the last stage sealed, a sealed build opened on the record."""

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import BUILD, SHOP, Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from figures.turning import on_the_machine, spin

from buildbook.figures.named import named_figures
from cli.workshop import git, into_git

TAG = "sealed/twin/first/A1"


@pytest.fixture
def ready(book: Book) -> Book:
    """A twin that is weighed and paired, in git."""
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2"))
    into_git(book.root)
    return book


def build_file(book: Book) -> str:
    return (book.folder / "build.yaml").read_text()


def tags(book: Book) -> list[str]:
    return git(book.root, "tag").split()


def test_a_stage_on_the_way_freezes_every_figure_and_seals_nothing(ready: Book, run: Run) -> None:
    before = build_file(ready)
    figures = named_figures(ready.figures())
    done = run("sign", "matched", "--by", "ava", "--note", "as agreed", cwd=ready.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert build_file(ready).startswith(before)
    (sign_off,) = ready.figures().build.sign_offs
    assert (sign_off.id, sign_off.stage, sign_off.by, sign_off.version) == ("A1", "matched", "ava", "0.1.0")
    assert sign_off.note == "as agreed"
    assert sign_off.digest is None
    assert sign_off.figures.keys() == figures.keys()
    assert tags(ready) == []
    assert f"{len(figures)} figures frozen" in done.stdout


def test_what_two_benches_wrote_differently_is_asked_before_it_is_signed(ready: Book, run: Run) -> None:
    void = "conflict in W3 readings P1: 480.1 counts, another bench has 480.4: decide"
    asking = f'id: W9, taken: 2026-10-03, what: piston, readings: {{P1: 480.4}}, void: "{void}"'
    ready.write("weighings.yaml", weighings(*ALL_WEIGHED, asking))
    into_git(ready.root)
    left = {
        each["what"]: each for each in json.loads(run("next", "--json", cwd=ready.folder).stdout)["figures"]["next"]
    }
    assert left["decide between two benches: W3 readings P1"]["command"] == "buildbook check twin/first"
    assert "deciding" in left["sign off: matched"]["waits_for"]
    done = run("sign", "matched", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 1
    assert "Signed with warnings: undecided" in done.stdout
    assert "if 480.1 is right" in done.stdout


def test_figures_stand_by_kind_in_lines_that_git_can_compare(ready: Book, run: Run) -> None:
    run("sign", "matched", "--by", "ava", cwd=ready.folder)
    lines = build_file(ready).splitlines()
    assert "      rod_small_end: {R1: 153.9, R2: 154.9}" in lines
    target = ready.figures().bobweights.target
    assert target is not None
    assert f"      bobweight_target: {float(target.total):.2f}".rstrip("0") in "\n".join(lines)


def test_the_sign_off_is_one_commit_of_its_own_by_who_signed(ready: Book, run: Run) -> None:
    run("sign", "matched", "--by", "ava", cwd=ready.folder)
    said = git(ready.root, "log", "-1", "--format=%an|%s|%(trailers:key=Build,valueonly)", "--name-only")
    assert said.startswith("Ava Merrow|Record A1: matched signed off|twin/first")
    assert said.split()[-1] == "engines/twin/first/build.yaml"
    assert git(ready.root, "status", "--porcelain") == ""


@pytest.mark.parametrize("arguments", [("assembled",), ("delivered", "--last")])
def test_the_last_stage_seals_with_a_tag_on_the_commit_that_holds_it(
    ready: Book, run: Run, arguments: tuple[str, ...]
) -> None:
    done = run("sign", *arguments, "--by", "ava", cwd=ready.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert f"sealed with the tag {TAG}" in done.stdout
    assert git(ready.root, "cat-file", "-t", TAG).strip() == "tag"
    assert git(ready.root, "rev-parse", f"{TAG}^{{commit}}") == git(ready.root, "rev-parse", "HEAD")
    message = git(ready.root, "tag", "--list", "--format=%(contents)", TAG)
    head, _, trailers = message.strip().rpartition("\n\n")
    assert "Ava Merrow" in head
    assert [line.partition(": ")[0] for line in trailers.splitlines()] == [
        "Build",
        "Record",
        "Digest",
        "Figures-Digest",
    ]
    assert run("audit", cwd=ready.root).returncode == 0


def test_json_says_what_was_signed_and_sealed(ready: Book, run: Run) -> None:
    said = json.loads(run("sign", "assembled", "--by", "ava", "--json", cwd=ready.folder).stdout)
    signed = said["figures"]["sign_off"]
    assert said["figures"]["recorded"] == signed["id"] == "A1"
    assert signed["digest"].startswith("sha256:")
    assert TAG in signed["sealed"]
    assert signed["figures"]["rod_small_end.R1"] == "153.9"


def refused(book: Book, run: Run, *arguments: str) -> str:
    before = build_file(book)
    head = git(book.root, "rev-parse", "HEAD")
    done = run("sign", *arguments, "--by", "ava", cwd=book.folder)
    assert done.returncode == 1
    assert "nothing was signed" in done.stdout
    assert build_file(book) == before
    assert git(book.root, "rev-parse", "HEAD") == head
    assert tags(book) == []
    return " ".join(done.stdout.split())


def test_a_build_with_an_error_is_not_signed(ready: Book, run: Run) -> None:
    ready.write("weighings.yaml", weighings(*ALL_WEIGHED, "id: W9, what: piston, readings: {P9: 480.0}"))
    git(ready.root, "commit", "--quiet", "--all", "--message=More")
    assert "P9" in refused(ready, run, "matched")


def test_warnings_are_shown_and_stay_on_the_record(ready: Book, run: Run) -> None:
    ready.write("build.yaml", BUILD.replace("max: 1.0", "max: 0.01"))
    ready.write("weighings.yaml", weighings(*ALL_WEIGHED).replace(", by: ava", "", 1))
    git(ready.root, "commit", "--quiet", "--all", "--message=Edited")
    done = run("sign", "matched", "--by", "ava", "--note", "the customer knows", cwd=ready.folder)
    assert done.returncode == 1  # for the warnings, as with every command
    (sign_off,) = ready.figures().build.sign_offs
    assert re.fullmatch(r"the customer knows; Signed with warnings: .*unsigned.*", sign_off.note or "")
    assert "Signed with warnings" in " ".join(done.stdout.split())


@pytest.mark.parametrize("stage", ["matched", "assembled"])
def test_figures_that_are_in_no_history_are_not_frozen(ready: Book, run: Run, stage: str) -> None:
    path = ready.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("480.1", "480.3", 1))
    assert "weighings.yaml is not in git as it is on disk" in refused(ready, run, stage)
    ready.write("parts.yaml", PARTS + "# more\n")
    said = refused(ready, run, stage)  # one finding, whatever their number
    assert (
        "parts.yaml, weighings.yaml are not in git as they are on disk → commit it first: buildbook keep 1 error"
        in said
    )


def test_a_page_that_was_printed_here_keeps_nothing_from_being_signed(ready: Book, run: Run) -> None:
    (ready.folder / "twin-first-labels.html").write_text("printed")
    done = run("sign", "matched", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "matched, by ava" in done.stdout


def test_what_was_edited_before_a_reopening_is_not_laundered_by_it(ready: Book, run: Run) -> None:
    run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    path = ready.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("480.1", "480.3", 1))
    done = run("reopen", "twin/first", "--because", "gasket", "--by", "ava", cwd=ready.root)
    assert done.returncode == 1
    assert done.stdout.startswith("not opened again: this must be put right first\n")
    assert "weighings.yaml is not in git as it is on disk" in " ".join(done.stdout.split())
    assert ready.figures().build.reopened == ()


def test_a_stage_that_is_nearly_one_is_asked_about(ready: Book, run: Run) -> None:
    done = run("sign", "assembld", "--by", "ava", cwd=ready.folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert "did you mean assembled?" in done.stderr


def test_a_crankshaft_over_its_limit_is_not_signed_without_a_word(ready: Book, run: Run) -> None:
    on_the_machine(ready, spin("20.0@30", "62.0@150"))
    limits = "limits: {residual: {front: 1.0, rear: 1.0}, "
    ready.write("build.yaml", BUILD.replace("limits: {", limits))
    git(ready.root, "add", "--all")
    git(ready.root, "commit", "--quiet", "--message=Spun")
    done = run("sign", "balanced", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 1
    assert "the last spin, S1, left more than its limit allows" in " ".join(done.stdout.split())
    assert "over-limit" in (ready.figures().build.sign_offs[-1].note or "")


@pytest.mark.parametrize(("stage", "missing"), [("measured", "measurement"), ("balanced", "spin")])
def test_a_stage_of_which_nothing_is_recorded_is_not_signed_without_a_word(
    ready: Book, run: Run, stage: str, missing: str
) -> None:
    done = run("sign", stage, "--by", "ava", cwd=ready.folder)
    assert done.returncode == 1
    assert f"'{stage}' is signed, and no {missing} is recorded" in " ".join(done.stdout.split())
    assert ready.figures().build.sign_offs[-1].note == "Signed with warnings: not-done"


def test_what_git_does_not_have_is_not_sealed(ready: Book, run: Run) -> None:
    path = ready.folder / "weighings.yaml"
    path.write_text(path.read_text() + "# looked at again\n")
    said = refused(ready, run, "assembled")
    assert "weighings.yaml is not in git as it is on disk" in said
    assert "buildbook keep" in said


def test_a_sealed_build_is_not_signed_again_until_it_is_reopened(ready: Book, run: Run) -> None:
    run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    again = run("sign", "balanced", "--by", "ava", cwd=ready.folder)
    assert again.returncode == 1
    assert "reopen twin/first --because" in " ".join(again.stdout.split())
    run("reopen", "twin/first", "--because", "a piston was dropped", "--by", "tomas", cwd=ready.root)
    assert run("sign", "assembled", "--by", "ava", cwd=ready.folder).returncode == 0
    assert tags(ready) == [TAG, "sealed/twin/first/A2"]
    assert run("audit", cwd=ready.root).returncode == 0


def test_without_git_a_build_is_signed_and_says_why_it_is_not_sealed(ready: Book, run: Run) -> None:
    shutil.rmtree(ready.root / ".git")
    done = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 1
    said = " ".join(done.stdout.split())
    assert "A1 is signed and not sealed" in said
    assert "git init" in said
    (sign_off,) = ready.figures().build.sign_offs
    assert sign_off.digest is not None
    assert sign_off.figures


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("sign", "twin/first"), "say the stage first"),
        (("sign", "Balanced"), "is no stage"),
        (("sign", "matched", "--by", "eva"), "nobody named 'eva'"),
        (("reopen", "twin/first", "--by", "ava"), "add --because"),
        (("reopen", "twin/first", "--because", " ", "--by", "ava"), "add --because"),
        (("reopen", "twin/first", "--because", "x", "--by", "ava"), "was never signed"),
    ],
)
def test_what_was_not_asked_right_is_misuse(ready: Book, run: Run, typed: tuple[str, ...], said: str) -> None:
    before = build_file(ready)
    done = run(*typed, cwd=ready.root)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert build_file(ready) == before


def test_a_reopening_names_the_sign_off_and_the_reason_and_is_asked_for_once(ready: Book, run: Run) -> None:
    run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    done = run("reopen", "twin/first", "--because", "gasket: [another]", "--by", "tomas", "--json", cwd=ready.root)
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["figures"] == {"recorded": "O1", "sign_off": "A1", "because": "gasket: [another]"}
    (opened,) = ready.figures().build.reopened
    assert (opened.id, opened.sign_off, opened.because, opened.by) == ("O1", "A1", "gasket: [another]", "tomas")
    assert "Record O1" in git(ready.root, "log", "-1", "--format=%s")
    again = run("reopen", "twin/first", "--because", "again", "--by", "tomas", cwd=ready.root)
    assert again.returncode == 2
    assert "is open already (O1: gasket: [another])" in again.stderr


def seal_was_not_made(book: Book, run: Run) -> None:
    """As a kill between the commit and the tag leaves it."""
    run("sign", "assembled", "--by", "ava", cwd=book.folder)
    git(book.root, "tag", "--delete", TAG)


def sign_off_was_not_committed(book: Book, run: Run) -> None:
    """As a kill between the writing of the file and the commit leaves it."""
    seal_was_not_made(book, run)
    git(book.root, "reset", "--quiet", "--soft", "HEAD^")
    git(book.root, "reset", "--quiet")


@pytest.mark.parametrize("killed", [seal_was_not_made, sign_off_was_not_committed])
def test_a_sealing_that_was_cut_off_is_found_and_the_same_command_again_ends_it(
    ready: Book, run: Run, killed: Callable[[Book, Run], None]
) -> None:
    killed(ready, run)
    before = build_file(ready)
    audited = run("audit", "--json", cwd=ready.root)
    (found,) = [each for each in json.loads(audited.stdout)["findings"] if each["rule"] == "seal-missing"]
    assert audited.returncode == 1
    assert "'buildbook sign assembled twin/first' makes it" in found["remedy"]
    done = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 0, done
    assert "A1 was signed before, and its seal was not made then" in done.stdout
    assert f"sealed with the tag {TAG}" in done.stdout
    assert (build_file(ready), tags(ready)) == (before, [TAG])
    assert "The seal was made later, on 20" in git(ready.root, "tag", "--list", "--format=%(contents)", TAG)
    assert run("audit", cwd=ready.root).returncode == 0
    again = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert again.returncode == 1
    assert "is closed" in again.stdout


def test_what_a_killed_command_left_half_written_hinders_no_signing(ready: Book, run: Run) -> None:
    (ready.folder / ".build.yaml.x1y2z3.writing").write_text("format: 1\neng")
    done = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 0, done.stdout
    assert "left behind by a command that was killed" in done.stderr
    assert tags(ready) == [TAG]


def test_a_sealing_that_git_cannot_end_now_says_why_and_is_ended_later(ready: Book, run: Run) -> None:
    sign_off_was_not_committed(ready, run)
    lock = ready.root / ".git" / "index.lock"
    lock.touch()  # of another git that is at work
    done = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 1
    said = " ".join(done.stdout.split())
    assert "git's lock" in said
    assert "put that right; then the same again: buildbook sign assembled twin/first" in said
    lock.unlink()
    assert run("sign", "assembled", "--by", "ava", cwd=ready.folder).returncode == 0
    assert tags(ready) == [TAG]


def changed_before(book: Book) -> None:
    """The history rewritten below the sign-off."""
    git(book.root, "reset", "--quiet", "--hard", "HEAD^")
    path = book.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("480.1", "480.3"))
    git(book.root, "commit", "--quiet", "--all", "--amend", "--message=Begin")
    git(book.root, "cherry-pick", "ORIG_HEAD")


def changed_with_it(book: Book) -> None:
    path = book.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("480.1", "480.3"))
    git(book.root, "commit", "--quiet", "--all", "--amend", "--message=Record A1: assembled signed off")


def changed_in_it(book: Book) -> None:
    text = build_file(book)
    assert text.count("piston_spread: 1.9") == 1
    book.write("build.yaml", text.replace("piston_spread: 1.9", "piston_spread: 0.9"))
    git(book.root, "commit", "--quiet", "--all", "--amend", "--message=Record A1: assembled signed off")


def remarked_beside_it(book: Book) -> None:
    book.write("build.yaml", build_file(book).replace("units: {mass: g}", "units: {mass: g}  # as agreed"))
    git(book.root, "commit", "--quiet", "--all", "--amend", "--message=Record A1: assembled signed off")


def changed_beside_it(book: Book) -> None:
    book.write("build.yaml", build_file(book).replace("factor: 50", "factor: 52"))
    git(book.root, "commit", "--quiet", "--all", "--amend", "--message=Record A1: assembled signed off")


@pytest.mark.parametrize(
    ("tamper", "said"),
    [
        (changed_before, "is not what it was signed on"),
        (changed_with_it, "changed more than that"),
        (changed_in_it, "piston_spread was signed as 0.9"),
        (changed_beside_it, "changed more than that"),
        (remarked_beside_it, "changed more than that"),
    ],
)
def test_no_seal_is_made_later_where_anything_is_not_as_it_was_signed(
    ready: Book, run: Run, tamper: Callable[[Book], None], said: str
) -> None:
    seal_was_not_made(ready, run)
    tamper(ready)
    done = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 1, done
    assert said in " ".join(done.stdout.split())
    assert tags(ready) == []


def test_a_change_after_the_sign_off_does_not_keep_its_seal_from_being_made_and_is_found(ready: Book, run: Run) -> None:
    seal_was_not_made(ready, run)
    path = ready.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("480.1", "480.3"))
    git(ready.root, "commit", "--quiet", "--all", "--message=Tidy")
    assert run("sign", "assembled", "--by", "ava", cwd=ready.folder).returncode == 0
    audited = json.loads(run("audit", "--json", cwd=ready.root).stdout)
    assert [each["rule"] for each in audited["findings"]] == ["sealed-changed"]


needs_keys = pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="there is no ssh-keygen to sign with here")


@pytest.fixture
def signing(tmp_path: Path) -> Path:
    """A git that is set up to sign with a key of its own, and knows whose it is."""
    home = tmp_path / "home"
    key = home / "key"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", "ava", "-f", str(key)], check=True)
    kind, public, _ = key.with_suffix(".pub").read_text().split()
    (home / "signers").write_text(f"ava@example.org {kind} {public}\n")
    (home / ".gitconfig").write_text(
        "[user]\n  name = Ava Merrow\n  email = ava@example.org\n"
        f'  signingKey = {key}.pub\n[gpg]\n  format = ssh\n[gpg "ssh"]\n  allowedSignersFile = {home}/signers\n'
    )
    return key


@needs_keys
def test_git_that_is_set_up_to_sign_signs_the_seal(ready: Book, run: Run, signing: Path) -> None:
    done = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert f"sealed with the signed tag {TAG}" in done.stdout
    assert "BEGIN SSH SIGNATURE" in git(ready.root, "cat-file", "-p", TAG)
    assert run("audit", cwd=ready.root).returncode == 0


@needs_keys
def test_a_seal_whose_signed_text_was_changed_has_a_false_signature(ready: Book, run: Run, signing: Path) -> None:
    run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    held = git(ready.root, "cat-file", "-p", TAG).replace("Signed by Ava Merrow", "Signed by Tomas Reddick")
    (ready.root / ".git" / "forged").write_text(held)
    forged = git(ready.root, "hash-object", "-t", "tag", "-w", ".git/forged").strip()
    git(ready.root, "update-ref", f"refs/tags/{TAG}", forged)
    said = json.loads(run("audit", "--json", cwd=ready.root).stdout)
    assert [(each["rule"], each["severity"]) for each in said["findings"]] == [("signature", "error")]


@needs_keys
def test_a_signature_that_nobody_here_can_check_is_no_accusation(ready: Book, run: Run, signing: Path) -> None:
    run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    (signing.parent / "signers").write_text("")
    done = run("audit", cwd=ready.root)
    assert done.returncode == 0
    assert "signature-unknown" in done.stdout


@needs_keys
def test_a_key_that_does_not_work_leaves_the_seal_unsigned_unless_git_must_sign(
    ready: Book, run: Run, signing: Path
) -> None:
    signing.unlink()
    done = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert done.returncode == 0
    assert "which is not signed" in done.stdout
    assert git(ready.root, "cat-file", "-t", TAG).strip() == "tag"
    settings = signing.parent / ".gitconfig"
    settings.write_text(settings.read_text() + "[tag]\n  gpgSign = true\n")
    run("reopen", "twin/first", "--because", "sign it with the key", "--by", "ava", cwd=ready.root)
    must = run("sign", "assembled", "--by", "ava", cwd=ready.folder)
    assert must.returncode == 1
    assert "A2 is signed and not sealed" in " ".join(must.stdout.split())
    assert tags(ready) == [TAG]


def test_user_text_reaches_screen_and_seal_as_data(ready: Book, run: Run) -> None:
    ready.write("shop.yaml", SHOP.replace("Ava Merrow", r'"[bold]Ava\e[31m\nDigest: x"'))
    git(ready.root, "commit", "--quiet", "--all", "--message=Shop")
    done = run("sign", "assembled", "--by", "ava", "--note", "[red]\x1b[2J", cwd=ready.folder)
    assert done.returncode == 0
    assert "\x1b" not in done.stdout
    assert "[red]" in done.stdout
    assert run("audit", cwd=ready.root).returncode == 0
