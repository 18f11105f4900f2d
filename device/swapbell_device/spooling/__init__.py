"""What the station keeps until the host has it."""
