"""All rules, by family. A key is stored with alerts and is never given to another rule."""

from alerts.rules import access, blood_pressure, circuit, fluid, length, missing, symptoms
from alerts.rules.base import Rule

RULES: tuple[Rule, ...] = (
    *symptoms.RULES,
    *fluid.RULES,
    *blood_pressure.RULES,
    *circuit.RULES,
    *access.RULES,
    *length.RULES,
    *missing.RULES,
)
BY_KEY: dict[str, Rule] = {rule.key: rule for rule in RULES}
