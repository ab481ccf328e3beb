"""How much heat, how early, at what cost: options of one venue tried over many winters."""
