"""Pictures of crossings and random minutes of film, kept for the audit of counts."""
