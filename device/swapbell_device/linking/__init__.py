"""How the spool drains to the host."""
