"""Balance: what hangs on each crankpin, and what the crankshaft has to answer for."""
