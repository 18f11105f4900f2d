"""The page that the host serves: one address for a phone, a tablet and a desk."""
