"""What a person reads on the page, and what it hands over."""
