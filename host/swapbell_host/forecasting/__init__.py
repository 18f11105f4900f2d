"""When a station's rule will be reached: read from the ledger, said in words, drawn."""
