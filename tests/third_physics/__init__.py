"""A third generator of labelled recordings: a circuit and its arcs, integrated in time.

`families` has the cases, `table` the command; the figures' scorer is the first generator's.
"""
