"""The parts, each made from the layout."""
