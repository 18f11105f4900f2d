"""From a frame to the blobs in it."""
