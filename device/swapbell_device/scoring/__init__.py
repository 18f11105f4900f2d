"""The counter against the truth."""
