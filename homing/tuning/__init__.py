"""Tuning: settings of the built-in sequence that meet the requirements with the most margin.

Flow of ``tune`` (``study.py``)::

    knobs.py    what may be moved, how far, in which steps
    search.py   points of a unit cube -> front of time against margin; knows nothing of lifts
    trials.py   a point -> the same drawn runs with other settings -> time and margin
    guards.py   time-out, travel guard and no-motion time by rule, from what healthy runs need
    proof.py    the chosen settings, and those of the file, over fresh runs and faults
    drift.py    how far each setting may stray before a requirement fails
    newfile.py  the lift file with the new settings put in, everything else as it was
"""
