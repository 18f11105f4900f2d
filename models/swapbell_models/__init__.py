"""What is true about wasps, bait and counts without hardware, clock, disk or network."""
