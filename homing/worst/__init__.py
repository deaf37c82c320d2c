"""Worst case: the run with the least margin, shrunk to the fewest departures from nominal that still do it.

margins.py    result rows -> signed margins, with a slope everywhere
aims.py       what is searched for: fixed requirements and own ones
timing.py     loops and sampling as searched numbers: phase, length, one late loop
cube.py       points of the unit cube -> runs: draws, run number, timing, one fault
search.py     least margin over the cube
shrink.py     fewest and smallest departures from nominal; departures.py words them
case.py       one run as a file; casefile.py reads it back
study.py      all of it: lift -> WorstCase
"""
