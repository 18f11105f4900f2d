"""Whether the traffic of a site fell after a swap: what counts, and what it says; without disk or network."""
