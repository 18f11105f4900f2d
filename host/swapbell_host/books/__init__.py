"""What the host keeps on disk: tallies, health, notices, refusals, and how far each station came."""
