"""The integrator of `circuit.c`, compiled once a process.

gcc is among the tests' system needs (`tests/system_packages.sh`). Contraction of products and sums
is off, so that every machine of one word length rounds alike.
"""

from __future__ import annotations

import ctypes
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tests.families.labelled import Floats

ATTEMPTS = 4
"""Scatter factors a half-cycle: one for each try to ignite; later tries use the last."""

SEGMENTS_MAX = 8


class CompilerMissing(Exception):
    """There is no gcc; to be mended by whoever runs the tests."""


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of film in series, and what an arc over it would be like.

    length_cm; full_us: conductance when full of water [uS]; water: 0 to 1 at the start.
    strength_kv_cm, area_kv_s: field that ignites, and the area above it that it takes.
    field_kv_cm, exponent: still arc, u = field * length * (i / mA)^-exponent. tau_s: its inertia.
    drop_kv: both electrodes. seed_share: the first spark's conductance over the wet film's.
    stretch_per_s: how an arc lengthens. recovery_s, residual: strength lost by the last arc and
    how it returns; lag_s: no ignition sooner. negative: strength of negative half-cycles, times.
    heat_j_k, loss_w_k: heat held and given off; fog_per_s, drying_per_k_s: water won and lost.
    """

    length_cm: float
    full_us: float
    water: float = 1.0
    strength_kv_cm: float = 5.0
    area_kv_s: float = 0.0
    field_kv_cm: float = 1.99
    exponent: float = 0.5
    tau_s: float = 1e-4
    drop_kv: float = 0.8
    seed_share: float = 0.5
    stretch_per_s: float = 0.0
    recovery_s: float = 2e-3
    residual: float = 0.4
    lag_s: float = 4e-4
    negative: float = 1.0
    heat_j_k: float = 1e3
    loss_w_k: float = 0.1
    fog_per_s: float = 0.0
    drying_per_k_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """Between source and insulator: inductance, resistance, capacitance of the bus."""

    l_h: float = 10e-3
    r_ohm: float = 60.0
    c_f: float = 0.28e-6


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What the circuit did, one entry a step: bus voltage [kV], film and arcs [mA], arc [mA]."""

    voltage_kv: Floats
    surface_ma: Floats
    arc_ma: Floats
    water: Floats


@cache
def library() -> ctypes.CDLL:
    """The compiled integrator."""
    if shutil.which("gcc") is None:
        raise CompilerMissing("the third generator needs a C compiler: install gcc, libc6-dev")
    with tempfile.TemporaryDirectory() as folder:
        built = Path(folder) / "circuit.so"
        source = Path(__file__).with_name("circuit.c")
        command = ["gcc", "-std=c99", "-O2", "-ffp-contract=off", "-Wall", "-Werror", "-shared"]
        subprocess.run([*command, "-fPIC", "-o", built, source, "-lm"], check=True)
        return ctypes.CDLL(str(built))


def _packed(parts: tuple[Segment, ...] | tuple[Line, ...]) -> Floats:
    return np.array([[getattr(part, f.name) for f in fields(part)] for part in parts])


def integrated(
    dt_s: float,
    emf_kv: Floats,
    half: npt.NDArray[np.int32],
    scatter: Floats,
    beside_us: Floats,
    scale: Floats,
    segments: tuple[Segment, ...],
    line: Line = Line(),
) -> Course:
    """The course of a circuit; scatter, beside_us (a plain film in parallel) and scale (of the
    column's film) have one row a half-cycle, `half` says in which a step lies."""
    assert 0 < len(segments) <= SEGMENTS_MAX
    halves = int(half.max()) + 1
    assert scatter.shape == (len(scale), ATTEMPTS) and len(beside_us) == len(scale) >= halves
    out = [np.empty(len(emf_kv)) for _ in range(3)] + [np.empty(len(segments))]
    given = [np.ascontiguousarray(a, np.float64) for a in (emf_kv, scatter, beside_us, scale)]
    held = (_packed(segments), _packed((line,)), np.ascontiguousarray(half, np.int32))

    def at(array: npt.NDArray[np.generic]) -> ctypes.c_void_p:
        return ctypes.c_void_p(array.ctypes.data)

    library().integrate(
        ctypes.c_long(len(emf_kv)),
        ctypes.c_double(dt_s),
        at(given[0]),
        at(held[2]),
        *(at(array) for array in given[1:]),
        ctypes.c_int(len(segments)),
        at(held[0]),
        at(held[1]),
        *(at(array) for array in out),
    )
    return Course(*out)
