"""What differs, as JSON: weights in g, sizes in mm, in the vocabulary of the files."""

from fractions import Fraction

from buildbook.figures.change import Change
from buildbook.figures.compare import Comparison
from buildbook.figures.old_balance import OldBalance, Spun


def diff(comparison: Comparison) -> dict[str, object]:
    """Every change, group by group and the biggest first, and what became of the old balance."""
    return {
        "from": comparison.before,
        "to": comparison.after,
        "changes": [_change(each) for each in comparison.changes],
        "unchanged": dict(comparison.unchanged),
        "errors": dict(comparison.errors),
        "old_balance": _old_balance(comparison.old_balance) if comparison.old_balance else None,
    }


def _change(change: Change) -> dict[str, object]:
    return {
        "what": change.what,
        "from": _value(change.before),
        "to": _value(change.after),
        "change": _value(change.change),
        "significant": change.significant,
        "why": change.why,
        "group": change.group,
        "unit": change.unit or None,
        "uncertainty": change.uncertainty,
    }


def _value(value: Fraction | str | None) -> float | str | None:
    return float(value) if isinstance(value, Fraction) else value


def _old_balance(old: OldBalance) -> dict[str, object]:
    """Amounts in g at the planes' radii, angles as the machine of the build before counts."""
    return {
        "verdict": old.verdict,
        "why": old.why,
        "change": {
            plane: {"amount": each.amount, "angle": each.angle, "uncertainty": old.uncertainty[plane]}
            for plane, each in old.change.items()
        },
        "left": {plane: {"amount": each.amount, "angle": each.angle} for plane, each in old.left.items()},
        "carried": dict(old.carried),
        "permissible": dict(old.permissible),
        "shop_limit": dict(old.shop),
        "of_means": old.of_means,
        "spun": _spun(old.spun) if old.spun else None,
    }


def _spun(spun: Spun) -> dict[str, object]:
    """What the last spin of the build after showed, as its own machine counts."""
    return {
        "step": spun.step,
        "measured": {plane: {"amount": each.amount, "angle": each.angle} for plane, each in spun.measured.items()},
        "verdict": spun.standing.verdict,
        "carried": dict(spun.standing.carried),
        "permissible": dict(spun.standing.permissible),
        "shop_limit": dict(spun.standing.shop),
        "changed_since": spun.changed_since,
    }
