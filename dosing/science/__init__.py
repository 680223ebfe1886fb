"""The science of the dose: pure, typed functions. No Django, no clock, no input or output.

Every function takes floats or NumPy arrays that broadcast, and answers with a `Measure`: numbers where
it can answer, and the reason in words where it cannot.
"""

SCIENCE_VERSION = "2026.1"
"""Stored beside every computed number; raised whenever a formula or a constant changes an answer."""
