"""What a broker of one's own needs: certificates, passwords, an access list, and a configuration for Debian."""
