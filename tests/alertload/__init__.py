"""A season of many stations with all that goes wrong there, to see what people are told. All of it is invented."""
