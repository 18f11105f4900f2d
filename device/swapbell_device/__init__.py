"""Runs at the station: frames in, tallies out."""
