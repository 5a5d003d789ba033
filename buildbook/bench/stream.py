"""What a scale or a gauge prints, line by line: a reading, or why it is none.

The printed forms are told apart by their shape, not by who made the instrument: words for the state, a sign, padding,
digits, a unit, a mark. What the words mean is common practice, no source.
"""

import os
import re
import select
import sys
from collections.abc import Callable, Sequence
from decimal import Decimal
from importlib import import_module
from pathlib import Path
from time import monotonic
from types import TracebackType
from typing import NamedTuple, Self

from buildbook.book.places import Misuse
from buildbook.quantities import DIMENSIONS, MOST_DIGITS, UNITS


class Value(NamedTuple):
    """A number with the digits as printed, its unit (None where none was printed), and whether the instrument had come
    to rest; one that does not say counts as at rest."""

    text: str
    unit: str | None
    stable: bool


class Trouble(NamedTuple):
    """Why a line is no reading, what to do about it, and in one word what kind of trouble it is."""

    what: str
    remedy: str
    kind: str


Shown = Value | Trouble

# The kinds of trouble with a line that may hold a reading all the same; of the others the instrument itself says that
# it has none.
MAY_BE_A_READING = frozenset(("not understood", "unreadable", "unit", "several", "cut off"))


# How units are printed beside the names they have here.
_PRINTED = {name.casefold(): name for name in UNITS} | {
    "lbs": "lb", "gn": "gr", "inch": "in", '"': "in", "nm": "N m",
}  # fmt: skip

_STABLE = frozenset(("st", "s"))
_MOVING = frozenset(("us", "d", "sd", "m", "?"))
_TARE = frozenset(("t", "tr", "tare", "pt"))
_WHAT_IT_IS = frozenset(("gs", "g", "gross", "b", "nt", "n", "net", "w", "wt"))

_is_printed = re.compile(
    r"""
    (?P<head> (?: (?:[a-z]+|\?) (?: [\s,:]+ | (?=[+-]) ) )* )      # ST,GS, or S S or ?
    (?P<sign> [+-]? ) \s*                                          # padding may come between the sign and the digits
    (?P<number> \d+ (?: [.,] \d* )? | [.,] \d+ )
    (?: \s* (?P<unit> " | n \s m | lbf \s (?:ft|in) | [a-z]+ [0-9]? ) )?
    (?: \s* (?P<tail> \? ) | [\s,]+ (?P<word> s | st | us | sd | d | m ) )?
    """,
    re.VERBOSE,
).fullmatch

_RANGE = "take it off, see what the instrument can carry or reach, set it to zero, and do it again"

# What is shown instead of a number, as a whole line or behind the words for the state.
_SIGNALS = tuple(
    (re.compile(pattern).fullmatch, what, remedy, kind)
    for pattern, what, remedy, kind in (
        (r"\+?(o\.?l|of|over|overload|hi|h+)|(s\s+)?\+|\^+", "that it has too much", _RANGE, "too much"),
        (r"-?(u\.?l|uf|under|underload|lo|l+)|(s\s+)?-|_+", "that it has too little", _RANGE, "too little"),
        (r"\+?[-=*]{2,}\s*[a-z]*", "no number", "it is out of its range, or not ready yet", "no number"),
        (r"(e|er|err|error|fault)[\s.:-]*\d*|s\s+i", "a fault", "see its manual; switch it off and on again", "fault"),
    )
)


def parse(line: bytes, dimension: str = "mass") -> Shown:
    """What one printed line says of a weight or a size. Whatever is not certainly a reading is a Trouble.

    A number in another unit of the dimension keeps its own unit; nothing is converted here.
    """
    raw = line.strip(b" \t\r\n\x02\x03")  # some frame their lines with the marks for start and end of text
    if not raw:
        return Trouble("the line is empty", "press PRINT with something on the scale", "not understood")
    shown = _shown(raw)
    if any(byte >= 0x80 or (byte < 0x20 and byte != 0x09) for byte in raw):
        remedy = "speed or parity do not agree: see the instrument's settings, as in --from PORT@9600,7E1"
        return Trouble(f"what came cannot be read: {shown}", remedy, "unreadable")
    small = raw.decode("ascii").casefold()
    signal = re.sub(r"^(?:(?:st|us|gs|nt)[\s,:]+)+", "", small)
    for shows, what, remedy, kind in _SIGNALS:
        if shows(signal):
            return Trouble(f"the instrument shows {what}: {shown}", remedy, kind)
    printed = _is_printed(small)
    if printed is None:
        return _not_understood(raw)
    words = {*re.findall(r"[a-z]+|\?", printed["head"]), *filter(None, (printed["tail"], printed["word"]))}
    if words & _TARE:
        return Trouble(f"that is the tare, not what is on the scale: {shown}", "have it print the net weight", "tare")
    if not words <= _STABLE | _MOVING | _WHAT_IT_IS:
        return _not_understood(raw)
    unit = _unit(printed["unit"], dimension)
    if isinstance(unit, Trouble):
        return unit
    number = _number(printed["sign"], printed["number"])
    if sum(map(str.isdigit, number)) > MOST_DIGITS:
        return _not_understood(raw)
    if not number.strip("-0."):
        remedy = "put the piece on, then press PRINT; a size that truly is zero is typed"
        return Trouble("the instrument shows zero", remedy, "zero")
    if dimension == "mass" and number.startswith("-"):
        remedy = "empty it, set it to zero, and weigh again"
        return Trouble(f"the scale shows less than nothing: {shown}", remedy, "below zero")
    return Value(number, unit, stable=words.isdisjoint(_MOVING))


def _unit(printed: str | None, dimension: str) -> str | Trouble | None:
    """The unit by its name here; None where none was printed."""
    if printed is None:
        return None
    remedy = f"set the instrument to one of {', '.join(DIMENSIONS[dimension])}"
    if printed == "gr":
        return Trouble("'gr' may be grams or grains", remedy, "unit")
    unit = _PRINTED.get(" ".join(printed.split()))
    if unit is None:
        return Trouble(f"the unit '{printed[:12]}' is not known here", remedy, "unit")
    if UNITS[unit].dimension != dimension:
        what = f"the instrument reads in {unit}, a {UNITS[unit].dimension}, where a {dimension} belongs"
        return Trouble(what, remedy, "unit")
    return unit


def _number(sign: str, printed: str) -> str:
    """The digits as printed, as any program reads them: with a point, and without zeros that only fill the width."""
    digits = printed.replace(",", ".").removesuffix(".")
    whole, point, part = digits.partition(".")
    return f"{sign.removeprefix('+')}{whole.lstrip('0') or '0'}{point}{part}"


def _not_understood(raw: bytes) -> Trouble:
    remedy = "have the instrument print one line for each reading: number and unit"
    return Trouble(f"this is not understood: {_shown(raw)}", remedy, "not understood")


def _shown(raw: bytes) -> str:
    """A line so that it can be told: what is no letter or digit as its code, and no more than a builder can take in."""
    text = "".join(chr(byte) if 0x20 <= byte < 0x7F else f"\\x{byte:02x}" for byte in raw[:24])
    return f"'{text}{'…' if len(raw) > 24 else ''}'"


# Seconds. A key is pressed by hand: there is a pause before what it prints, and quiet after it. What comes without a
# pause for so long is a scale that sends all the time, whatever lies on it.
_PAUSE, _QUIET, _LONG = 1.2, 0.25, 3.0
_STEADY = 3  # equal lines of such a scale that make a reading

_LONGEST = 80  # bytes; a line that has not ended by then is none
_ends = re.compile(rb"[\r\n\x8d\x8a]")  # the latter two are CR and LF with a parity bit that nobody took off

_settings = re.compile(r"(?P<port>.+)@(?P<speed>\d{3,6})(?:,(?P<bits>[78])(?P<parity>[NEO])(?P<stop>[12]))?").fullmatch


def open_source(spec: str, dimension: str = "mass") -> "Source":
    """A scale or gauge by its port, as in `/dev/ttyUSB0`, `/dev/ttyUSB0@9600` or `COM3@4800,7E1`; `-` is standard
    input. A port alone is read as it is set up on this machine. Raises Misuse."""
    if spec == "-":
        return Source(sys.stdin.fileno(), "standard input", dimension, by_key=False)
    settings = _settings(spec)
    if settings is None:
        if "@" in spec and not Path(spec).exists():
            raise Misuse(f"'{spec[:60]}' is no port", "write it like /dev/ttyUSB0, /dev/ttyUSB0@9600 or …@9600,7E1")
        return _open_tty(spec, dimension)
    try:
        serial = import_module("serial")
    except ImportError:
        raise Misuse("setting up a serial port takes pyserial", "pip install 'buildbook[serial]'") from None
    port, bits, parity, stop = (settings[name] for name in ("port", "bits", "parity", "stop"))
    try:
        line = serial.Serial(
            port, int(settings["speed"]), int(bits or 8), parity or "N", int(stop or 1), timeout=0, exclusive=True
        )
    except (OSError, ValueError) as error:
        raise _not_opened(port, error) from None
    return Source(line.fileno(), port, dimension, by_key=True, close=line.close)


def _open_tty(port: str, dimension: str) -> "Source":
    import termios
    import tty

    try:
        fd = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError as error:
        raise _not_opened(port, error) from None
    if not os.isatty(fd):
        os.close(fd)
        raise Misuse(f"'{port[:60]}' is no port", "name a serial port; a stream is read by '--from -', a file by --csv")
    tty.setraw(fd)  # what waited in it from before is thrown away
    settings = termios.tcgetattr(fd)
    settings[2] |= termios.CLOCAL | termios.CREAD  # few instruments have a wire for the carrier
    termios.tcsetattr(fd, termios.TCSANOW, settings)
    return Source(fd, port, dimension, by_key=True, close=lambda: os.close(fd))


def _not_opened(port: str, error: Exception) -> Misuse:
    found = sorted(str(path) for kind in ("ttyUSB*", "ttyACM*", "cu.usb*") for path in Path("/dev").glob(kind))
    here = f"ports here: {', '.join(found)}" if found else "no port is here now: plug the instrument in"
    reason = getattr(error, "errno", None)
    if reason is not None:
        return Misuse(f"port '{port[:60]}': {os.strerror(reason)}", here)
    return Misuse(f"port '{port[:60]}' cannot be opened", here)


class Source:
    """Readings from an instrument, one at a time; for `with`. After `ended` no more will come.

    Where a key makes it print (`by_key`), that key is Enter. A scale that sends all the time is waited for until it is
    steady, tells each piece once, and the next one only after it was empty. Of any other stream each line counts.
    """

    def __init__(
        self, fd: int, name: str, dimension: str, *, by_key: bool, close: Callable[[], None] = lambda: None
    ) -> None:
        self.name = name
        self.ended = False
        self._fd = fd
        self._dimension = dimension
        self._by_key = by_key
        self._close = close
        self._begun = b""  # a line that has not ended
        self._came: list[Shown] = []  # and was not told yet
        self._by_itself = False  # whether it is known to send all the time
        self._since = self._last = -_PAUSE  # when what comes without a pause began, and when something came last
        self._taken: Value | None = None  # what still lies on a scale that sends all the time
        self._is_awaited = False  # whether it was said to press again once the instrument has come to rest
        self._warned: str | None = None  # the kind of trouble that was told, and lasts
        self._alike: list[Shown] = []  # what it sent, line after line

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        self._close()

    def fileno(self) -> int:
        """For `select`: when something has come, `read(0)` says what it means, again and again until it is None."""
        return self._fd

    def read(self, timeout: float) -> Shown | None:
        """The next reading at rest, or trouble; None where there is none within `timeout` [s]. While what a key printed
        is coming in, that takes a little longer."""
        until = monotonic() + timeout
        while True:
            told = self._next()
            if told is not None:
                return told
            if self.ended:
                what = f"nothing more comes from {self.name}"
                return Trouble(what, "see to the cable and the instrument, then go on where you stopped", "ended")
            left = until - monotonic()
            if left < -_QUIET or not self._more_within(max(left, 0)):  # one that never pauses must not keep the caller
                return None

    def _next(self) -> Shown | None:
        if not self._by_key:
            while self._came:
                shown = self._came.pop(0)
                if isinstance(shown, Trouble) or shown.stable:
                    return shown
            return None
        now = monotonic()
        if self._came and not self._by_itself and now - self._last >= _PAUSE:
            self._since = now
            while self._more_within(_QUIET) and not self.ended and monotonic() - now < _PAUSE:
                pass
            self._last = monotonic()
            if self._last - now < _PAUSE:
                pressed, self._came = self._came, []
                return self._pressed(pressed)
        while self._came:
            self._last = monotonic()
            self._by_itself |= self._last - self._since > _LONG
            if (told := self._sent(self._came.pop(0))) is not None:
                return told
        return None

    def _pressed(self, lines: Sequence[Shown]) -> Shown:
        """What one press of the key printed: some print a ticket of several lines."""
        values = list(dict.fromkeys(line for line in lines if isinstance(line, Value)))
        at_rest = [value for value in values if value.stable]
        if len(at_rest) == 1:
            return self._take(at_rest[0])
        if at_rest:
            said = ", ".join(f"{value.text} {value.unit or ''}".strip() for value in at_rest[:4])
            return Trouble(f"several readings came at once: {said}", "have it print one line for each", "several")
        if values:
            self._is_awaited = True
            return Trouble("it had not come to rest", "wait until it has, then press PRINT again", "moving")
        troubles = [line for line in lines if isinstance(line, Trouble)]
        return next((each for each in troubles if each.kind != "not understood"), troubles[0])

    def _take(self, value: Value) -> Value:
        """A reading, which is told once."""
        self._taken, self._is_awaited, self._warned, self._alike = value, False, None, []
        return value

    def _sent(self, shown: Shown) -> Shown | None:
        """What one more line of a scale that sends all the time makes of those before it."""
        if self._is_awaited and isinstance(shown, Value) and shown.stable and shown != self._taken:
            return self._take(shown)  # however soon the key was pressed again
        if isinstance(shown, Trouble):
            if shown.kind in {"zero", "below zero"}:  # it is empty: that is how it waits
                self._taken, self._warned, self._alike = None, None, []
                return None
            if shown.kind == "cut off":
                return shown
        elif self._taken is not None and self._moved_off(shown):
            self._taken = None
        if isinstance(shown, Value) and (self._taken is not None or not shown.stable):
            self._alike = []
            return None
        if not self._alike or _likeness(self._alike[-1]) != _likeness(shown):
            self._alike = []
        self._alike.append(shown)
        if len(self._alike) < _STEADY:
            return None
        if isinstance(shown, Value):
            return self._take(shown)
        self._alike = []
        told_before, self._warned = self._warned == shown.kind, shown.kind
        return None if told_before else shown

    def _moved_off(self, shown: Value) -> bool:
        """Whether what was taken is no longer what is there: a scale lost half of it, a gauge moved."""
        if self._taken is None or self._taken.unit != shown.unit:
            return True
        taken, now = Decimal(self._taken.text), Decimal(shown.text)
        return now < taken / 2 if self._dimension == "mass" else abs(now - taken) > abs(taken) / 50

    def _more_within(self, seconds: float) -> bool:
        """Whether anything came within that time, if only the end."""
        ready, _, _ = select.select([self._fd], [], [], seconds)
        if not ready:
            return False
        try:
            came = os.read(self._fd, 4096)
        except BlockingIOError:
            return True
        except OSError:  # the cable was pulled out
            came = b""
        *lines, self._begun = _ends.split(self._begun + came)
        self._came += [parse(line, self._dimension) for line in lines if line.strip()]
        if not came:
            self.ended = True
            if self._begun:
                what = f"the last line was cut off: {_shown(self._begun)}"
                self._came.append(Trouble(what, "enter that one again; a line must end with Enter", "cut off"))
        elif len(self._begun) > _LONGEST:
            self._came.append(_not_understood(self._begun))
            self._begun = b""
        return True


def _likeness(shown: Shown) -> object:
    return shown if isinstance(shown, Value) else shown.kind
