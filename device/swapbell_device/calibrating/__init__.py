"""From a printed card in the view, or from lengths that a person states, to the station file."""
