"""The printable lane and housing: from one parameter file to solids, drawings and the station file to expect."""
