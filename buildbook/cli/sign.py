"""`sign`: freeze the figures of a stage, and seal the build at the last one."""

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, folder_of, resolve
from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildName,
    By,
    Recorded,
    author,
    command,
    finish,
    keep_by_hand,
    make_record,
    new_app,
    open_book,
    this_minute,
)
from buildbook.records.finding import Finding, nearest

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.records.model import Build, SignOff
    from buildbook.records.tree import MapNode

app = new_app()

STAGES = ("measured", "matched", "balanced", "assembled")
_is_word = re.compile(r"[a-z][a-z0-9_]*").fullmatch


def complete_stages(incomplete: str) -> list[str]:
    return [stage for stage in STAGES if stage.startswith(incomplete)]


Stage = Annotated[
    str,
    typer.Argument(
        metavar="STAGE", help=f"What is signed for: {', '.join(STAGES)}, or a word of the shop's own.",
        autocompletion=complete_stages, show_default=False,
    ),
]  # fmt: skip
Note = Annotated[
    str | None,
    typer.Option("--note", metavar="TEXT", help="Anything the next person should know.", show_default=False),
]
Last = Annotated[
    bool,
    typer.Option("--last", help="This is the last stage: seal the build. 'assembled' always is.", show_default=False),
]


@command(app, "buildbook sign balanced heron-07/2026-10-rebuild --by ava")
def sign(
    stage: Stage,
    build: BuildName = None,
    by: By = None,
    note: Note = None,
    last: Last = False,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Sign a stage off: freeze the figures of the day in build.yaml, and at the last stage seal the build.

    A build with errors is not signed. Warnings do not hinder: they are shown, and counted in the sign-off's note. The
    seal is a tag in git, signed where git is set up to sign, that holds a digest of the build's files and of the
    figures; from then on 'audit' tells of every change, and nothing more is recorded until the build is reopened.
    Where a sealing was cut off in the middle, the same command again makes the seal, if all is still as it was signed.
    """
    from buildbook.records.model import LAST_STAGE

    if not _is_word(stage):
        remedy = f"say the stage first, then the build: {', '.join(STAGES)}, or a plain word in small letters"
        raise Misuse(f"'{stage[:40]}' is no stage", remedy)
    meant = nearest(stage, STAGES) if stage not in STAGES else None
    if meant is not None and abs(len(meant) - len(stage)) < 2 and meant[:4] == stage[:4]:
        raise Misuse(f"'{stage}' is no stage known here", f"did you mean {meant}? or choose a word further from it")
    root = open_book(book)
    name = resolve(root, build, Path.cwd())
    last = last or stage == LAST_STAGE
    if last:
        _make_missing_seal(root, name, stage, as_json)

    asked: list[Finding] = []  # by two benches that wrote two values

    def entry(before: "Figures", tree: "MapNode | None") -> "tuple[str, dict[str, Value]]":
        from buildbook import __version__
        from buildbook.book.sync import undecided
        from buildbook.figures.frozen import frozen
        from buildbook.figures.named import named_figures

        against = [*_objections(root, before)]
        if against:
            finish(name, dict, against, nothing_signed, as_json=as_json)
        asked.extend(undecided.findings(root, folder_of(root, name)))
        found = [*before.thorough_findings, *_not_done(before, stage), *asked]
        doubts = Counter(each.rule for each in found if each.severity == "warning")
        open_ones = ", ".join(f"{count} × {rule}" if count > 1 else rule for rule, count in doubts.items())
        notes = [text for text in (note, f"Signed with warnings: {open_ones}" if open_ones else None) if text]
        fields: dict[str, Value] = {"stage": stage, "version": __version__}
        fields |= {"note": "; ".join(notes)} if notes else {}
        fields |= {"digest": _digest(root, name)} if last else {}
        return f"{stage} signed off", fields | {"figures": frozen(named_figures(before))}

    recorded = make_record(name, root, by, ("build", "sign_offs"), "A", entry, as_json, None)
    figures = recorded.figures
    sign_off = next(each for each in figures.build.sign_offs if each.id == recorded.id)
    seal, unsealed = _seal(root, name, sign_off, recorded) if last else (None, [])
    findings = [*recorded.findings, *figures.thorough_findings, *_not_done(figures, stage), *asked, *unsealed]

    def draw(to: "Console") -> None:
        from buildbook.views.sign import draw_signed

        recorded.draw(to)
        draw_signed(to, sign_off, seal)

    def as_figures() -> dict[str, object]:
        from buildbook.views.sign import signed

        return {"recorded": recorded.id, "sign_off": signed(sign_off, seal)}

    finish(name, as_figures, findings, draw, as_json=as_json)


def _make_missing_seal(root: Path, name: str, stage: str, as_json: bool) -> None:
    """Seal a build that was signed at its last stage and has no seal: a command was killed in between, or git could not
    make it. That is then all, whether it can be done or not; where there is no such sign-off, nothing is done."""
    from buildbook.book import git
    from buildbook.book.auditing import seal, sealing
    from buildbook.book.reading import Reader
    from buildbook.book.writing import lock

    build = Reader(root).load(name).build
    try:
        closing = sealing.without_seal(root, build) if build is not None else None
        if build is None or closing is None or closing.stage != stage:
            return
        path = folder_of(root, name) / "build.yaml"
        with lock(root):
            if seal.not_in_git(root, name) == [path]:  # killed before it was committed
                keep_by_hand(root, path)
                if seal.not_in_git(root, name):
                    raise git.NotKept(git.situation(root) or f"{path.name} is not in git as it is on disk")
            made = sealing.make_seal(root, build, closing, _tagger(build, closing), late=this_minute())
        findings = []
    except (git.NotKept, sealing.NotSealed) as reason:
        if closing is None:
            return
        what = f"{closing.id} was signed and not sealed, and cannot be sealed now: {reason}"
        why = "A seal vouches for what was signed, so none is made where that is not certain."
        remedy = f"see 'buildbook audit {name}'; then: buildbook reopen {name} --because 'not sealed', and sign again"
        if isinstance(reason, git.NotKept):
            remedy = f"put that right; then the same again: buildbook sign {stage} {name}"
        made, findings = None, [Finding("error", "not-sealed", closing.where, what, why, remedy)]
    signed_off = closing

    def draw(to: "Console") -> None:
        from buildbook.views.screen import words
        from buildbook.views.sign import draw_signed

        to.print(words(f"{signed_off.id} was signed before, and its seal was not made then"))
        if made is not None:
            draw_signed(to, signed_off, made)

    def as_figures() -> dict[str, object]:
        from buildbook.views.sign import signed

        return {"recorded": None, "sign_off": signed(signed_off, made)}

    finish(name, as_figures, findings, draw, as_json=as_json)


def _not_done(figures: "Figures", stage: str) -> list[Finding]:
    """Why a stage that is signed does not look done: nothing is recorded of it, or the last spin is over its limit."""
    build = figures.build
    records = {
        "measured": ("measurement", build.clearances),
        "matched": ("pairing", build.pairings.decisions),
        "balanced": ("spin", [step for step in build.spins.steps if step.spin is not None]),
    }
    name, made = records.get(stage, ("", ()))
    found = _over_its_limit(figures)
    if not name or any(each.void is None for each in made):
        return found
    what = f"'{stage}' is signed, and no {name} is recorded"
    why = "A sign-off says that its stage was done."
    remedy = "see 'buildbook next'; sign it again when it is done"
    return [Finding("warning", "not-done", build.files["build"], what, why, remedy), *found]


def _over_its_limit(figures: "Figures") -> list[Finding]:
    """The last spin, where it left more than a limit allows: a job at the machine that is not done."""
    from buildbook.figures.balance import NoBalance

    try:
        last = figures.balance.spins[-1] if figures.balance.spins else None
        over = last is not None and figures.yardsticks.standing(last).verdict == "over"
    except NoBalance:
        return []
    if last is None or not over:
        return []
    what = f"the last spin, {last.step.id}, left more than its limit allows"
    why = "The crankshaft is not balanced as this build asks for."
    return [Finding("warning", "over-limit", last.step.where, what, why, "see 'buildbook spins'")]


def nothing_signed(to: "Console") -> None:
    from buildbook.views.screen import BAD, words

    to.print(words("nothing was signed: this must be put right first", BAD))


def _objections(book: Path, before: "Figures") -> Sequence[Finding]:
    """Why the build cannot be signed as it is."""
    from buildbook.figures.audit_rules import sealed_objection

    closed = sealed_objection(before.build)
    errors = [each for each in before.thorough_findings if each.severity == "error"]
    if closed or errors:
        return [*([closed] if closed else []), *errors]
    return edited(book, before.build.name, "What is signed is what git has, or nobody could look at it later.")


def edited(book: Path, name: str, why: str) -> list[Finding]:
    """Which files of a build are not in git as they are on disk; nothing where there is no git to ask."""
    from buildbook.book import git
    from buildbook.book.auditing import seal
    from buildbook.book.places import top_of

    try:
        loose = seal.not_in_git(book, name)
    except git.NotKept:
        return []
    if not loose:
        return []
    names = ", ".join(path.name for path in loose)
    what = f"{names} {'is not in git as it is' if len(loose) == 1 else 'are not in git as they are'} on disk"
    return [Finding("error", "not-kept", top_of(loose[0]), what, why, "commit it first: buildbook keep")]


def _digest(book: Path, name: str) -> str:
    from buildbook.book import git
    from buildbook.book.auditing import seal

    try:
        return seal.digest_of(book, seal.committed(book, name, "HEAD"))
    except git.NotKept:
        return seal.digest_of(book, seal.on_disk(book, name))


def _seal(book: Path, name: str, sign_off: "SignOff", recorded: Recorded) -> tuple[str | None, list[Finding]]:
    """Seal the build in git and say how, or why not."""
    from buildbook.book import git
    from buildbook.book.auditing import seal, sealing

    build = recorded.figures.build
    try:
        if seal.not_in_git(book, name):
            raise git.NotKept("; ".join(recorded.kept))
        return sealing.make_seal(book, build, sign_off, _tagger(build, sign_off)), []
    except (git.NotKept, sealing.NotSealed) as reason:
        what = f"{sign_off.id} is signed and not sealed: {reason}"
        why = "Without the tag in git, an audit cannot prove that nothing was changed afterwards."
        remedy = f"put that right; then the same again: buildbook sign {sign_off.stage} {name}"
        return None, [Finding("warning", "not-sealed", sign_off.where, what, why, remedy)]


def _tagger(build: "Build", sign_off: "SignOff") -> str:
    return author(build.shop, sign_off.by) or f"{sign_off.by or 'somebody'} <{sign_off.by}@localhost>"
