"""When the rule will be reached: the foraging clock, how traffic grows, and a forecast that may refuse."""
