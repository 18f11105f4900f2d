"""The printable housing, lane and calibration card: an empty room so far."""
