"""The thread that owns the durable file: the steps' loop, commits, and what the sender asks for.

    for item in inbox: state, records = step(state, item); commit(records, state)

A minute's rows and the states that they came from are one transaction; alarms are one at once.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import replace

from edge import pipeline
from edge.clock import boot_id, steady_ns
from edge.daemon import carrying, dating, heartbeat, limit_sheets
from edge.daemon.carrying import Carried
from edge.daemon.expiry import NOT_KNOWN, expiry_of, warned
from edge.daemon.heartbeat import Heart, Standing
from edge.daemon.inbox import Inbox
from edge.daemon.job import Close, Connect, Job, Request, SourceOver
from edge.daemon.limit_sheets import InForce
from edge.daemon.noise import noise_na
from edge.daemon.pacing import head_of, tail_of
from edge.daemon.resuming import Kept, kept_plain, resumed_from
from edge.daemon.storing import Store
from edge.daemon.versions import versions
from edge.limits import VERB
from edge.records import HealthRow, UnitEvent
from edge.samples import SampleBlock, SlowReading, SourceItem, StreamEnd, TimeAnchor
from edge.send.messages import Asked, Fetch, Notice, Release, Reopen
from edge.send.uplink import Uplink

log = logging.getLogger("seafret.edge")

TURN_S = 0.5
"""The thread shows that it lives at least this often."""

TRIM_NS = 600_000_000_000
"""Between two looks for released rows that are old enough to be forgotten."""

DARK_NS = 2_000_000_000
"""Without samples for this long, and with the minute over by the clock, the clock ends it."""


class Keeper:
    """From `start` until `Close`, or a failure.

    opened: the file is open and `begin_us`, `epoch` are known. over: the signal has ended and all
    of it is committed. alive_ns, committed_ns, samples: for the watchdog. failure: what ended it.
    """

    def __init__(self, job: Job, inbox: Inbox[Request], open_store: Callable[[], Store]) -> None:
        self._job, self._inbox, self._open_store = job, inbox, open_store
        self._rate_hz = job.source.description.rate_hz
        self._uplink: Uplink | None = None
        self._heart, self._dated = Heart(), dating.Dated()
        self._counter, self._repeats_until, self._item_ns = 0, 0, steady_ns()
        self._ended, self._trim_ns = False, steady_ns()
        self._certificate = NOT_KNOWN
        self._carried: Carried
        self._limits: InForce
        self._store: Store
        self._thread = threading.Thread(target=self._run, name="keeper", daemon=True)
        self.opened, self.over = threading.Event(), threading.Event()
        self.alive_ns = self.committed_ns = steady_ns()
        self.samples = self.backlog = self.begin_us = 0
        self.epoch = ""
        self.failure: BaseException | None = None

    def start(self) -> None:
        """Returns when the file is open; raises what kept it from being opened."""
        self._thread.start()
        self.opened.wait()
        if self.failure is not None:
            raise self.failure

    def join(self, timeout_s: float) -> bool:
        """Whether it has ended within that time."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        try:
            self._open()
            while self._turn():
                pass
            self._store.close()
        except BaseException as fault:
            self.failure = fault
        finally:
            self.opened.set()
            self.over.set()

    def _open(self) -> None:
        job = self._job
        self._store = self._open_store()
        now_us = job.clock.utc_us()
        self._limits, told = limit_sheets.recalled(
            self._store.snapshot(limit_sheets.STATE), job.decision, now_us
        )
        state = pipeline.initial(job.measure, self._limits.plan, job.source.description)
        fresh = Carried(pipeline=state, is_stored=job.source.is_stored)
        begin_us = job.clock.shown_origin_us if job.clock.is_affine else job.clock.utc_us()
        kept = resumed_from(self._store.snapshot, fresh, job.source, begin_us)
        self._carried, self._heart = kept.carried, kept.heart
        self._repeats_until, self.begin_us = kept.counter, kept.begin_us
        self.epoch = self._store.epoch
        if job.source.counts_on:
            self._dated = dating.recalled(self._store.snapshot(dating.STATE), boot_id())
        plan, sheet = self._limits.plan, self._limits.sheet
        detail: dict[str, int | str] = {**versions(), "settings": plan.settings_sha}
        detail |= {"resumed": kept.how, "limits": 0 if sheet is None else sheet.version}
        detail |= {} if sheet is None else {"sheet": sheet.sha}
        started = UnitEvent(event="started", at_us=now_us, detail=detail)
        self._store.add([*kept.records, *told, started])
        self.opened.set()

    def _turn(self) -> bool:
        """One message; False once it was the last."""
        self.alive_ns = steady_ns()
        due_s = self._store.wait_s()
        message = self._inbox.take(TURN_S if due_s is None else min(due_s, TURN_S))
        going = self._hear(message)
        self._beat_in_the_dark()
        if not going or self._store.wait_s() == 0:
            self._commit()
        self._trim()
        if self._uplink is not None:
            for answer in self._store.answers():
                self._uplink.post(answer)
        if self.over.is_set() or self._job.is_watched:
            self.backlog = self._store.backlog()
        return going

    def _commit(self) -> None:
        kept = Kept(self._carried, self._heart, self._counter, self.begin_us)
        states = kept_plain(kept, self._job.source.identity)
        if self._job.is_watched:  # what is told as committed is never seen as receipted too soon
            self.backlog = max(1, self.backlog)
        states[limit_sheets.STATE] = self._limits.plain
        states[dating.STATE] = dating.kept_plain(self._dated, boot_id())
        self._store.commit(states)
        self.committed_ns = self._store.committed_ns

    def _trim(self) -> None:
        clock, now_ns = self._job.clock, steady_ns()
        if now_ns >= self._trim_ns and clock.discipline().synchronised:
            self._trim_ns = now_ns + TRIM_NS
            self._store.trim(clock.utc_us())

    def _hear(self, message: Request | SourceItem | None) -> bool:
        match message:
            case None:
                pass
            case Fetch() | Release() | Reopen():
                self._store.serve(message)
            case Notice():
                detail = {**message.detail, "security": int(message.security)}
                self._tell(message.event, detail)
            case Asked(verb=verb) if verb == VERB:
                self._take_limits(message.payload)
            case Asked():
                self._tell("request-unknown", {"verb": message.verb})
            case Connect():
                self._uplink = message.uplink
            case SourceOver():
                self._end_signal(message.finished)
            case Close():
                return False
            case SampleBlock():
                self._item_ns, self._ended = steady_ns(), False
                self._take_block(message)
            case TimeAnchor():
                self._take_anchor(message)
            case SlowReading():
                at_us = self._utc_us(message.counter)
                self._heart = heartbeat.heard(self._heart, message.readings, at_us)
                self._step(message)
            case StreamEnd():
                self._take_end(message)
        return True

    def _take_limits(self, payload: bytes) -> None:
        """New limits hold from the next row on; what stands, stands, and its delays run on."""
        job, before = self._job, self._limits
        trusted = job.clock.discipline().synchronised
        self._limits, answer = limit_sheets.heard(
            before, payload, job.unit, job.decision, job.clock.utc_us(), trusted
        )
        if self._limits is not before:
            # A merged row must have been decided with one set of limits.
            self._carried, records = carrying.flushed(self._carried)
            state = replace(self._carried.pipeline, plan=self._limits.plan)
            self._carried = replace(self._carried, pipeline=state)
            self._store.add(records)
        self._store.add([answer])

    def _tell(self, event: str, detail: dict[str, int | str]) -> None:
        self._store.add([UnitEvent(event=event, at_us=self._job.clock.utc_us(), detail=detail)])

    def _step(self, item: SourceItem | HealthRow) -> None:
        self._carried, records = carrying.step(self._carried, item)
        self._store.add(records)

    def _utc_us(self, counter: int) -> int:
        return dating.utc_us(self._dated, counter, self._rate_hz)

    def _take_anchor(self, anchor: TimeAnchor) -> None:
        self._dated, records = dating.anchored(self._dated, anchor, self._rate_hz, boot_id())
        if anchor.counter >= self._repeats_until:
            self._store.add(records)
        self._step(anchor)

    def _take_block(self, block: SampleBlock) -> None:
        """The samples, cut where a minute's health record is due between them."""
        self.samples += len(block.samples)
        while block.counter >= self._repeats_until:
            at_us = self._utc_us(block.counter)
            self._heart = heartbeat.begun(self._heart, at_us)
            rows = heartbeat.rows_until_due(self._heart, at_us, self._rate_hz)
            if rows >= len(block.samples):
                break
            if rows:
                self._take_rows(head_of(block, rows))
                block = tail_of(block, rows)
            self._beat(self._heart.end_us, self._utc_us(block.counter))
        self._take_rows(block)

    def _take_rows(self, block: SampleBlock) -> None:
        self._counter = block.counter_end
        if block.counter >= self._repeats_until:
            self._heart = heartbeat.counted_in(self._heart, len(block.samples))
            heard = noise_na(block, self._job.source.description)
            self._heart = heartbeat.listened(self._heart, heard)
        self._step(block)

    def _take_end(self, end: StreamEnd) -> None:
        """The signal stops, for now or for good: what is open is closed, nothing is held back."""
        log.info("the signal has ended: %s", end.reason)
        self._ended = True
        self._step(end)
        self._carried, records = carrying.flushed(self._carried)
        self._store.add(records)
        if self._job.source.is_live:
            self._tell("signal-ended", {"reason": end.reason[:200], "counter": end.counter})

    def _end_signal(self, finished: bool) -> None:
        """Nothing more will come. A stored signal that was cut goes on from here next time."""
        if self._job.source.is_live or finished:
            now_us = self._utc_us(self._counter)
            if self._heart.samples and now_us > self._heart.start_us:
                self._beat(now_us, now_us)
            if not self._ended:
                self._take_end(StreamEnd(self._counter, "told to stop"))
        self._commit()
        self.backlog = self._store.backlog()
        self.over.set()

    def _beat_in_the_dark(self) -> None:
        job = self._job
        if not job.source.is_live or steady_ns() - self._item_ns < DARK_NS or self.over.is_set():
            return
        now_us = job.clock.utc_us()
        self._heart = heartbeat.begun(self._heart, now_us)
        if now_us >= self._heart.end_us:
            self._beat(self._heart.end_us, now_us)

    def _beat(self, until_us: int, now_us: int) -> None:
        standing = self._standing()
        self._heart, row = heartbeat.beat(self._heart, until_us, now_us, standing)
        self._step(row)
        self._store.add(warned(self._certificate, standing.certificate, until_us))
        self._certificate = standing.certificate

    def _standing(self) -> Standing:
        anchor, known = self._dated.anchor, self._job.clock.discipline()
        uplink, path, now_us = self._uplink, self._job.certificate, self._job.clock.utc_us()
        return Standing(
            clock_source=known.source if anchor is None else anchor.source.value,
            clock_synchronised=known.synchronised if anchor is None else anchor.synchronised,
            clock_error_us=dating.error_us(self._dated, self._counter, self._rate_hz),
            storage_free_ppm=self._store.storage_free_ppm(),
            backlog=self._store.backlog(),
            uplink_away=uplink is not None and not uplink.connected.is_set(),
            is_live=self._job.source.is_live,
            has_line_input=self._job.has_line_input,
            counters=self._job.source.counters(),
            settings_sha=self._limits.plan.settings_sha,
            is_commissioned=self._job.is_commissioned,
            firmware=self._job.source.firmware(),
            certificate=expiry_of(path, now_us, synchronised=known.synchronised),
        )
