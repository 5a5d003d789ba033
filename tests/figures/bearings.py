"""Short ways to write down the bearings of a twin: journals, bores, and the limits of their clearances."""

from conftest import Book

from figures.ledger import PARTS
from figures.measurements import write

SIZES = "main_bearings: 3, main_journal: 50.00, rod_journal: 45.00"

# Clearances of 0.052, 0.063 and 0.071 with standard shells: as worked by hand in tests/fits/test_shells.py.
JOURNALS = "what: main_journal, readings: {1: 49.998, 2: 49.999, 3: 49.996}"
BORES = "what: main_bore, readings: {1: 50.050, 2: 50.062, 3: 50.067}"

# The rods of cylinders 1 and 2 as `measurements.PAIRED` has them, on the one throw of the twin.
ROD_JOURNAL = "what: rod_journal, readings: {1: 44.990}"
ROD_BORES = "what: rod_bore, readings: {R1: 45.040, R2: 45.044}"

SHEET = "main_clearance: {min: 0.040, max: 0.060, source: bearing maker's sheet}"


def mains(book: Book, *more: str, limits: str = SHEET, parts: str = "", sizes: str = SIZES) -> Book:
    """The three mains of the twin, measured; `more` are further sessions."""
    write(book, JOURNALS, BORES, *more, limits=limits, parts=PARTS + parts, sizes=sizes)
    return book
