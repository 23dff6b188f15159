"""A second generator of labelled recordings, on arc physics of its own: a hold-out for the judge.

Dynamic arc columns, breakdown with recovery and a film that heats and dries, integrated in time.
"""
