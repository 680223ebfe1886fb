"""The nephrologist's screen: dose, fluid, access and bloods of half a year, what goes on being wrong, what was done."""
