"""When absence means something: place, daylight, season."""
