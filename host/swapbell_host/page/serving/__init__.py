"""The page as a server: who connects, who may ask, and how an answer becomes a response."""
