"""The whole job on one machine before the season: a broker, the host, a station; and what a person sees of it."""
