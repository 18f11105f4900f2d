"""The counts of one station over time: as points, as a picture, as rows, in words."""
