"""What a camera sees of a lane: its lens, the camera modules, and where one has to hang."""
