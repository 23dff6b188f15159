"""Captured waveforms on their way to records: which are worth their bytes, and their file.

Pure. `choosing.step(state, row, captured, settings_sha) -> (state, records)`.
"""
