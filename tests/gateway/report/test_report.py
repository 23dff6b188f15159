"""`seafret report` from stored rows to the files: one document, two forms, numbers behind."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from gateway.books import Books
from gateway.history.sqlite_store import SqliteHistory
from gateway.limits.book import BOOK, Line, What, line_body
from gateway.report.composing import composed
from gateway.report.facts import Facts, gathered
from gateway.report.wording import CAUTIONS, LIMITATIONS
from gateway.trends.columns import DAY_US
from tests.gateway.commands.running import SITE, Ran, csv_file, load, seafret
from tests.gateway.commands.year_files import interval_file, register_file, weather_file
from tests.gateway.trends.years import Made, Year, made

MONTH = "2025-12"


@dataclass(frozen=True, slots=True)
class Reported:
    """A year that was loaded and reported as both forms."""

    folder: Path
    year: Made

    def report(self, *words: str | Path, month: str = MONTH) -> Ran:
        data = self.folder / "history"
        return seafret("report", "--site", SITE, "--data", data, "--month", month, *words)

    @property
    def html(self) -> str:
        return (self.folder / "out.html").read_text(encoding="utf-8")

    @property
    def text(self) -> str:
        return unescape(
            re.sub(r"<[^>]+>", " ", re.sub(r"<style.*?</style>", "", self.html, flags=re.S))
        )

    def rows(self, number: int) -> list[dict[str, str]]:
        path = self.folder / "out-figures" / f"figure-{number:02d}.csv"
        with path.open(encoding="utf-8", newline="") as stream:
            return list(csv.DictReader(stream))


@pytest.fixture(scope="module")
def reported(tmp_path_factory: pytest.TempPathFactory) -> Reported:
    """Three insulators; P1 carries three times the current from the middle of the year on."""
    folder = tmp_path_factory.mktemp("report")
    year = made(Year(seed=15, insulators=3, factor={0: 3.0}))
    notes = [
        csv_file(
            folder,
            "found.csv",
            "insulator,start,finding,grade,depth_mm,photo",
            "P2,2025-03-04T10:00:00Z,erosion,light,0.4,P2-0304.jpg",
            "P3,2025-10-04T10:00:00Z,hydrophobicity,7,,",
        ),
        csv_file(
            folder,
            "deposits.csv",
            "insulator,start,esdd_mg_cm2",
            *(f"P{k},2025-0{m}-11T10:00:00Z,0.0{m}" for k in (1, 2) for m in (2, 4, 6, 8)),
        ),
    ]
    files = (interval_file(folder, year), weather_file(folder, year.weather), *notes)
    assert load(folder, *files).code == 0
    register = folder / "history" / f"{SITE}.register.toml"
    register.write_text(register_file(folder, year).read_text(encoding="utf-8"), encoding="utf-8")
    found = Reported(folder, year)
    outs = ("--out", folder / "out.html", "--out", folder / "out.pdf")
    ran = found.report(*outs, "--author", "M. Keel")
    assert ran.code == 0, ran.said
    return found


def facts_of(reported: Reported) -> Facts:
    reader = SqliteHistory(reported.folder / "history").reader(SITE)
    try:
        return gathered(reader, SITE, MONTH, reported.folder / "history" / f"{SITE}.register.toml")
    finally:
        reader.close()


def test_the_first_page_says_what_is_advised_why_and_what_is_open(reported: Reported) -> None:
    first = reported.text.split("Weather, wetness and salt")[0]
    assert "inspect 2, none indicated 1; 1 changed at equal wetness" in first
    assert "hydrophobicity class 7 found on 2025-10-04" in first
    assert "Open actions" in first and "nobody has decided" in first
    assert "Since the last month" in first and CAUTIONS[0] in first
    assert first.index("P1") < first.index("P2")


def test_every_insulator_has_the_advice_that_the_trend_gives_for_the_same_days(
    reported: Reported,
) -> None:
    trend = facts_of(reported).trend
    periods = [
        ",".join(str(np.datetime64(one, "us"))[:10] for one in (span.from_us, span.to_us))
        for span in (trend.reference, trend.now)
    ]
    data = reported.folder / "history"
    words = ("--reference", periods[0], "--now", periods[1], "--json")
    told = seafret("trend", "--site", SITE, "--data", data, *words).document["insulators"]
    shown = {one.insulator: one.advice.decision.value for one in trend.insulators}
    assert shown == {one["insulator"]: one["decision"] for one in told}


def test_limits_limitations_cautions_hashes_and_the_version_are_printed(reported: Reported) -> None:
    for text in (*LIMITATIONS, *CAUTIONS):
        assert text in reported.text
    assert "Limits in force" in reported.text and "near-margin" in reported.text
    assert "seafret 0." in reported.text and "prepared by M. Keel" in reported.text
    for sha in facts_of(reported).hashes.values():
        assert sha in reported.text


def test_every_figure_has_number_units_zone_and_a_csv_with_as_many_rows_as_it_says(
    reported: Reported,
) -> None:
    captions = re.findall(r"Figure (\d+)\. (.*?) figure-(\d+)\.csv", reported.text)
    assert len(captions) == 3 + 3 * 4
    for place, (number, caption, file) in enumerate(captions, start=1):
        assert int(number) == int(file) == place
        assert "UTC" in caption
        count = re.search(r"n = ([\d,]+)\.$", caption)
        assert count is not None, caption
        assert len(reported.rows(place)) == int(count[1].replace(",", ""))


def test_the_numbers_behind_the_exposure_are_the_sums_of_the_rows(reported: Reported) -> None:
    captions = re.findall(r"Figure (\d+)\. Arcing half-cycles", reported.text)
    order = re.findall(r"<h3>(P\d)", reported.html)
    for number, name in zip(captions, order, strict=True):
        counted = sum(int(row["arcing_halfcycles"]) for row in reported.rows(int(number)))
        rows = reported.year.site.insulators[name]
        assert rows.arcing_halfcycles is not None and counted == rows.arcing_halfcycles.sum()


def test_an_inspection_stands_beside_the_exposure_at_its_date(reported: Reported) -> None:
    pattern = r"2025-03-04 .*?P2-0304\.jpg\s+([\d,]+)\s+([\d,]+)\s+-\s+([\d,]+)"
    row = re.search(pattern, reported.text, flags=re.S)
    assert row is not None
    rows = reported.year.site.insulators["P2"]
    days = rows.start_us < np.datetime64("2025-03-04", "us").astype(np.int64)
    assert rows.arcing_halfcycles is not None
    assert int(row[3].replace(",", "")) == int(rows.arcing_halfcycles[days].sum())


def test_both_forms_come_from_one_document_and_again_the_same(reported: Reported) -> None:
    again = reported.folder / "again.pdf"
    html = reported.folder / "again.html"
    words = ("--out", again, "--out", html, "--author", "M. Keel")
    assert reported.report(*words).code == 0
    assert again.read_bytes() == (reported.folder / "out.pdf").read_bytes()
    assert html.read_text(encoding="utf-8").replace("again-", "out-") == reported.html


def test_the_pdf_is_whole_and_carries_its_letters(reported: Reported) -> None:
    content = (reported.folder / "out.pdf").read_bytes()
    assert content.startswith(b"%PDF-1.") and content.rstrip().endswith(b"%%EOF")
    assert len(re.findall(rb"/Type /Page\b", content)) >= 6
    assert b"/FontFile2" in content and b"DejaVuSans" in content
    streams = re.findall(rb"stream\r?\n(.*?)endstream", content, flags=re.S)
    assert len(streams) > 6


def test_the_page_loads_nothing_from_elsewhere(reported: Reported) -> None:
    outside = re.findall(r"(?:src|href)=\"?(?!#)[^ >]+|url\([^)]*\)|@import", reported.html)
    assert outside == []
    assert reported.html.count("<svg") == reported.html.count("</svg>") == 15 + 3


@pytest.mark.parametrize(
    ("month", "out", "words"),
    [
        ("2025-13", "a.pdf", "must be YYYY-MM"),
        ("2027-01", "a.pdf", "the month has no rows; the history has 2025-01 to"),
        (MONTH, "a.doc", "must end in .pdf or .html"),
    ],
)
def test_a_report_that_cannot_be_is_one_line(
    reported: Reported, tmp_path: Path, month: str, out: str, words: str
) -> None:
    ran = reported.report("--out", tmp_path / out, month=month)
    assert ran.code == 64 and len(ran.said) == 1 and words in ran.said[0]
    assert not list(tmp_path.iterdir())


def test_the_first_month_of_a_history_says_that_there_is_none_before(tmp_path: Path) -> None:
    folder = tmp_path
    year = made(Year(seed=16, insulators=1, gap_share=0.0))
    assert load(folder, interval_file(folder, year)).code == 0
    found = Reported(folder, year)
    ran = found.report("--out", folder / "out.html", month="2025-01")
    assert ran.code == 0, ran.said
    assert "no month before this one" in found.text
    assert "cannot decide 1" in found.text and "no-weather" in found.text


def test_an_insulators_name_cannot_break_either_form(tmp_path: Path) -> None:
    year = made(Year(seed=17, insulators=1))
    rows = interval_file(tmp_path, year)
    rows.write_text(
        rows.read_text(encoding="utf-8").replace(",P1,", ",<b>&Ω P1,"), encoding="utf-8"
    )
    assert load(tmp_path, rows, weather_file(tmp_path, year.weather)).code == 0
    found = Reported(tmp_path, year)
    outs = ("--out", tmp_path / "out.html", "--out", tmp_path / "out.pdf")
    ran = found.report(*outs)
    assert ran.code == 0, ran.said
    assert "<b>" not in found.html and "<b>&Ω P1" in found.text


def test_the_document_is_the_same_for_the_same_facts(reported: Reported) -> None:
    facts = facts_of(reported)
    assert composed(facts, "x").blocks == composed(facts, "x").blocks


def test_changes_of_limits_of_the_sites_units_are_listed(reported: Reported) -> None:
    assert "No change of limits is on record" in reported.text
    books = Books(reported.folder / "history")
    at_us = int(np.datetime64("2025-12-09T08:00", "us").astype(np.int64))
    lines = [
        Line(at_us=at, what=What.APPROVED, who="A. Fell", unit=f"{site}.m1", version=4, reason=why)
        for site, at, why in (
            (SITE, at_us, "salt season"),
            (SITE, at_us - 40 * DAY_US, "earlier"),
            ("elsewhere", at_us, "foreign"),
        )
    ]
    books.append(BOOK, at_us, [line_body(lines[0])])
    books.append(BOOK, lines[1].at_us, [line_body(lines[1])])
    books.append(BOOK, at_us, [line_body(lines[2])])
    books.close()
    assert reported.report("--out", reported.folder / "limits.html").code == 0
    text = (reported.folder / "limits.html").read_text(encoding="utf-8")
    assert "version 4 approved" in text and "salt season" in text
    assert "earlier" not in text and "foreign" not in text
