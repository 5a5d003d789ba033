"""What a scale prints becomes a reading with its digits as printed, or it is told why not; never anything between."""

import os
import pty
import select
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Iterator
from importlib import import_module

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from buildbook.bench import stream
from buildbook.bench.stream import Shown, Source, Trouble, Value, open_source, parse
from buildbook.book.places import Misuse
from buildbook.quantities import DIMENSIONS, read_quantity

# The printed forms by their shape: {n} is the number in its padding, {u} the unit.
FORMS = [
    "{n}", "{n} {u}", "{n}{u}", "{n}  {u}  ", "ST,GS,{n} {u}", "ST,NT,{n}{u}", "ST,{n} {u}", "S S {n} {u}", "N {n} {u}",
    "G {n} {u}", "GS:{n} {u}", "WT: {n} {u}", "S {n} {u}", "{n} {u} S", "\x02{n} {u}\x03",
]  # fmt: skip
MOVING = ["US,GS,{n} {u}", "US,{n} {u}", "S D {n} {u}", "SD {n} {u}", "? {n} {u}", "{n} {u} ?", "{n} {u}?", "{n} {u} D"]

# digits without zeros in front, as a person writes them, and not nothing
digits = st.from_regex(r"([1-9][0-9]{0,4}|0)(\.[0-9]{1,4})?", fullmatch=True).filter(lambda text: text.strip("0."))
masses = st.sampled_from([unit for unit in DIMENSIONS["mass"] if unit != "gr"])


@given(
    digits, st.sampled_from(FORMS + MOVING), masses, st.sampled_from(["", "+", "+ ", "+    ", "    "]),
    st.sampled_from(["", "0", "000"]), st.booleans(), st.booleans(),
)  # fmt: skip
def test_every_printed_form_keeps_its_digits_and_its_unit(
    number: str, form: str, unit: str, padding: str, zeros: str, upper: bool, comma: bool
) -> None:
    printed = padding + zeros + (number.replace(".", ",") if comma else number)
    line = form.format(n=printed, u=unit.upper() if upper else unit)
    value = parse(line.encode())
    assert value == Value(number, unit if "{u}" in form else None, stable=form in FORMS)
    assert isinstance(value, Value)
    read_quantity(f"{value.text} {value.unit or 'g'}", "mass", None)


@given(st.binary(max_size=40))
@example(b"N12")
@example(b"1e5 g")
@example(b"1 lb 5.6 oz")
@example(b"61 1.4 g")
@example(b"2026-11-25 12:30")
@example(b"1.2.3 g")
@example(b"12,345.6 g")
@example(b"0x1f g")
@example(b"+-3 g")
@example(b"3 g 4 g")
def test_garbage_never_becomes_a_value(line: bytes) -> None:
    """Whatever is taken for a value is one unbroken run of digits, with nothing but known words and spaces round it."""
    shown = parse(line)
    if isinstance(shown, Value):
        text = line.decode("ascii").replace(",", ".")
        figures = shown.text.lstrip("-").lstrip("0")
        assert text.count(figures) == 1
        before, _, after = text.partition(figures)
        assert not any(mark.isdigit() and mark != "0" for mark in before + after)
        read_quantity(f"{shown.text} {shown.unit or 'g'}", "mass", None)


@given(digits, st.sampled_from(FORMS), st.data())
def test_a_line_with_a_flipped_bit_is_never_another_weight_where_parity_shows_it(
    number: str, form: str, data: st.DataObject
) -> None:
    line = bytearray(form.format(n=number, u="g").encode())
    place = data.draw(st.integers(0, len(line) - 1))
    line[place] |= 0x80
    shown = parse(bytes(line))
    assert isinstance(shown, Trouble)
    assert shown.kind == "unreadable"
    line[place] = 0  # what a port makes of a byte with wrong parity
    shown = parse(bytes(line))
    assert isinstance(shown, Trouble)


@pytest.mark.parametrize(
    ("kind", "lines"),
    [
        ("zero", ["0.00 g", "ST,GS,+00000.00 g", "0", "-0.0 g", "+      0.0 g"]),
        ("below zero", ["-12.3 g", "ST,GS,-00012.30  g", "-  168.1 g"]),
        ("too much", ["OL", "ST,OL", "+OL", "H", "HH", "Over", "S +", "^^^^", "O.L", "OF"]),
        ("too little", ["UL", "L", "LLLL", "Under", "S -", "____", "-OL".replace("O", "U")]),
        ("no number", ["-----", "------ g", "=====", "--"]),
        ("fault", ["Err", "ERR 4", "E1", "Error:12", "S I", "Fault"]),
        ("unit", ["12.3 pcs", "12.3 ct", "12.3 %", "12.3 mm", "12.3 in", '12.3"', "12.3 gr", "12.3 mL", "12.3 ozt"]),
        ("tare", ["T 12.3 g", "ST,TR,+00012.3 g", "PT 4 g"]),
        ("unreadable", ["12\x00.3 g", "\x7f\xff\x01", "12.3 g\x1b[2J", "12.3 µg"]),
        ("not understood", ["", "hello", "ID 12", "No. 3", "12.3.4 g", "1,234.5 g", "12 3 g", "N12", "S", "1.2e3 g",
                            "9" * 19, "g", "+", "12.3 g 4", "12.3 [bold]g[/]"]),
    ],
)  # fmt: skip
def test_troubles_are_told_apart_and_none_is_a_reading(kind: str, lines: list[str]) -> None:
    said = {line: parse(line.encode("latin-1")) for line in lines}
    kinds = {line: shown.kind if isinstance(shown, Trouble) else shown for line, shown in said.items()}
    excepted = {"+": "too much", "12.3 %": "not understood"}
    assert kinds == {line: excepted.get(line, kind) for line in lines}
    for shown in said.values():
        assert isinstance(shown, Trouble)
        assert shown.what.isprintable()
        assert shown.remedy


def test_a_scale_left_in_another_unit_says_so_and_nothing_is_converted() -> None:
    assert parse(b"ST,GS,+ 21.57 oz") == Value("21.57", "oz", True)
    assert parse(b"21.57 oz") == Value("21.57", "oz", True)
    assert parse(b"332.9 GN") == Value("332.9", "gr", True)
    unknown = parse(b"21.57 ozt")
    assert isinstance(unknown, Trouble)
    assert "'ozt'" in unknown.what
    assert "g, kg" in unknown.remedy


@pytest.mark.parametrize(
    ("line", "dimension", "value"),
    [
        (b"+62.180 mm", "length", Value("62.180", "mm", True)),
        (b'2.4480"', "length", Value("2.4480", "in", True)),
        (b"  2.4480 inch", "length", Value("2.4480", "in", True)),
        (b"-0.012", "length", Value("-0.012", None, True)),
        (b"64.2 ml", "volume", Value("64.2", "mL", True)),
        (b"105.0 Nm", "torque", Value("105.0", "N m", True)),
        (b"105.0 N m", "torque", Value("105.0", "N m", True)),
        (b"77.4 lbf ft", "torque", Value("77.4", "lbf ft", True)),
        (b"90 deg", "angle", Value("90", "deg", True)),
    ],
)
def test_a_gauge_is_read_like_a_scale(line: bytes, dimension: str, value: Value) -> None:
    assert parse(line, dimension) == value


class Scale:
    """A pseudo-terminal that plays a scale: what is sent to it, the port receives."""

    def __init__(self) -> None:
        self.own, self._port = pty.openpty()
        self.port = os.ttyname(self._port)
        self._open = True

    def send(self, *lines: str, end: str = "\r\n", every: float = 0.0) -> None:
        for line in lines:
            os.write(self.own, (line + end).encode("latin-1"))
            time.sleep(every)

    def unplug(self) -> None:
        if self._open:
            os.close(self._port)
            os.close(self.own)
            self._open = False


@pytest.fixture
def scale() -> Iterator[Scale]:
    playing = Scale()
    yield playing
    playing.unplug()


class Clock:
    """A clock that the test turns, so that a busy machine changes nothing of what is told."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    turned = Clock()
    monkeypatch.setattr(stream, "monotonic", turned)
    return turned


def told(source: Source, scale: Scale, clock: Clock, *lines: str, every: float) -> list[Shown]:
    """What a keyboard loop is told (select, then read) of lines that come so many seconds [s] after each other."""
    found = []
    for line in lines:
        clock.now += every
        scale.send(line)
        assert select.select([source], [], [], 10)[0]
        while (shown := source.read(0)) is not None:
            found.append(shown)
    return found


def kinds(told: list[Shown]) -> list[str]:
    return [f"{each.text} {each.unit}" if isinstance(each, Value) else each.kind for each in told]


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
def test_the_print_key_is_enter_whatever_ends_its_lines(scale: Scale, end: str) -> None:
    with open_source(scale.port) as source:
        assert source.read(0.05) is None
        scale.send("+  611.40 g", end=end)
        assert source.read(10) == Value("611.40", "g", True)
        assert source.read(0.1) is None


def test_a_line_that_comes_in_pieces_is_one_line(scale: Scale) -> None:
    with open_source(scale.port) as source:
        for piece in ("ST,G", "S,+ 6", "11.", "4 "):
            scale.send(piece, end="")
            assert source.read(0.05) is None
        scale.send("g")
        assert source.read(10) == Value("611.4", "g", True)


def test_a_second_press_is_a_second_reading_and_a_bouncing_key_is_none(scale: Scale, clock: Clock) -> None:
    with open_source(scale.port) as source:
        assert kinds(told(source, scale, clock, "611.4 g", every=5)) == ["611.4 g"]
        assert kinds(told(source, scale, clock, "611.4 g", every=0.3)) == []
        assert kinds(told(source, scale, clock, "611.4 g", "611.5 g", every=2)) == ["611.4 g", "611.5 g"]


def test_a_ticket_of_several_lines_is_one_press(scale: Scale, clock: Clock) -> None:
    ticket = "2026-11-25 12:30\r\nNo. 17\r\n\r\nN   611.4 g\r\nT    12.0 g"
    with open_source(scale.port) as source:
        assert kinds(told(source, scale, clock, ticket, every=5)) == ["611.4 g"]
        assert kinds(told(source, scale, clock, "G   623.4 g\r\nN   611.4 g", every=5)) == ["several"]


@pytest.mark.parametrize(
    ("line", "kind"), [("0.0 g", "zero"), ("OL", "too much"), ("611.4 g ?", "moving"), ("61\x80.4 g", "unreadable")]
)
def test_a_press_that_is_no_reading_says_why(scale: Scale, clock: Clock, line: str, kind: str) -> None:
    with open_source(scale.port) as source:
        assert kinds(told(source, scale, clock, line, every=5)) == [kind]


def test_pressed_again_as_it_was_told_the_key_is_heard_however_soon(scale: Scale, clock: Clock) -> None:
    with open_source(scale.port) as source:
        assert kinds(told(source, scale, clock, "ST,GS,+ 610.9 g", every=5)) == ["610.9 g"]
        assert kinds(told(source, scale, clock, "US,GS,+ 611.2 g", every=5)) == ["moving"]
        assert kinds(told(source, scale, clock, *["ST,GS,+ 611.4 g"] * 2, every=0.7)) == ["611.4 g"]


# What a scale shows that sends all the time: empty, a piece put on, at rest with a flicker, taken off.
SETTLING = ["204.9 g", "398.8 g", "609.9 g"]


def test_a_scale_that_sends_all_the_time_tells_each_piece_once_when_it_is_steady(scale: Scale, clock: Clock) -> None:
    with open_source(scale.port) as source:
        shown = [
            *["0.0 g"] * 8, *SETTLING, *["611.4 g"] * 12, "611.5 g", *["611.4 g"] * 5, "302.2 g", *["0.0 g"] * 8,
            *SETTLING, *["611.4 g", "611.5 g"] * 3, *["611.5 g"] * 6, "0.1 g", *SETTLING, *["611.5 g"] * 3, "0.0 g",
            *["US,GS,+ 81.3 g"] * 4, *["ST,GS,+ 81.2 g"] * 6, *["OL"] * 12, *["611.4 g"] * 6,
        ]  # fmt: skip
        found = kinds(told(source, scale, clock, *shown, every=0.1))
    assert found == ["zero", "611.4 g", "611.5 g", "611.5 g", "81.2 g", "too much"]


def test_a_scale_that_sends_all_the_time_does_not_tell_a_piece_again_after_the_bench_looked_away(
    scale: Scale, clock: Clock
) -> None:
    with open_source(scale.port) as source:
        assert kinds(told(source, scale, clock, *["0.0 g"] * 8, *["611.4 g"] * 6, every=0.5)) == ["zero", "611.4 g"]
        assert kinds(told(source, scale, clock, "611.4 g", every=8)) == []  # somebody was asked a question
        assert kinds(told(source, scale, clock, *["611.4 g"] * 6, every=0.5)) == []
        assert kinds(told(source, scale, clock, "0.0 g", *["611.4 g"] * 3, every=0.5)) == ["611.4 g"]


def test_a_gauge_that_sends_all_the_time_tells_the_next_place_once_it_was_moved(scale: Scale, clock: Clock) -> None:
    with open_source(scale.port, "length") as source:
        assert kinds(told(source, scale, clock, "75.000 mm", every=5)) == ["75.000 mm"]
        shown = ["68.331 mm", *["62.181 mm"] * 5, "62.180 mm", *["62.181 mm"] * 5, "66.020 mm", *["62.181 mm"] * 3]
        assert kinds(told(source, scale, clock, *shown, every=0.2)) == ["62.181 mm", "62.181 mm"]


def test_lines_without_any_pause_are_not_a_press(scale: Scale, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stream, "_PAUSE", 0.2)
    monkeypatch.setattr(stream, "_QUIET", 3.0)
    enough = threading.Event()

    def play() -> None:
        while not enough.is_set():
            scale.send("611.4 g", every=0.01)

    with open_source(scale.port) as source:
        scale.send("0.0 g")
        playing = threading.Thread(target=play)
        playing.start()
        assert source.read(10) == Value("611.4", "g", True)
        assert source.read(0.3) is None
        enough.set()
        playing.join()


def test_a_flood_without_any_reading_in_it_does_not_keep_the_keyboard_waiting(scale: Scale) -> None:
    with open_source(scale.port) as source:
        flood = subprocess.Popen(["yes", "US,GS,+  611.4 g"], stdout=scale.own)
        ends = threading.Timer(60, flood.kill)
        ends.start()
        try:
            assert source.read(0) is None
            assert flood.poll() is None  # it goes on, and we did not wait for its end
        finally:
            ends.cancel()
            flood.kill()
            flood.wait()


def test_noise_without_an_end_is_told_and_does_not_pile_up(scale: Scale) -> None:
    with open_source(scale.port) as source:
        scale.send("\x8f\x11\xff" * 40, end="")
        shown = source.read(10)
        assert isinstance(shown, Trouble)
        assert shown.kind == "not understood"


def test_a_cable_that_is_pulled_out_is_no_reading_and_no_traceback(scale: Scale) -> None:
    with open_source(scale.port) as source:
        scale.send("611.4 g")
        assert kinds([source.read(10) or Value("none", None, True)]) == ["611.4 g"]
        scale.send("61", end="")  # cut off in the middle
        assert source.read(0.1) is None
        scale.unplug()
        said = [source.read(10) for _ in range(3)]
        assert all(isinstance(shown, Trouble) for shown in said)
        assert kinds([shown for shown in said if shown is not None]) == ["cut off", "ended", "ended"]
        assert source.ended


def test_a_port_is_set_up_as_asked(scale: Scale, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    serial = import_module("serial")

    class Watched(serial.Serial):  # type: ignore[misc,name-defined]
        def __init__(self, *settings: object, **more: object) -> None:
            asked.append(settings)
            super().__init__(*settings, **more)

    monkeypatch.setattr(serial, "Serial", Watched)
    for settings in ("4800", "19200,8O2"):
        with open_source(f"{scale.port}@{settings}") as source:
            # a pseudo-terminal takes on the speed; bits and parity, which it has no wire for, it does not
            assert termios.tcgetattr(source.fileno())[4] == getattr(termios, f"B{settings.partition(',')[0]}")
            scale.send("611.4 g")
            assert source.read(10) == Value("611.4", "g", True)
    assert asked == [(scale.port, 4800, 8, "N", 1), (scale.port, 19200, 8, "O", 2)]


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ("/dev/nowhere-at-all", "No such file"),
        ("/dev/nowhere-at-all@9600", "No such file"),
        ("/dev/ttyUSB0@fast", "is no port"),
        ("/dev/ttyUSB0@9600,9X1", "is no port"),
        ("/dev/null", "is no port"),
    ],
)
def test_a_port_that_cannot_be_opened_says_why(spec: str, said: str) -> None:
    with pytest.raises(Misuse, match=said) as raised:
        open_source(spec)
    assert raised.value.remedy


def test_setting_up_a_port_without_pyserial_says_what_to_install(scale: Scale, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "serial", None)
    with pytest.raises(Misuse, match="pyserial") as raised:
        open_source(f"{scale.port}@9600")
    assert "buildbook[serial]" in raised.value.remedy
    with open_source(scale.port) as source:  # as the machine has it set up, it needs nothing
        scale.send("611.4 g")
        assert source.read(10) == Value("611.4", "g", True)


def test_of_a_stream_on_standard_input_every_line_at_rest_counts() -> None:
    program = (
        "from buildbook.bench.stream import Trouble, open_source\n"
        "with open_source('-') as source:\n"
        "    while True:\n"
        "        shown = source.read(5)\n"
        "        print(*shown)\n"
        "        if isinstance(shown, Trouble) and shown.kind == 'ended':\n"
        "            break\n"
    )
    lines = b"611.4 g\n611.4 g\nUS,GS, 300.0 g\n\n0.0 g\n611.9 g\r\n61"
    done = subprocess.run([sys.executable, "-c", program], input=lines, capture_output=True, check=True, timeout=30)
    said = done.stdout.decode().splitlines()
    assert said[:2] == ["611.4 g True", "611.4 g True"]
    assert said[2].endswith(" zero")
    assert said[3] == "611.9 g True"
    assert said[4].endswith(" cut off")
    assert said[5].endswith(" ended")
    assert len(said) == 6
