"""A team's own routine, written in the lift file as phases and rows.

::

    [[routine.phase]], [[routine.row]]      words.py: the closed set of conditions and effects
        | reading.py: checked, one sentence a mistake
        v
    OwnRoutine (units of the file)          numbers.py: its numbers by dotted key, to vary or tune
        | table.py
        v
    homing.routine.Table                    from here on like the built-in one
"""
