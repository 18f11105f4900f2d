"""The trade's arithmetic on the command line: how much, when, and how a camera has to hang."""
