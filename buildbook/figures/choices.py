"""Limits, choices and sizes of an engine that two builds state differently, and what hangs on each."""

from collections.abc import Iterator
from fractions import Fraction

from buildbook.figures.change import Change
from buildbook.quantities import DIMENSIONS, Quantity, decimals_for
from buildbook.records.model import Build, Limit, SpelledLayout

Chosen = Quantity | Fraction | str | None


def choices(old: Build, new: Build) -> Iterator[Change]:
    """Every limit and choice that differs."""
    for name in dict.fromkeys((*old.limits, *new.limits)):
        yield from _limit_changes(name, old.limits.get(name), new.limits.get(name))
    for kind, then, now, why in _choices(old, new):
        yield from _chosen(kind, "", then, now, why)


def _choices(old: Build, new: Build) -> Iterator[tuple[str, Chosen, Chosen, str]]:
    """Every choice of a build and size of its engine on both sides, and what hangs on it."""
    bobweights, permissible = "changes every bobweight", "changes the permissible residual"
    then, now = old.balance, new.balance
    yield "balance.factor", _exact(then.factor), _exact(now.factor), bobweights
    yield "balance.oil", then.oil, now.oil, bobweights
    yield "balance.grade", then.grade, now.grade, permissible
    yield "balance.max_speed", then.max_speed, now.max_speed, permissible
    yield "balance.leave", _exact(then.leave), _exact(now.leave), "changes how much a planned hole leaves"
    yield "intake_closes", old.intake_closes, new.intake_closes, "changes the compression when running"
    yield "use", old.use, new.use, "other use, other clearances"
    yield "purpose", old.purpose, new.purpose, "what was asked for"
    one, other = old.engine, new.engine
    another = "another crankshaft or layout: bobweights and angles are not the same"
    yield "engine.layout", _layout_words(one.layout), _layout_words(other.layout), another
    yield "engine.stroke", one.stroke, other.stroke, another
    yield "engine.bore_spacing", one.bore_spacing, other.bore_spacing, another
    for name in ("bore", "rod_length", "main_journal", "rod_journal"):
        yield f"engine.{name}", getattr(one, name), getattr(other, name), "another nominal size"
    yield "engine.main_bearings", _exact(one.main_bearings), _exact(other.main_bearings), "other bearings to measure"
    fires, fired = (" ".join(each.firing_order) or None for each in (one, other))
    yield "engine.firing_order", fires, fired, "changes the order of ignition"


def _exact(number: object) -> Fraction | None:
    return Fraction(str(number)) if number is not None else None


def _layout_words(layout: str | SpelledLayout | None) -> str | None:
    if not isinstance(layout, SpelledLayout):
        return layout
    throws = (
        f"{name} at {throw.angle.text}: "
        + ", ".join(f"{each} {bank}{f' at {own.text}' if own else ''}" for each, (bank, own) in throw.cylinders.items())
        for name, throw in layout.throws.items()
    )
    banks = ", ".join(f"{bank} {angle.text}" for bank, angle in layout.banks.items())
    return f"{banks}; {'; '.join(throws)}"


def _limit_changes(name: str, old: Limit | None, new: Limit | None) -> Iterator[Change]:
    then, now = _bounds(old), _bounds(new)
    for bound in {**then, **now}:
        before, after = then.get(bound), now.get(bound)
        if before is None or after is None:
            why = "not limited before" if before is None else "no longer limited"
        else:
            raised = _worth(after) > _worth(before)
            why = "tighter" if raised == (bound.partition(".")[0] == "min") else "looser"
        yield from _chosen("limits", f"{name}.{bound}", before, after, why)


def _bounds(limit: Limit | None) -> dict[str, Quantity | Fraction]:
    if limit is None:
        return {}
    found: dict[str, Quantity | Fraction] = dict(limit.bounds)
    found |= {name: Fraction(ratio) for name, ratio in limit.ratios.items()}
    return found | {f"{name}.per_mm": Fraction(share) for name, share in limit.per_mm.items()}


def _worth(value: Quantity | Fraction) -> Fraction:
    return value.worth(DIMENSIONS[value.dimension][0]) if isinstance(value, Quantity) else value


def _chosen(kind: str, place: str, old: Chosen, new: Chosen, why: str) -> Iterator[Change]:
    """A choice that differs: as a number in the first unit of its dimension where it is one."""
    values = [None if each is None or isinstance(each, str) else _worth(each) for each in (old, new)]
    before, after = (value if value is not None else each if isinstance(each, str) else None
                     for value, each in zip(values, (old, new), strict=True))  # fmt: skip
    if before == after:
        return
    change: Fraction | str | None = "another" if before is not None and after is not None else None
    weight = 1.0
    if isinstance(before, Fraction) and isinstance(after, Fraction):
        change = after - before
        weight = float(abs(change) / max(abs(before), abs(after)))
    quantities = [each for each in (old, new) if isinstance(each, Quantity)]
    unit = DIMENSIONS[quantities[0].dimension][0] if quantities else None
    steps = [each.last_digit(unit) for each in quantities if unit]
    decimals = max((decimals_for(each) for each in steps), default=_digits(before, after))
    yield Change("choices", kind, place, before, after, change, True, why, unit, None, decimals, weight)


def _digits(*values: Fraction | str | None) -> int:
    """Digits enough for numbers that were written as decimals."""
    numbers = [each for each in values if isinstance(each, Fraction)]
    return next((digits for digits in range(7) if all((each * 10**digits).denominator == 1 for each in numbers)), 6)
