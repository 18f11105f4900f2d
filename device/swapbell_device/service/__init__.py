"""The counter as a service of systemd: its unit, and what it tells systemd while it runs."""
