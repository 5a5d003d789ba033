"""Short ways to write the ledger texts of these tests; what is left out here says nothing about the figures."""

PARTS = """\
format: 1
parts:
  - {kind: rod, ids: [R1, R2]}
  - {kind: piston, ids: [P1, P2]}
  - {kind: pin, ids: [N1, N2]}
"""

# A twin with everything weighed that its bobweight is made of.
ALL_WEIGHED = (
    "id: W1, what: rod_big_end, readings: {R1: 421.4, R2: 420.9}",
    "id: W2, what: rod_small_end, readings: {R1: 153.9, R2: 154.9}",
    "id: W3, what: piston, readings: {P1: 480.1, P2: 482.0}",
    "id: W4, what: pin, readings: {N1: 152.3, N2: 152.5}",
    "id: W5, what: ring_set, lot: {total: 110.8, pieces: 2, per_cylinder: 1}",
    "id: W6, what: rod_bearing, lot: {total: 87.0, pieces: 4, per_rod: 2}",
)


def weighings(*sessions: str, unit: str = "g") -> str:
    """weighings.yaml, each session by ava with the scale on 2026-10-03 unless it says otherwise."""
    usual = {"taken": "2026-10-03T09:10+01:00", "by": "ava", "with": "scale"}
    lines = []
    for session in sessions:
        more = "".join(f", {name}: {value}" for name, value in usual.items() if f"{name}: " not in session)
        lines.append(f"  - {{{session}{more}}}\n")
    return f"format: 1\nunits: {{mass: {unit}}}\nsessions:\n{''.join(lines)}"


def engine(layout: str) -> str:
    return f"format: 1\nengine: twin\nlayout: {layout}\n"


def pairings(*cylinders: str, decided: str = "taken: 2026-10-04T08:00+01:00, by: ava", locked: str = "") -> str:
    """pairings.yaml with a decision, one text for each cylinder, in the order of their numbers."""
    places = "".join(f"  {number}: {{{pieces}}}\n" for number, pieces in enumerate(cylinders, start=1))
    return f"format: 1\n{locked}decided: {{{decided}}}\ncylinders:\n{places}"
