"""The compiled closed loop: plant, sensor, routine and metrics of one run.

Order of one call (``loop.simulate_run``)::

    loop      one controller period after the other, tick order of the design
      step      adaptive plant step, sticking, touching the stops        (plant: forces and rates)
        watch     what the step did: stops, extremes, marks of the budget
        sensing   sensor hardware: response table, comparator, sampling, bounce, faults
      observe   readings and counts -> condition bits
      decide    first row of the table whose conditions hold, its effects
"""
