"""Whether a station is fit to count: looked at before it starts and once a day, each finding with what to do."""
