"""The job of each station: its plan, its log, what may be logged next; values and rules without disk or network."""
