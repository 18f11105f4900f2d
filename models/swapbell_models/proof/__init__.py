"""Whether the traffic really fell, and whether it came back."""
