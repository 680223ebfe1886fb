"""All rules, by family. A key is stored with alerts and is never given to another rule."""

from alerts.rules import (
    access,
    blood_pressure,
    bloods,
    circuit,
    composition,
    dose,
    fluid,
    process,
    safety,
    symptoms,
    water,
)
from alerts.rules.base import Rule

RULES_VERSION = "14"
"""Raised whenever a rule says something else of the same nights: it is kept with each judgement, and tells which are
old."""

RULES: tuple[Rule, ...] = (
    *safety.RULES,
    *fluid.RULES,
    *blood_pressure.RULES,
    *symptoms.RULES,
    *dose.RULES,
    *access.RULES,
    *circuit.RULES,
    *composition.RULES,
    *water.RULES,
    *bloods.RULES,
    *process.RULES,
)
BY_KEY: dict[str, Rule] = {rule.key: rule for rule in RULES}
BY_TIME: tuple[Rule, ...] = tuple(rule for rule in RULES if rule.by_time)
"""What time alone brings about: asked of every patient now and again."""
