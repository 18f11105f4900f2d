"""Runs where the person is: tallies in, decisions out."""
