"""Worst case: the run with the least margin, shrunk to the fewest departures from nominal that still do it.

margins.py    result rows -> signed margins, with a slope everywhere
cube.py       points of the unit cube -> runs: draws, run number, one fault
search.py     least margin over the cube
shrink.py     fewest and smallest departures from nominal
case.py       one run as a file; casefile.py reads it back
study.py      all of it: lift -> WorstCase
"""
