"""From messages to one durable commit a site, and what is to be answered after it.

The marks of all streams are held in memory and moved only when the history has committed. A message
is judged against what earlier messages of the same commit will have stored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from edge.records import Loss
from edge.wire import Batch
from gateway.history.store import (
    GATEWAY_SITE,
    Commit,
    Entry,
    History,
    MarkMove,
    RawMessage,
    RefusedPayload,
    SecurityEvent,
    SiteWriter,
    StreamKey,
)
from gateway.ingest.admission import (
    Accepted,
    Known,
    Refusal,
    Verdict,
    admit,
    admit_future,
    read_message,
)
from gateway.ingest.epochs import previous_epoch
from gateway.ingest.future import FutureBatch
from gateway.ingest.notices import Notices
from gateway.ingest.refusals import (
    REFUSED_A_COMMIT_MAX,
    clean,
    coalesced,
    refused_payload,
)
from gateway.ingest.topics import site_of, unit_of


@dataclass(frozen=True, slots=True)
class Arrival:
    """A message as it came from the broker. at_us: when, by the gateway's clock."""

    topic: str
    payload: bytes
    retained: bool
    at_us: int


@dataclass(frozen=True, slots=True)
class Standing:
    """What a stream is to be told after a commit: its mark, and what is missing above it.

    previous_epoch: the one that this epoch follows on, where the message told of it.
    """

    key: StreamKey
    upto: int
    gap: tuple[int, int] | None = None
    previous_epoch: str = ""


@dataclass(slots=True)
class _SiteStage:
    """A site's commit in the making."""

    entries: list[Entry] = field(default_factory=list)
    moves: dict[StreamKey, MarkMove] = field(default_factory=dict)
    digests: dict[tuple[StreamKey, int], bytes] = field(default_factory=dict)
    losses: dict[StreamKey, list[tuple[int, int]]] = field(default_factory=dict)
    raw: list[RawMessage] = field(default_factory=list)
    refused: list[RefusedPayload] = field(default_factory=list)
    events: list[SecurityEvent] = field(default_factory=list)


class Intake:
    """The ingest side of a history. One thread.

    sites: those that are registered; a message of any other is refused. on_commit: told each site's
    commit as soon as it is durable. notices: security events from elsewhere, committed with it.
    is_stale: the marks are read anew before the next commit: another writer may have been there.
    """

    def __init__(
        self, history: History, sites: Iterable[str], on_commit: Callable[[str, Commit], None]
    ) -> None:
        self._on_commit = on_commit
        self.notices = Notices()
        self._writers: dict[str, SiteWriter] = {
            site: history.writer(site) for site in (*sites, GATEWAY_SITE)
        }
        self._marks: dict[StreamKey, int] = {}
        self._epochs: dict[tuple[str, str], list[str]] = {}
        self._recall()

    def _recall(self) -> None:
        found = [writer.marks() for writer in self._writers.values()]
        self._marks.clear()
        self._epochs.clear()
        for marks in found:
            for key, mark in marks.items():
                self._remember(key, mark.upto)
        self.is_stale = False

    def _remember(self, key: StreamKey, upto: int) -> None:
        if key not in self._marks:
            self._epochs.setdefault((key.unit, key.stream), []).append(key.epoch)
        self._marks[key] = upto

    @property
    def marks(self) -> Mapping[StreamKey, int]:
        """Where each stream stands, durably."""
        return self._marks

    def writer(self, site: str) -> SiteWriter:
        """The one writer of a site, for what else is to be kept in its history."""
        return self._writers[site]

    def close(self) -> None:
        """Ends the writers."""
        for writer in self._writers.values():
            writer.close()

    def commit(self, arrivals: Iterable[Arrival], at_us: int) -> tuple[Standing, ...]:
        """Judges the messages in order and commits what came of them; durable on return.

        Raises HistoryFault where a site cannot be written. Sites committed before it stay so; the
        same arrivals may be given again and are duplicates there.
        """
        if self.is_stale:
            self._recall()
        due = self.notices.due(at_us)
        stages: dict[str, _SiteStage] = {GATEWAY_SITE: _SiteStage(events=list(due))}
        standings: dict[StreamKey, Standing] = {}
        for arrival in arrivals:
            standing = self._take(arrival, stages)
            if standing is not None:
                standings[standing.key] = standing
        for site, stage in stages.items():
            commit = _commit(stage, at_us)
            if commit.marks or commit.refused or commit.events:
                self._append(site, commit)
            if site == GATEWAY_SITE:
                self.notices.told(due, at_us)
        return tuple(standings.values())

    def _append(self, site: str, commit: Commit) -> None:
        try:
            self._writers[site].append(commit)
        except BaseException:
            self.is_stale = True
            raise
        for key, move in commit.marks.items():
            self._remember(key, move.upto)
        self._on_commit(site, commit)

    def _take(self, arrival: Arrival, stages: dict[str, _SiteStage]) -> Standing | None:
        message = read_message(arrival.topic, arrival.payload, arrival.retained)
        unit = unit_of(arrival.topic)
        if not isinstance(message, Refusal) and site_of(unit) not in self._writers:
            text = f"site {site_of(unit)!r} is not in this gateway's settings"
            message = Refusal("unknown-site", text)
        if isinstance(message, Refusal):
            _refuse(stages.setdefault(GATEWAY_SITE, _SiteStage()), arrival, message, unit)
            return None
        stage = stages.setdefault(site_of(unit), _SiteStage())
        return self._judge(stage, message, arrival)

    def _judge(
        self, stage: _SiteStage, message: Batch | FutureBatch, arrival: Arrival
    ) -> Standing | None:
        key = StreamKey(message.unit, message.epoch, message.stream)
        known = self._known(stage, key, message)
        if isinstance(message, FutureBatch):
            verdict = admit_future(message, known)
            if verdict.upto > (known.upto or 0):
                stage.raw.append(RawMessage(key, message.first, message.last, arrival.payload))
        else:
            verdict = admit(message, known)
            _keep(stage, key, message, verdict)
        if verdict.refusal is not None:
            _refuse(stage, arrival, verdict.refusal, key.unit)
            return None
        if verdict.upto > (known.upto or 0):
            stage.moves[key] = MarkMove(self._marks.get(key), verdict.upto)
        _notice(stage, key.unit, verdict, arrival)
        before = previous_epoch(one.record for one in verdict.accepted)
        return Standing(key, verdict.upto, verdict.gap, before)

    def _known(self, stage: _SiteStage, key: StreamKey, message: Batch | FutureBatch) -> Known:
        move = stage.moves.get(key)
        stored = self._marks.get(key)
        epochs = self._epochs.get((key.unit, key.stream), [])
        fresh = [
            one.epoch
            for one, moved in stage.moves.items()
            if moved.before is None and (one.unit, one.stream) == (key.unit, key.stream)
        ]
        latest = (*epochs, *fresh)[-1:] or ("",)
        return Known(
            stored if move is None else move.upto,
            self._digests(stage, key, message, stored),
            latest[0],
            len(epochs) + len(fresh),
            self._given_up(stage, key, message, stored),
        )

    def _digests(
        self,
        stage: _SiteStage,
        key: StreamKey,
        message: Batch | FutureBatch,
        stored: int | None,
    ) -> dict[int, bytes]:
        if isinstance(message, FutureBatch):
            return {}
        numbers = [line.seq for line in message.lines]
        found = {n: stage.digests[key, n] for n in numbers if (key, n) in stage.digests}
        below = [n for n in numbers if n <= (stored or 0)]
        if below:
            writer = self._writers[site_of(key.unit)]
            held = writer.digests(key, min(below), min(max(below), min(below) + 2 * len(below)))
            found.update(held)
        return found

    def _given_up(
        self, stage: _SiteStage, key: StreamKey, message: Batch | FutureBatch, stored: int | None
    ) -> tuple[tuple[int, int], ...]:
        """Ranges of the message's numbers that loss records stand for."""
        if isinstance(message, FutureBatch):
            return ()
        found = list(stage.losses.get(key, ()))
        numbers = [line.seq for line in message.lines]
        if numbers[0] <= (stored or 0):
            found += self._writers[site_of(key.unit)].given_up(key, numbers[0], numbers[-1])
        return tuple(found)


def _keep(stage: _SiteStage, key: StreamKey, batch: Batch, verdict: Verdict) -> None:
    for one in verdict.accepted:
        stage.entries.append(entry_of(key, batch, one))
        stage.digests[key, one.line.seq] = one.digest
        if isinstance(one.record, Loss):
            stage.losses.setdefault(key, []).append((one.record.first, one.record.last))


def entry_of(key: StreamKey, batch: Batch, one: Accepted) -> Entry:
    line = one.line
    sent = batch.boot, batch.clock, line.t_boot_ns, line.t_utc_us
    return Entry(key, line.seq, one.digest, line.body, one.record, *sent, one.unread)


def _refuse(stage: _SiteStage, arrival: Arrival, refusal: Refusal, unit: str) -> None:
    if len(stage.refused) < REFUSED_A_COMMIT_MAX:
        stage.refused.append(
            refused_payload(arrival.at_us, arrival.topic, arrival.payload, refusal)
        )
    if refusal.hostile:
        detail = clean(f"{arrival.topic}: {refusal.text}")
        stage.events.append(SecurityEvent(arrival.at_us, unit, refusal.reason, detail))


def _notice(stage: _SiteStage, unit: str, verdict: Verdict, arrival: Arrival) -> None:
    for line in verdict.conflicts:
        conflict = Refusal("conflict", f"number {line.seq} is taken by another body")
        if len(stage.refused) < REFUSED_A_COMMIT_MAX:
            stage.refused.append(refused_payload(arrival.at_us, arrival.topic, line.body, conflict))
    for line in verdict.late:
        late = Refusal("given-up-before", f"number {line.seq} is covered by a loss record")
        if len(stage.refused) < REFUSED_A_COMMIT_MAX:
            stage.refused.append(refused_payload(arrival.at_us, arrival.topic, line.body, late))
    for noticed in verdict.noticed:
        stage.events.append(
            SecurityEvent(arrival.at_us, unit, noticed.event, clean(noticed.detail))
        )


def _commit(stage: _SiteStage, at_us: int) -> Commit:
    return Commit(
        at_us,
        tuple(stage.entries),
        stage.moves,
        tuple(stage.raw),
        tuple(stage.refused),
        coalesced(stage.events),
    )
