"""Evidence from the stations: fetched on request, and a person's recount against the counter's."""
