"""A desk of notices over an alarm list that is told by the minute; what it sends is taken down."""

from __future__ import annotations

from pathlib import Path

from gateway.alarms.journal import Entry
from gateway.books import Books
from gateway.console.alarm_picture import SiteAround, alarms_told
from gateway.console.picture import SiteTold
from gateway.notices.desk import Around, NoticesDesk
from gateway.notices.facts import facts_of
from gateway.notices.planning import Notice
from gateway.notices.texts import Facts
from gateway.outward_settings import Notices, Recipient
from gateway.settings import Site
from tests.gateway.alarms.build import SITE, Story, at
from tests.gateway.build import UNIT, weather

PLACE = Site(title="North Head 132 kV", call="duty engineer x4411")

DUTY = Recipient(name="duty", address="json://127.0.0.1/duty")
SECOND = Recipient(name="second", address="json://127.0.0.1/second", order=2)
MAIL = Recipient(name="desk", address="mailto://127.0.0.1", form="long", digest=True)
SETTINGS = Notices(recipients=(DUTY, SECOND, MAIL))


class Room:
    """The desk is told everything at once and never runs by itself: `deliver` does a round."""

    def __init__(self, folder: Path, settings: Notices = SETTINGS, story: Story | None = None):
        self.folder, self.settings = folder, settings
        self.story = story or Story()
        self.books = Books(folder)
        self.minute = 0.0
        self.sent: list[Notice] = []
        self.refusing: set[str] = set()
        self.desk = self.open()

    def open(self) -> NoticesDesk:
        self.desk = NoticesDesk(
            self.settings,
            {one.name: one.name for one in self.settings.recipients},
            self._take,
            Around(
                books=self.books,
                lists=lambda: {SITE: self.story.held},
                facts=self.facts,
                titles={SITE: PLACE.title},
                recent=self._recent,
                watched=lambda: "12 of 12 watched",
                now_us=lambda: at(self.minute),
            ),
        )
        return self.desk

    def _recent(self, site: str, since_us: int) -> list[Entry]:
        return [one for one in self.story.journal if one.at_us >= since_us]

    def _take(self, address: str, notice: Notice) -> str:
        if address in self.refusing:
            return "the line is dead"
        self.sent.append(notice)
        return ""

    def facts(self, site: str, occurrence: int) -> Facts | None:
        around = SiteAround(12, 12, frozenset({UNIT}), self.story.peaks_ua)
        told = alarms_told({SITE: self.story.held}, {SITE: around}, at(self.minute))
        found = [one for one in told.alarms if one.id == f"{SITE}.{occurrence}"]
        seen = SiteTold(SITE, PLACE.title, 1, 1, 12, 12, 0, 0, weather(0))
        return facts_of(found[0], PLACE, seen, self.story.held, at(self.minute)) if found else None

    def hear(self, minute: float, *args: object, **more: object) -> None:
        """A condition, what the list makes of it, and a round of the desk."""
        self.minute = minute
        came = more.get("came")
        self.minute = minute if came is None else float(came)  # type: ignore[arg-type]
        self.tell(self.story.hear(minute, *args, **more))  # type: ignore[arg-type]

    def tell(self, entries: list[Entry]) -> None:
        self.desk.on_entries(SITE, entries)
        self.round()

    def tick(self, minute: float) -> None:
        self.minute = minute
        self.tell(self.story.tick(minute))

    def round(self) -> None:
        self.desk.tick()
        self.desk._try_due()

    def to(self, name: str, kind: str = "") -> list[Notice]:
        return [one for one in self.sent if one.recipient == name and kind in ("", one.kind)]

    def close(self) -> None:
        self.books.close()
