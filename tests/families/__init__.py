"""Labelled recordings made by a physics of their own, and the scorer that judges a detector.

Nothing here shares code with the measure: the arc law, the surface and the sensor are written anew,
so a mistake of the detector cannot be repeated by its judge. No labelled field waveforms were
available; good figures on these families prove agreement with this physics, not with nature.
"""
