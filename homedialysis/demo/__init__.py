"""The whole product on one machine, with invented people."""
