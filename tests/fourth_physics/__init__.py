"""A fourth generator of labelled recordings: waveforms drawn in the voltage's phase, by chance.

`families` has the cases, `truth` what counts as an arc, `table` the command; the figures' scorer is
the first generator's.
"""
