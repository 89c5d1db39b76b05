package unit

// Words returns how many unit words a kind has.
func Words(k Kind) int { return len(k.units) }
