"""A patient's month: dose, fluid, access and bloods, computed once and kept, each number with how it came about."""
