"""The team's own program as the controller, in lock step with the simulated lift.

::

    protocol.py   one loop as a line of JSON, and the answer checked
    child.py      the program as a process: started, asked, watched, ended with all that it started
    controller.py where answers come from: a process, or a Python object of the same interface
    play.py       runs with such a controller: several at once, so that lift and programs work side by side
    study.py      many runs over the cores, as the ensemble of a verification

The plant, its sensors and faults are those of every other run (``homing.kernel.lockstep``).
"""
