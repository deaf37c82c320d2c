"""Tuning: settings of the routine, built-in or own, that meet the requirements with the most margin.

Flow of ``tune`` (``study.py``)::

    knobs.py    what may be moved, how far, in which steps; of an own table: groups.py, ownknobs.py
    search.py   points of a unit cube -> front of time against margin; knows nothing of lifts
    trials.py   a point -> the same drawn runs with other settings (settings.py) -> time and margin
    choice.py   the best trials on more runs, then on fresh ones
    guards.py   guards by rule (rules.py), from what healthy runs need (needs.py)
    proof.py    the chosen settings, and those of the file, over fresh runs and faults
    drift.py    how far each setting may stray before a requirement fails
    newfile.py  the lift file with the new settings put in, everything else as it was; owntext.py

A setting has one key, or with an own table several that take one value. Keys are those below ``[routine]``.
"""
