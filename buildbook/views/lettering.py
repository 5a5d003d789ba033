"""Large letters made of blocks, for what has to be read at arm's length: each 6 columns wide and 5 lines high."""

from buildbook.views.screen import can_draw

_HEIGHT, _WIDTH, _GAP = 5, 3, 1  # in dots; a dot is two columns wide, so that it is about square

# Each letter by its five rows of three dots, one octal digit a row.
_LETTERS = {
    "0": "75557", "1": "26227", "2": "71747", "3": "71317", "4": "55711", "5": "74717", "6": "74757", "7": "71122",
    "8": "75757", "9": "75717", "A": "25755", "B": "65656", "C": "34443", "D": "65556", "E": "74647", "F": "74644",
    "G": "34553", "H": "55755", "I": "72227", "J": "11152", "K": "55655", "L": "44447", "M": "57755", "N": "65555",
    "O": "25552", "P": "65644", "Q": "25563", "R": "65655", "S": "34216", "T": "72222", "U": "55557", "V": "55552",
    "W": "55775", "X": "55255", "Y": "55222", "Z": "71247", "+": "02720", "-": "00700", "/": "11244", ".": "00002",
    "_": "00007", "?": "71202", " ": "00000", "=": "07070",
}  # fmt: skip


def width_of(text: str) -> int:
    """How many columns a text takes in large letters."""
    return 2 * (len(text) * (_WIDTH + _GAP) - _GAP) if text else 0


def large(text: str) -> list[str]:
    """The lines of a text in large letters, of those that `can_enlarge` knows; small letters are shown as capitals."""
    dot = "██" if can_draw() else "##"
    rows = []
    for row in range(_HEIGHT):
        bits = [int(_LETTERS[letter][row], 8) for letter in text.upper()]
        rows.append("  ".join("".join(dot if bit & mask else "  " for mask in (4, 2, 1)) for bit in bits))
    return rows


def can_enlarge(text: str) -> bool:
    return bool(text) and all(letter in _LETTERS for letter in text.upper())
