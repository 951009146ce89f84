"""Who plays the worlds of `aerobe.worlds`, by which rule, and how it is told; run by `how_does_it_fare_elsewhere`."""
