"""The weights that trial runs ask for."""

from rich.console import Console

from buildbook.figures.trial import TrialFigures, reading
from buildbook.quantities import fixed
from buildbook.views.screen import BOLD, DIM, DOUBT, heading, line, row, table, words


def as_json(figures: TrialFigures) -> dict[str, object]:
    def of(value: complex) -> dict[str, float]:
        amount, angle = reading(value)
        return {"amount": amount, "angle": angle}

    correction = figures.correction
    return {
        "weights": {plane: of(weight) for plane, weight in correction.weights.items()},
        "expected": {name: of(value) for name, value in correction.expected.items()},
        "expected_residual": correction.expected_residual,
        "condition": correction.condition,
        "coefficients": {
            plane: {name: of(value) for name, value in column.items()} for plane, column in figures.coefficients.items()
        },
    }


def draw_trial(to: Console, figures: TrialFigures) -> None:
    correction = figures.correction
    heading(to, "Trial runs", "angles as they were read, all counted the same way")
    weights = table(("plane", "left"), ("set on", "right"), ("at", "right"))
    for plane, weight in correction.weights.items():
        amount, angle = reading(weight)
        row(weights, plane, words(fixed(amount, 2), BOLD), words(f"{fixed(angle, 1)}°", BOLD))
    to.print(weights)
    left = ", ".join(f"{name}: {fixed(abs(value), 2)}" for name, value in correction.expected.items())
    to.print(words(f"readings expected then: {left} (root mean square {fixed(correction.expected_residual, 2)})"))
    condition = f"condition {fixed(correction.condition, 1)}"
    said = "an error of the readings may grow by this factor on the way to the weights"
    to.print(line((condition, DOUBT if correction.condition > 10 else BOLD), f": {said}"))
    to.print(words("Weights in the unit of the trial weights, at their radius. Take the trial weights off first.", DIM))
    caution = "Caution: a trial weight that lets go is a projectile. Fasten it, stand clear, and keep the speed down."
    to.print(words(caution, DIM))
