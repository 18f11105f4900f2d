"""One module per revision, in the order of their names."""
