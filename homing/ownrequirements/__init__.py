"""Own requirements: ``[[requirement]]`` with a formula in signal temporal logic over the columns of a trace.

    tables.py     the section of the lift file
    logic.py      the formula, by a library that is an extra
    judging.py    held against the nominal run and against the ensemble

Keys: ``name``, ``formula``, and if wanted ``unit`` (of the robustness) and ``why``.
"""
