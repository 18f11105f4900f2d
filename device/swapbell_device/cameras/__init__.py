"""The cameras of a station: on the board's own connector, on USB; opened again whenever they are lost."""
