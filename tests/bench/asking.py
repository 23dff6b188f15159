"""What the asset engineer waits for: trend and report of a site's year of minutes, and the figures
behind them beside a straightforward pandas version."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from gateway.history.sqlite_store import SqliteHistory
from gateway.reading.site import InsulatorRows, insulators_of, weather_columns
from gateway.trends.columns import HOUR_US, Period
from gateway.trends.exposure import ADDED, Entry, ledger_of
from gateway.trends.hours import current_hours, site_hours
from gateway.trends.margin import monthly_maxima_ma
from gateway.trends.wetness import wet_hours
from tests.bench import pandas_site
from tests.bench.alone import peak_mb
from tests.bench.pandas_site import SUMS, Figures
from tests.bench.site_year import MONTH, SITE_NAME, SiteYear, site_year
from tests.bench.timing import TOP, Figure, figure

BAND_EDGES_PCT = (0.0, 60.0, 65.0, 70.0, 75.0, 80.0, 85.0, 90.0, 95.0, 100.1)
EVER = Period(1_735_689_600_000_000, 1_767_225_600_000_000)


class Differs(AssertionError):
    """The two versions do not say the same; nothing is timed then."""


def ours(year: SiteYear) -> Figures:
    """The same figures as the trends and the report have them."""
    reader = SqliteHistory(year.history).reader(SITE_NAME)
    try:
        weather = weather_columns(reader, EVER)
        assert weather is not None
        grid = site_hours(weather, EVER.from_us, EVER.to_us)
        rows = InsulatorRows(reader, EVER)
        found: dict[str, dict[str, np.ndarray]] = {name: {} for name in Figures.__slots__}
        band = np.searchsorted(BAND_EDGES_PCT, grid.rh_pct, side="right") - 1
        for name in insulators_of(reader):
            columns = rows[name]
            hours, ledger = current_hours(columns, grid), ledger_of(columns, None)
            known = np.isfinite(hours.current_ma)
            found["hourly_ma"][name] = hours.current_ma[known]
            found["days"][name] = _sums(ledger.days)
            found["months"][name] = _sums(ledger.months)
            assert ledger.life is not None
            found["life"][name] = _sums((ledger.life,))[0]
            found["levels"][name] = np.array(ledger.life.by_level)
            found["maxima_ma"][name] = monthly_maxima_ma(columns)[0]
            arcing = np.bincount(band[known], hours.arcing[known])
            counted = np.bincount(band[known], hours.halfcycles[known])
            found["bands"][name] = arcing[counted > 0] / counted[counted > 0]
        wet = int(np.sum(wet_hours(grid.rh_pct, grid.rain_mm)))
    finally:
        reader.close()
    return Figures(**{**found, "wet_hours": wet})  # type: ignore[arg-type]


def _sums(entries: tuple[Entry, ...]) -> np.ndarray:
    assert set(SUMS) <= set(ADDED)
    return np.array([[entry.sums[name] for name in SUMS] for entry in entries])


def check_agreement(one: Figures, other: Figures) -> None:
    """Raises Differs at the first figure that is not the same."""
    if one.wet_hours != other.wet_hours:
        raise Differs(f"wet hours {one.wet_hours} and {other.wet_hours}")
    for name in Figures.__slots__:
        if name == "wet_hours":
            continue
        mine, theirs = getattr(one, name), getattr(other, name)
        for insulator in mine:
            if not np.allclose(mine[insulator], theirs[insulator], rtol=1e-9, atol=1e-12):
                raise Differs(f"{name} of {insulator}")


def waited(year: SiteYear, folder: Path, rounds: int) -> list[Figure]:
    """Wall, processor time and memory of the commands themselves."""
    report = ("report", "--month", MONTH, "--out", str(folder / "r.pdf"))
    report = (*report, "--out", str(folder / "r.html"))
    found = []
    for words, seconds in ((("trend",), 5), (report, 15)):
        taken = [_run(words, year) for _ in range(rounds)]
        name = words[0]
        found += [
            figure("asking", f"{name}, wall", "s", [one[0] for one in taken], f"under {seconds}"),
            figure("asking", f"{name}, processor time", "s", [one[1] for one in taken]),
            figure("asking", f"{name}, highest memory", "MB", [one[2] for one in taken],
                   "under 500"),
        ]  # fmt: skip
    return found


def _run(words: tuple[str, ...], year: SiteYear) -> tuple[float, float, float]:
    arguments = [sys.executable, "-m", "tests.bench.asking", *words, "--site", SITE_NAME]
    begun = time.monotonic()
    answer = subprocess.run(
        [*arguments, "--data", str(year.history)], cwd=TOP, capture_output=True, text=True,
        check=True, env=dict(os.environ),
    )  # fmt: skip
    wall_s = time.monotonic() - begun
    told = json.loads(answer.stdout.splitlines()[-1])
    return wall_s, float(told["cpu_s"]), float(told["peak_mb"])


def against_pandas(year: SiteYear, rounds: int) -> list[Figure]:
    """The same figures both ways, in turns; compared before anything is timed."""
    check_agreement(ours(year), pandas_site.figures(year))
    ratios, mine, theirs = [], [], []
    for _ in range(rounds):
        mine.append(_cpu_s(lambda: ours(year)))
        theirs.append(_cpu_s(lambda: pandas_site.figures(year)))
        ratios.append(theirs[-1] / mine[-1])
    name = f"figures of {year.rows / 1e6:.1f} million rows"
    return [
        figure("asking", f"{name}, pandas / ours", "times", ratios, "at least 3"),
        figure("asking", f"{name}, ours", "s", mine),
        figure("asking", f"{name}, pandas", "s", theirs),
    ]


def _cpu_s(work: object) -> float:
    """Processor time of all threads of this process."""
    begun = time.process_time()
    work()  # type: ignore[operator]
    return time.process_time() - begun


def growth(folder: Path, rounds: int) -> list[Figure]:
    """Time a row takes with four times the rows, against a quarter of them."""
    few, many = (site_year(folder / str(k), insulators=3, minutes=k) for k in (4, 1))
    ratios = []
    for _ in range(rounds):
        each = [_cpu_s(lambda one=one: ours(one)) / one.rows for one in (few, many)]
        ratios.append(each[1] / each[0])
    return [figure("asking", "a row's time, four times the rows", "times", ratios, "at most 1")]


def asking(folder: Path, rounds: int) -> list[Figure]:
    """All of it."""
    folder.mkdir(exist_ok=True)
    year = site_year(folder / "year")
    return [*waited(year, folder, rounds), *against_pandas(year, rounds), *growth(folder, rounds)]


def _main(words: list[str]) -> None:
    """Runs `seafret` in this process and says what it took: for `_run` alone."""
    from gateway.__main__ import main

    code = main(words)
    assert code in (0, 10, 20), f"seafret {words[0]} ended with {code}"
    used = resource.getrusage(resource.RUSAGE_SELF)
    told = {"cpu_s": used.ru_utime + used.ru_stime, "peak_mb": peak_mb()}
    print(json.dumps(told))


assert EVER.to_us % HOUR_US == 0

if __name__ == "__main__":
    _main(sys.argv[1:])
