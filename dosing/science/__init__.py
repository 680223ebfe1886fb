"""The science of the dose: pure, typed functions. No Django, no clock, no input or output.

Every function takes floats or NumPy arrays that broadcast, and answers with a `Measure`: numbers where
it can answer, and the `Reason` where it cannot.
"""

SCIENCE_VERSION = "2026.18"
"""Stored beside every computed number; raised whenever a formula, a constant or the shape of what is stored changes."""
