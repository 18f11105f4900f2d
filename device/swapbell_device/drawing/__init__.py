"""Drawn scenes with exact truth: first-class help for tests, rehearsals and scores."""
