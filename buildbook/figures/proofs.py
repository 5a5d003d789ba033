"""What the record of spins proves: test masses, parts that should be neutral, parts turned, drift, and how the
readings answered the holes drilled so far."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Literal

from buildbook.balance.proving import (
    Diagnosis,
    Difference,
    Indexed,
    ProvingSpin,
    Response,
    difference,
    index_balance,
    proving_spin,
    response,
)
from buildbook.balance.unbalance import NOTHING, BalancingError
from buildbook.figures.balance import BalanceFigures, SpinFigure, mm
from buildbook.records.model import Change


@dataclass(frozen=True, slots=True)
class Proof:
    """Something proved between spins: which spins, of what, and what came of it."""

    kind: Literal["proving_spin", "part", "index", "drift"]
    spins: tuple[str, ...]
    what: str
    found: ProvingSpin | Difference | Indexed


def proofs(balance: BalanceFigures) -> list[Proof]:
    """Everything that the record proves, in its order; parts that were turned come last."""
    return [*_between_spins(balance), *_indexed(balance)]


def answers_to_holes(balance: BalanceFigures) -> Response | None:
    """How the readings answered the holes and plugs so far, see `proving.response`; None before the first."""
    pairs, swapped = [], []
    for before, spin in zip(balance.spins, balance.spins[1:], strict=False):
        changes = _changes(spin)
        if changes and spin.predicted is not None and all(change.kind in {"drill", "plug"} for change in changes):
            pairs.append((spin.predicted - before.measured, spin.measured - before.measured))
            swapped.append(sum((figure.swapped or figure.change or NOTHING for figure in spin.since), start=NOTHING))
    if not pairs:
        return None
    told_to_tip = any(change.words.get("depth_to") == "tip" for spin in balance.spins for change in _changes(spin))
    other = Diagnosis.DEPTH_TO_SHOULDER if told_to_tip else Diagnosis.DEPTH_TO_TIP
    return response(pairs, balance.angles, balance.repeatability or 0.0, balance.density, {other: swapped})


def _changes(spin: SpinFigure) -> list[Change]:
    return [figure.step.change for figure in spin.since if figure.step.change is not None]


def _between_spins(balance: BalanceFigures) -> Iterator[Proof]:
    repeatability = balance.repeatability or 0.0
    for before, spin in zip(balance.spins, balance.spins[1:], strict=False):
        ids = (before.step.id or "", spin.step.id or "")
        moved = difference(before.measured, spin.measured, repeatability)
        match _changes(spin):
            case [Change(kind="add") as added] if spin.since[0].change is not None:
                plane = balance.plane(added.words["plane"])
                position = mm(added.numbers.get("position"), plane.position)
                found = proving_spin(
                    before.measured, spin.measured, spin.since[0].change.resultant, position,
                    balance.planes, balance.angles, repeatability,
                )  # fmt: skip
                amount = added.numbers["amount"]
                unit = "" if amount.text.endswith(amount.unit) else f" {amount.unit}"
                what = f"test mass of {amount.text}{unit} at the {added.words['plane']} plane"
                yield Proof("proving_spin", ids, what, found)
            case [Change(kind="fit") as fitted]:
                yield Proof("part", ids, fitted.words["part"], moved)
            case [Change(kind="remove") as removed] if "part" in removed.words:
                yield Proof("part", ids, removed.words["part"], Difference(-moved.change, moved.uncertainty))
            case [] if before.carrying == spin.carrying:
                # by what the machine is said to do: what these spins show of its scatter, they would always agree with
                by = repeatability if balance.stated_repeatability is None else balance.stated_repeatability
                yield Proof("drift", ids, "the same state", difference(before.measured, spin.measured, by))


def _indexed(balance: BalanceFigures) -> Iterator[Proof]:
    """Runs of spins between which one part was turned, and nothing else was done."""
    sense = 1 if balance.angles.positive == "with_rotation" else -1
    run: list[tuple[float, SpinFigure]] = []
    part = ""
    for spin in balance.spins:
        match _changes(spin):
            case [Change(kind="index") as turned] if run:
                if turned.words["part"] != part:
                    yield from _index_proof(balance, part, run)
                    run, part = [(0.0, run[-1][1])], turned.words["part"]
                run.append((run[-1][0] + sense * float(turned.numbers["angle"].worth("deg")), spin))
            case _:
                yield from _index_proof(balance, part, run)
                run, part = [(0.0, spin)], ""
    yield from _index_proof(balance, part, run)


def _index_proof(balance: BalanceFigures, part: str, run: list[tuple[float, SpinFigure]]) -> Iterator[Proof]:
    if len(run) > 1:
        with suppress(BalancingError):  # turned by nothing at all: found by its own rule
            found = index_balance([(angle, spin.measured) for angle, spin in run], balance.repeatability or 0.0)
            yield Proof("index", tuple(spin.step.id or "" for _, spin in run), part, found)
