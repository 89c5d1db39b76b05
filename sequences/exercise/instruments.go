package exercise

// probes are the measurements with the meter by which answers are compared.
func (d *Definition) probes() []Action { return nil }

// changeNames are the kinds of change that an exercise can allow.
func changeNames() []string { return nil }
