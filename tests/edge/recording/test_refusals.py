"""Every lie is refused in one line that says where, what, what is allowed and what to do."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from edge.recording import RecordingError, feed, read_pair, read_single_file
from tests.edge.recording.builders import (
    CURRENT,
    RAMP,
    VOLTAGE,
    binary,
    configuration,
    configuration_1991,
    single,
    text,
)

ROWS = binary(RAMP)
LINES = [f"{n},{100 * (n - 1)},{n},{-n}" for n in range(1, 9)]
ASCII = configuration(kind="ASCII")


def pair(cfg: bytes, rows: bytes = ROWS) -> Callable[[], object]:
    return lambda: list(feed([read_pair(cfg, rows, name="a.cfg")], block_samples=3))


def one(content: bytes) -> Callable[[], object]:
    return lambda: list(feed([read_single_file(content, name="a.cff")], block_samples=3))


def lines(*changed: tuple[int, str]) -> bytes:
    rows = list(LINES)
    for index, row in changed:
        rows[index] = row
    return text(rows)


def many(count: int, unit: str = "mA") -> list[str]:
    return [f"{n},I{n},,,{unit},1,0,0,0,0,1,1,P" for n in range(1, count + 1)]


STAMPED = configuration(rates=("0", "0,8"), kind="BINARY")

REFUSALS: dict[str, tuple[Callable[[], object], str]] = {
    "empty": (pair(b""), "a.cfg line 1: first line is ''; allowed: station,device,year"),
    "revision": (pair(configuration(first="a,b,2017")), "line 1: first line is 'a,b,2017'"),
    "no counts": (pair(b"a,b,2013\r\n"), "line 2: the configuration ends before the channel"),
    "counts": (pair(configuration(counts="2,2,0")), "line 2: counts are '2,2,0'; allowed: total"),
    "total": (
        pair(configuration(counts="3,2A,0D")),
        "line 2: 3 channels in total but 2 analogue and 0 digital; allowed: a total of 2",
    ),
    "too many declared": (
        pair(configuration(counts="999999,999999A,0D")),
        "line 2: total of channels is '999999'; allowed: a whole number from 1 to 2048",
    ),
    "digital count": (
        pair(configuration(counts="3,2A,1D")),
        "line 5: a digital channel was due, found '50'; allowed: 5 fields",
    ),
    "analogue fields": (
        pair(configuration(analogue=["1,I1,A,,mA,0.01,0,0,-32767,32767", VOLTAGE])),
        "line 3: analogue channel 1 has 10 fields; allowed: 13",
    ),
    "a": (
        pair(configuration(analogue=[CURRENT.replace("0.01", "abc"), VOLTAGE])),
        "line 3: a is 'abc'; allowed: a finite decimal number",
    ),
    "a not finite": (
        pair(configuration(analogue=[CURRENT.replace("0.01", "1e999"), VOLTAGE])),
        "line 3: a is '1e999'; allowed: a finite",
    ),
    "a by Python's grammar": (
        pair(configuration(analogue=[CURRENT.replace("0.01", "1_0"), VOLTAGE])),
        "line 3: a is '1_0'",
    ),
    "side": (
        pair(configuration(analogue=[CURRENT[:-1] + "X", VOLTAGE])),
        "line 3: side is 'X'; allowed: P or S",
    ),
    "ratio": (
        pair(configuration(analogue=[CURRENT[:-5] + "1,0,S", VOLTAGE])),
        "line 3: ratio of a secondary value is 1 to 0; allowed: both above zero",
    ),
    "frequency": (pair(configuration(line_hz="x")), "line 5: nominal frequency is 'x'"),
    "no frequency": (pair(configuration(line_hz="")), "frequency is not given; allowed: 50 or 60"),
    "railway": (pair(configuration(line_hz="16.7")), "nominal frequency is 16.7 Hz; allowed: 50"),
    "rates": (
        pair(configuration(rates=("2", "10000,4", "5000,8"))),
        "line 8: sampling rates 10000 and 5000 Hz in one record; allowed: one rate; split",
    ),
    "many rates": (pair(configuration(rates=("1001", "1,1"))), "line 6: number of sampling rates"),
    "slow": (
        pair(configuration(rates=("1", "1200,8"))),
        "a.cfg: sampling rate is 1200 Hz; allowed: 4800 to 25600 Hz; record at such a rate",
    ),
    "fast": (pair(configuration(rates=("1", "48000,8"))), "sampling rate is 48000 Hz"),
    "negative": (pair(configuration(rates=("1", "-10000,8"))), "sampling rate is -10000 Hz"),
    "rows": (pair(configuration(rates=("1", "10000,0"))), "line 7: number of the last sample is"),
    "too many rows": (
        pair(configuration(rates=("1", "10000,99999999999"))),
        "'99999999999'; allowed: a whole number from 1 to 4294967294",
    ),
    "irregular stamps": (
        pair(STAMPED, binary(RAMP, stamps=[0, 100, 200, 351, 400, 500, 600, 700])),
        "a.dat row 4 (byte 36): no sampling rate is declared, and time stamp 351 is not regular",
    ),
    "irregular ASCII stamps": (
        pair(STAMPED.replace(b"BINARY", b"ASCII"), lines((5, "6,,6,-6"))),
        "a.dat line 6: no sampling rate is declared, and time stamp nan",
    ),
    "stamps at rest": (
        pair(STAMPED, binary(RAMP, stamps=[5] * 8)),
        "8 rows over 0 ns by their stamps is not regular",
    ),
    "date": (
        pair(configuration(start="02/13/2024,03:04:05.0")),
        "line 8: time is '02/13/2024,03:04:05.0'; allowed: dd/mm/yyyy,hh:mm:ss.ssssss",
    ),
    "date of 1991": (
        pair(configuration_1991().replace(b"02/01/94", b"13/02/94"), text(LINES)),
        "allowed: mm/dd/yy or mm/dd/yyyy,hh:mm:ss.ssssss for revision 1991",
    ),
    "clock never set": (pair(configuration(start="01/01/1900,00:00:00.0")), "from 1970"),
    "trigger": (pair(configuration(trigger="soon")), "line 9: time is 'soon,'"),
    "before 1970": (
        pair(configuration(start="01/01/1970,00:00:00.0", tail=("1", "+5", "0,0"))),
        "line 8: a time before 1970 in UTC",
    ),
    "type": (
        pair(configuration(kind="BINARX")),
        "line 10: file type is 'BINARX'; allowed: ASCII, BINARY, BINARY32, FLOAT32 in revision",
    ),
    "type of 2013": (
        pair(configuration(first="a,b,1999", kind="FLOAT32")),
        "file type is 'FLOAT32'; allowed: ASCII, BINARY in revision 1999",
    ),
    "multiplier": (pair(configuration(tail=("0",))), "line 11: time multiplier is 0"),
    "time code": (
        pair(configuration(tail=("1", "CET,x", "0,0"))),
        "line 12: time code is 'CET'; allowed: hours and minutes such as -5h30",
    ),
    "quality": (
        pair(configuration(tail=("1", "0,0", "Z,0"))),
        "line 13: time quality is 'Z'; allowed: 0 to 9, A, B or F",
    ),
    "UTF-16": (
        pair(configuration().decode().encode("utf-16")),
        "a.cfg byte 3: a zero byte; allowed: text in UTF-8 or Latin-1; save",
    ),
    "giant": (pair(b"a" * (5 << 20)), "allowed: up to 4194304 bytes"),
    "no usable channel": (
        pair(configuration(analogue=many(2, "kA"))),
        "0 usable channels of 2 analogue ones; allowed: 1 to 32",
    ),
    "too many channels": (
        pair(configuration(analogue=many(33)), binary([[0] * 33] * 8)),
        "33 usable channels of 33 analogue ones; allowed: 1 to 32",
    ),
    "rows too long": (
        pair(configuration(), ROWS + b"\x00"),
        "a.dat byte 96: 97 bytes, but 8 rows of 12 bytes are declared; allowed: 96 bytes",
    ),
    "no whole row": (pair(configuration(), ROWS[:11]), "a.dat: 11 bytes hold no whole row of 12"),
    "no rows": (pair(configuration(), b""), "a.dat: 0 bytes hold no whole row"),
    "falling number": (
        pair(configuration(), binary(RAMP, numbers=[1, 2, 3, 4, 4, 5, 6, 7])),
        "a.dat row 5 (byte 48): sample number 4 after 4; allowed: a number that counts up",
    ),
    "falling ASCII number": (
        pair(ASCII, lines((4, "2,400,5,-5"))),
        "a.dat line 5: sample number 2 after 4",
    ),
    "ASCII too long": (
        pair(ASCII, text([*LINES, "9,800,9,-9"])),
        "a.dat line 9: 9 lines, but 8 rows are declared; allowed: 8 lines",
    ),
    "ASCII empty": (pair(ASCII, b"\r\n"), "a.dat: no whole row; allowed: 8 lines"),
    "ASCII fields": (
        pair(ASCII, lines((1, "2,100,2"))),
        "a.dat line 2: 3 fields in '2,100,2'; allowed: 4 fields",
    ),
    "ASCII number": (
        pair(ASCII, lines((2, "3,200,0x3,-3"))),
        "a.dat line 3 field 3: found '0x3'; allowed: a decimal number",
    ),
    "ASCII by Python's grammar": (
        pair(ASCII, lines((2, "3,200,1_0,-3"))),
        "a.dat line 3 field 3: found '1_0'",
    ),
    "ASCII sample number": (
        pair(ASCII, lines((2, "3.5,200,3,-3"))),
        "a.dat line 3 field 1: sample number is 3.5; allowed: a whole number that counts up",
    ),
    "ASCII no sample number": (pair(ASCII, lines((2, ",200,3,-3"))), "line 3 field 1: found ''"),
    "ASCII garbage": (pair(ASCII, b"\xff" * 200_000 + b"\n"), "line longer than 65536 bytes"),
    "no section": (one(b"hello"), "a.cff byte 0: found 'hello'; allowed: a section heading"),
    "no CFG": (one(b"--- file type: DAT ASCII ---\r\n"), "a.cff: no CFG section"),
    "no DAT": (one(b"--- file type: CFG ---\r\n"), "a.cff: no DAT section"),
    "two CFG": (one(b"--- file type: CFG ---\r\n" * 2), "section 'CFG'; allowed: each of CFG"),
    "unknown section": (one(b"--- file type: XYZ ---\r\n"), "section 'XYZ'; allowed: each of CFG"),
    "unknown rows": (
        one(single(ASCII, "BINARY64: 1", b"x")),
        "rows of type 'BINARY64'; allowed: ASCII, BINARY, BINARY32, FLOAT32",
    ),
    "other rows": (
        one(single(ASCII, "BINARY: 96", ROWS)),
        "the rows' heading says BINARY, the configuration ASCII; allowed: ASCII",
    ),
    "fewer bytes": (
        one(single(configuration(), "BINARY: 84", ROWS[:84])),
        "heading declares 84 bytes, which hold 7 rows; allowed: the 8 rows that the config",
    ),
    "more bytes": (
        one(single(configuration(), "BINARY: 108", ROWS + ROWS[:12])),
        "108 bytes, but 8 rows of 12 bytes are declared",
    ),
    "surplus": (
        one(single(configuration(), "BINARY: 96", ROWS + b"xyz")),
        "found 'xyz'; allowed: a section heading",
    ),
    "line of a section": (
        one(single(ASCII, "ASCII", lines((1, "2,100,2")))),
        "a.cff DAT section line 21: 3 fields",
    ),
    "line of a section's configuration": (
        one(single(ASCII.replace(b"2,2A", b"3,2A"), "ASCII", text(LINES))),
        "a.cff line 3: 3 channels in total",
    ),
}


@pytest.mark.parametrize("case", REFUSALS)
def test_a_lie_is_refused_with_its_place_and_what_to_do(case: str) -> None:
    act, message = REFUSALS[case]
    with pytest.raises(RecordingError) as caught:
        act()
    said = str(caught.value)
    assert message in said
    assert said.isprintable()
    assert len(said) < 320
    assert all((caught.value.where, caught.value.found, caught.value.allowed, caught.value.remedy))
