"""How a notice reaches a person."""
