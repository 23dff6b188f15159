"""Limits of commissioning. All are design choices; none has a published source."""

from __future__ import annotations

GAIN_RATIO = (0.98, 1.02)
"""Shown to injected current at each point; beyond it the calibration's gain is to be mended."""

GAIN_SHARES = (0.02, 0.1, 0.25, 0.5, 0.9)
"""Of the full scale: the five points, so that both ranges and both ends are seen."""

GAIN_SPAN_MIN = 10.0
"""Highest to lowest point; closer points would not show a bent characteristic."""

GAIN_TOP_SHARE_MIN = 0.5
"""The highest point reaches at least this share of the full scale."""

NOISE_MA_MAX = 0.05
"""R.m.s. without any current: a sixth of the current that counts as wet."""

OFFSET_MA_MAX = 0.05
"""Mean without any current; more would be taken for arcs of one polarity."""

LEADING_DEG = (55.0, 125.0)
"""A dry insulator's current leads its own phase's voltage by 90 degrees, tilted by neighbouring
phases; a turned sensor shows -90, another phase is 120 off."""

DRY_OFF_RATIO_MAX = 0.15
"""Distance of the dry current from the calibrated one, as a share: the limit of the self-test."""

SATURATED_WINDOWS_MIN = 1
FULL_SCALE_SHARE_MIN = 0.9
"""Clipping below this share of the stated full scale means that the full scale is not there."""

BYPASS_DRY_MIN = 0.98
"""Share of a current on the surface that the dry collector hands to the sensor."""

BYPASS_WET_MIN = 0.90
"""The same with the surface around the ring wetted; what is lost there is lost on wet nights."""

WETTING_MS_CM_MIN = 2.0
"""Conductivity of the water sprayed; weaker water would prove nothing about a salty film."""

LEAD_OFF_SHARE_MAX = 0.2
"""Of the dry current, with the lead off: less is seen as a current that is gone."""

BACK_RATIO = (0.85, 1.15)
"""Of the dry current once the lead is back."""

SILENT_S_MIN = 2.0
"""So long without samples is no hiccup of a busy computer: the lead or the supply is off."""

SILENCE_S_MAX = 15.0
"""So long after the last sample the unit must say that its sensors are silent."""

RECEIPT_S_MAX = 60.0
"""From a record's commit to the gateway's receipt."""

BACK_FILL_RECORDS_MIN = 3
BACK_FILL_S_MAX = 120.0
"""From the return of the uplink to the receipt of everything that was held."""
