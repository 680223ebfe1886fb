"""Pages of alerts."""
