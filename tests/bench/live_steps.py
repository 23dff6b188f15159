"""The live path without its shell: deframing, reception, both steps. Imports the edge alone."""

from __future__ import annotations

from edge import pipeline
from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import WatchedInsulator, bind
from edge.measure.plan import plan_from_description
from edge.samples import SampleBlock
from edge.sense import framing, reception


class Steps:
    """What a daemon carries between two reads of its serial port.

    signal_s: end of the samples that have come, in the signal's time.
    """

    def __init__(self) -> None:
        self.deframer = framing.Deframer()
        self.reception = reception.Reception()
        self.state: pipeline.PipelineState | None = None
        self.rate_hz = 1.0
        self.signal_s = 0.0

    def take(self, chunk: bytes) -> list[float]:
        """Takes bytes in; gives the end of each window that came of them [s of signal]."""
        self.deframer, bodies = framing.step(self.deframer, chunk)
        self.reception, items = reception.step(self.reception, bodies, self.signal_s)
        ends_s: list[float] = []
        for item in items:
            self.state, outputs = pipeline.step(self.state or self._begun(), item)
            if isinstance(item, SampleBlock):
                self.signal_s = item.counter_end / self.rate_hz
            for _, table in outputs.windows:
                ends = table.start / self.rate_hz + table.duration_us / 1e6
                ends_s += ends.tolist()
        return ends_s

    def _begun(self) -> pipeline.PipelineState:
        assert self.reception.hello is not None
        description = self.reception.hello.description
        self.rate_hz = description.rate_hz
        plan = plan_from_description(description)
        watched = [WatchedInsulator(id=one.id) for one in plan.insulators]
        decision = bind(DEFAULT_ALARMS, watched, "bench", description.rate_hz)
        return pipeline.initial(plan, decision, description)
