"""What is worth telling of a station, subject by subject; `rules` puts them together."""
