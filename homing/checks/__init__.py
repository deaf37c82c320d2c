"""The checks there are for lifts, each with its limit for one lift and what it guards against.

A check is left out where a lift gives it no limit: nothing here is guessed. Limits are rounded inwards, to
what a ruler, a log or a meter shows. ``homing.checklist`` picks and orders them.
"""
