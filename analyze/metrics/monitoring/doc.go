// Package monitoring has the files by which Prometheus and Grafana watch rigs: settings, rules
// and a dashboard. They use the metrics of package metrics.
package monitoring

import "embed"

// Files are what is copied to the machine that watches.
//
//go:embed prometheus.yml rigs.yml makebreak.rules.yml grafana-source.yml grafana-boards.yml makebreak-rigs.json
var Files embed.FS

// Names returns the files' names.
func Names() []string {
	all, err := Files.ReadDir(".")
	if err != nil {
		return nil // they are in the program
	}
	names := make([]string, len(all))
	for i, f := range all {
		names[i] = f.Name()
	}
	return names
}
