"""Counts against counts: machine against person, bait against bait."""
