"""What every computed number has in common, whether of a night or of a month: its declaration and how it is read."""
