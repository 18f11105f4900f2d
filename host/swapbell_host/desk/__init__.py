"""The commands that plan, enrol and log: what a person does at a desk, or at the station with a phone."""
