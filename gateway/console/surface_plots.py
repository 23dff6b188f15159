"""Plots of one surface: response to humidity, exposure by day, captured waveform. Pure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.console.drawing import (
    Axis,
    bars,
    decimated,
    label,
    line_path,
    nice_top,
    number,
    points,
    scale_left,
    svg,
    tag,
)
from gateway.console.waveforms import Wave
from gateway.trends.change import InsulatorTrend
from gateway.trends.columns import Floats
from gateway.trends.curve import curve_at
from gateway.trends.evidence import Site
from gateway.trends.response import later_log_ma

WIDTH = 480
POINTS_MAX = 1_500
"""Of more hours every second, third, ... is drawn; the table and the CSV have all."""

RESPONSE_HEIGHT, WAVE_HEIGHT, DAYS_HEIGHT = 300, 300, 150
LEFT, RIGHT, TOP = 60, 26, 18
LEAST_MA = 0.001


@dataclass(frozen=True, slots=True, eq=False)
class Cloud:
    """Hours of one insulator: humidity [%] and current [mA], reference and now."""

    rh_before: Floats
    ma_before: Floats
    rh_now: Floats
    ma_now: Floats


def cloud_of(site: Site, insulator: str) -> Cloud:
    """The good hours of both periods."""
    current, rh = site.currents[insulator].current_ma, site.grid.rh_pct
    good = np.isfinite(current) & np.isfinite(rh) & (current > 0)
    before, now = good & site.earlier, good & site.later
    return Cloud(rh[before], current[before], rh[now], current[now])


def response_plot(cloud: Cloud, trend: InsulatorTrend | None) -> str:
    """Current against humidity: grey dots and line then, crosses and heavy line now."""
    bottom = RESPONSE_HEIGHT - 34
    every = np.concatenate((cloud.ma_before, cloud.ma_now))
    low, high = _decades(every)
    up, across = Axis(low, high, bottom, TOP, log=True), Axis(30, 102, LEFT, WIDTH - RIGHT)
    parts = [scale_left(up, LEFT, WIDTH - RIGHT), *_across(across, bottom)]
    parts += [
        points(*_thin(across.at(cloud.rh_before), up.at(cloud.ma_before)), "dot-before"),
        points(*_thin(across.at(cloud.rh_now), up.at(cloud.ma_now)), "dot-now", cross=True),
        *_curves(trend, across, up),
        label(LEFT, TOP - 5, "current, mA r.m.s.", "caption", "start"),
        label(WIDTH - RIGHT, RESPONSE_HEIGHT - 4, "relative humidity, %", "caption", "end"),
    ]
    return svg(WIDTH, RESPONSE_HEIGHT, parts, "hourly current against relative humidity")


def _decades(found: Floats) -> tuple[float, float]:
    if not found.size:
        return 0.01, 10.0
    low = max(float(found.min()), LEAST_MA)
    high = max(float(found.max()), 10 * low)
    return 10.0 ** np.floor(np.log10(low)), 10.0 ** np.ceil(np.log10(high))


def _thin(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    step = max(1, -(-x.shape[0] // POINTS_MAX))
    return x[::step], y[::step]


def _across(across: Axis, bottom: float) -> list[str]:
    return [
        part
        for at in across.ticks(7)
        for part in (
            tag("path", d=f"M{float(across.at(at)):.1f} {TOP}V{bottom}", class_="grid"),
            label(float(across.at(at)), bottom + 14, number(at)),
        )
    ]


def _curves(trend: InsulatorTrend | None, across: Axis, up: Axis) -> list[str]:
    fit = trend.response.fit if trend is not None else None
    if trend is None or fit is None or trend.onset_rh_reference is None:
        return []
    along = np.linspace(max(trend.onset_rh_reference - 8.0, 40.0), 99.0, 80)
    before = np.exp(curve_at(fit.curve, along))
    drawn = [line_path(across.at(along), up.at(before), "curve-before")]
    if trend.index_ratio is not None:
        now = np.exp(later_log_ma(fit, along))
        drawn.append(line_path(across.at(along), up.at(now), "curve-now"))
    return drawn


def days_plot(counts: Floats, words: list[str]) -> str:
    """Arcing half-cycles of each day; words: the day under every bar that has room."""
    bottom = DAYS_HEIGHT - 22
    known = counts[np.isfinite(counts)]
    up = Axis(0, nice_top(float(known.max()) if known.size else 0.0, 10), bottom, TOP)
    across = Axis(0, len(counts), LEFT, WIDTH - RIGHT)
    x = across.at(np.arange(len(counts), dtype=np.float64) + 0.5)
    half = (WIDTH - RIGHT - LEFT) / max(len(counts), 1) / 2 * 0.8
    step = max(1, -(-len(counts) // 8))
    parts = [
        scale_left(up, LEFT, WIDTH - RIGHT, 3),
        bars(x, up.at(counts), bottom, half, "arcs"),
        *(label(float(x[k]), bottom + 14, words[k]) for k in range(0, len(words), step)),
        label(LEFT, TOP - 5, "arcing half-cycles a day", "caption", "start"),
    ]
    return svg(WIDTH, DAYS_HEIGHT, parts, "arcing half-cycles of each day")


def wave_plot(wave: Wave, width: int = 1000) -> str:
    """A captured current, and the voltage's shape behind it; no sample's peak is dropped."""
    bottom = WAVE_HEIGHT - 26
    top_ma = nice_top(float(np.nanmax(np.abs(wave.current_ma), initial=0.0)), 0.1)
    up = Axis(-top_ma, top_ma, bottom, TOP)
    across = Axis(wave.from_ms, wave.to_ms, LEFT, width - RIGHT)
    parts = [scale_left(up, LEFT, width - RIGHT, 6), *_milliseconds(across, bottom)]
    if wave.voltage_kv is not None:
        highest = float(np.nanmax(np.abs(wave.voltage_kv), initial=0.0)) or 1.0
        shape = Axis(-highest, highest, bottom, TOP)
        parts.append(_sampled(wave, wave.voltage_kv, across, shape, "voltage"))
    parts += [
        tag("path", d=f"M{LEFT} {float(up.at(0)):.1f}H{width - RIGHT}", class_="zero"),
        _sampled(wave, wave.current_ma, across, up, "current"),
        label(LEFT, TOP - 4, "current, mA", "caption", "start"),
        label(width - RIGHT, TOP - 4, _voltage_word(wave), "caption", "end"),
        tag("path", d=f"M{float(across.at(0)):.1f} {TOP}V{bottom}", class_="trigger"),
        tag("path", d="", class_="cursor"),
    ]
    return svg(width, WAVE_HEIGHT, parts, "captured current, with the voltage's phase", "plot wave")


def _voltage_word(wave: Wave) -> str:
    if wave.voltage_kv is None:
        return "no voltage reference: the phase cannot be shown"
    highest = float(np.nanmax(np.abs(wave.voltage_kv), initial=0.0))
    return f"dashed: voltage, peak {number(highest)} kV"


def _sampled(wave: Wave, found: Floats, across: Axis, up: Axis, kind: str) -> str:
    at, held = decimated(found, 900)
    ms = wave.from_ms + at * wave.step_ms
    return line_path(across.at(ms), up.at(held), kind)


def _milliseconds(across: Axis, bottom: float) -> list[str]:
    return [
        part
        for at in across.ticks(10)
        for part in (
            tag("path", d=f"M{float(across.at(at)):.1f} {TOP}V{bottom}", class_="grid"),
            label(float(across.at(at)), bottom + 15, f"{number(at)} ms"),
        )
    ]
