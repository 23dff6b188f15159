"""The demo from its first line to its last."""

from __future__ import annotations

import shutil
import signal
import tempfile
import textwrap
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from edge.faults import Exit
from edge.sense.virtual_site import SITES
from gateway.demo.invented import TOLD, unit_of
from gateway.demo.looking import Looker
from gateway.demo.machine import Machine
from gateway.demo.night import US_PER_S, Night
from gateway.demo.reading import read_story
from gateway.demo.screen import Screen
from gateway.demo.summary import summary_lines
from gateway.demo.watching import WIDTH, Watch, clock_text, progress, watched

LOOK_S = 0.5
"""Between two looks at the API."""

SAMPLES_A_SECOND = 4_800

ON_THE_WAY_US, LATE_S = 150 * US_PER_S, 5.0
"""A unit has fallen behind where its newest record is older than a minute's row takes to come, and
so much real time besides."""

OTHER_SEEDS = (7, 8)
"""One that is worth a second look, and another where it was this one."""

STOPPING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class Demo:
    """One run. `machine` holds every process; whatever happens, `run` ends them all."""

    def __init__(
        self, night: Night, data: Path | None, kill_gateway_at_s: float | None, screen: Screen
    ) -> None:
        self._night, self._screen = night, screen
        self._kept = data
        self._kill_at_s = kill_gateway_at_s
        self._folder = Path(tempfile.mkdtemp(prefix="seafret-demo-")) if data is None else data
        self._machine = Machine(self._folder, night)
        self._watch, self._late_told = Watch(), False
        self._ended_s = 0.0
        self._busy = self._asked = False

    def run(self) -> Exit:
        """Raises ProcessFault, with the folder kept, where a process fails."""
        for number in STOPPING:
            if number is signal.SIGINT or signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, self._asked_to_end)
        try:
            self._live()
        except KeyboardInterrupt:
            self._end()
            self._screen.say("Stopped.", *self._farewell())
            return Exit.STOPPED
        except BrokenPipeError:  # nobody reads on, as in `seafret demo | head`
            self._end()
            self._remove()
            raise
        except BaseException:
            self._end()
            self._screen.say("What was written stays in", str(self._folder))
            raise
        self._end()
        return self._sum_up()

    def _live(self) -> None:
        self._screen.say_all(self._opening())
        self._machine.start()
        with self._undisturbed():
            looker = Looker(self._machine.address)
        try:
            self._screen.say_all(self._whereabouts())
            while not self._machine.poles_are_done:
                self._turn(looker)
                time.sleep(LOOK_S)
            self._ended_s = self._seconds()
            self._turn(looker)
        finally:
            looker.close()

    def _turn(self, looker: Looker) -> None:
        """One look, and what it adds to the screen."""
        if self._kill_at_s is not None and self._seconds() >= self._kill_at_s:
            self._kill_at_s = None
            self._machine.kill_gateway()
            self._say_now("the gateway was killed, as was asked for")
        if self._machine.look():
            self._say_now("the gateway was gone; it was started again")
        with self._undisturbed():
            seen = looker.look()
        if seen is None:
            return
        faces = {plan.name: plan.climate.coast_faces_deg for plan in SITES}
        self._watch, lines = watched(self._watch, seen, faces)
        self._screen.say_all(lines)
        self._tell_lateness()
        begin_us, end_us = self._night.begin_us, self._night.end_us
        self._screen.show(progress(self._watch, seen, begin_us, end_us))

    def _seconds(self) -> float:
        """Real seconds since the night began."""
        clock = self._machine.clock
        return (clock.utc_us() - clock.shown_origin_us) / clock.rate / US_PER_S

    def _say_now(self, what: str) -> None:
        self._screen.say(f"{clock_text(self._machine.clock.utc_us())}  {what}")

    def _tell_lateness(self) -> None:
        if self._watch.worst_age_us > self._late_us and not self._late_told:
            self._late_told = True
            self._say_now(
                "this machine falls behind the clock: nothing is left out, it comes later"
            )

    @property
    def _late_us(self) -> int:
        return ON_THE_WAY_US + round(LATE_S * self._night.rate * US_PER_S)

    def _asked_to_end(self, number: int, frame: FrameType | None) -> None:
        """By Ctrl-C or another way: the same end, but not in the midst of a request or an import,
        which would leave a socket or a file open."""
        self._asked = True
        if not self._busy:
            raise KeyboardInterrupt

    @contextmanager
    def _undisturbed(self) -> Iterator[None]:
        self._busy = True
        try:
            yield
        finally:
            self._busy = False
        if self._asked:
            raise KeyboardInterrupt

    def _end(self) -> None:
        """No signal disturbs the ending."""
        for number in STOPPING:
            signal.signal(number, signal.SIG_IGN)
        self._screen.clear()
        self._machine.stop()

    def _remove(self) -> None:
        if self._kept is None:
            shutil.rmtree(self._folder, ignore_errors=True)

    def _opening(self) -> list[str]:
        night = self._night
        return [
            *_wrapped(
                f"An invented coast lives through a salt-fog night of {night.minutes} minutes, "
                f"told in {night.seconds:.0f} s, {night.rate:.3g} times as fast. This is seed "
                f"{night.seed}; another tells another story. Ctrl-C ends everything."
            ),
            "Starting a broker, a gateway and two edge daemons on this machine ...",
        ]

    def _whereabouts(self) -> list[str]:
        lines = [f"  console   {self._machine.address} (open it in a browser on this machine)"]
        for plan in SITES:
            lines.append(
                f"  edge      {unit_of(plan)}: {len(plan.insulators)} insulators, "
                f"{SAMPLES_A_SECOND:,} samples/s"
            )
            lines.append(f"            {TOLD[plan.name].title}: {TOLD[plan.name].lies}")
        what = "stays" if self._kept else "goes at the end; --data DIR keeps what is written"
        lines += [f"  data      {what}:", f"            {self._folder}"]
        look = f"seafret status --url {self._machine.address}"
        return [*lines, f"Look on from another terminal: {look}", ""]

    def _sum_up(self) -> Exit:
        story = read_story(self._machine.layout, self._night)
        self._screen.say_all(summary_lines(story))
        self._screen.say("", *self._how_it_went(), "", *self._next(), "", *self._farewell())
        return Exit.FOUND if story.lost else Exit.FINE

    def _how_it_went(self) -> list[str]:
        machine = self._machine
        each = ", ".join(f"{one.name} {one.cpu_s:.0f} s" for one in machine.processes)
        share = sum(one.cpu_s for one in machine.processes) / max(self._ended_s, 1.0)
        lines = _wrapped(
            f"Told in {self._ended_s:.0f} s; the newest record was never older than "
            f"{self._watch.worst_age_us / US_PER_S / 60:.0f} min of the night. Processor time: "
            f"{each}; together {share:.1f} cores."
        )
        if machine.killed or machine.restarts:
            lines += _wrapped(
                f"The gateway was killed or ended {max(machine.killed, machine.restarts)} time(s) "
                "and started again; the poles sent what it had not receipted."
            )
        late_s = self._ended_s - self._night.seconds
        if self._late_told or late_s > LATE_S:
            lines += _wrapped(
                f"This machine could not hold the pace: the night ended {late_s:.0f} s late. "
                "Nothing was left out; --seconds 180 asks less of it."
            )
        return lines

    def _next(self) -> list[str]:
        another = OTHER_SEEDS[self._night.seed == OTHER_SEEDS[0]]
        return [
            "Next:",
            f"  seafret demo --seed {another}               another story",
            "  seafret demo --seconds 600          slower, with time for `seafret status`",
            "  seafret replay FILE.cfg --out DIR   a recording through the very same steps",
            "  README.md                           the path of one sample, and how to go on",
        ]

    def _farewell(self) -> list[str]:
        self._remove()
        if self._kept is None:
            return ["All processes have ended; the temporary folder is removed."]
        return ["All processes have ended; what was written stays in", str(self._folder)]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH - 1, break_on_hyphens=False)
