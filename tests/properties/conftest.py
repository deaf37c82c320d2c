"""Hypothesis without a time limit per example: the first one may have to compile a kernel."""

from hypothesis import settings

settings.register_profile("compiled kernels", deadline=None)
settings.load_profile("compiled kernels")
