"""From blobs to tracks: which body of one frame is which of the next."""
