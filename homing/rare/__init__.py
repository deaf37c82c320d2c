"""Small probabilities: failure rates below what plain sampling can bound.

subset.py     subset simulation with an interval, for any margin
study.py      the same for the requirements of a lift
"""
