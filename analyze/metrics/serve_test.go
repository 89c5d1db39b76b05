package metrics

import (
	"io"
	"net/http"
	"strings"
	"testing"

	"makebreak/rig/problem"
)

// Metrics are served until the server is closed; an address that is wrong or taken is told.
func TestServe(t *testing.T) {
	c := NewCollector(Opts{})
	s, err := Serve("localhost:0", c, func(err error) { t.Error(err) })
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.Get("http://" + s.Addr.String() + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r.Body)
	r.Body.Close()
	if err != nil || r.StatusCode != http.StatusOK || !strings.Contains(string(text), "makebreak_") {
		t.Errorf("%v, %s: %s", err, r.Status, text)
	}
	for address, want := range map[string]string{s.Addr.String(): "address already in use", "localhost": "missing port in address", "localhost:x": "unknown port"} {
		if _, err := Serve(address, c, nil); problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "use a free address") {
			t.Errorf("%s: %v, want %q", address, err, want)
		}
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if _, err := http.Get("http://" + s.Addr.String() + "/metrics"); err == nil {
		t.Error("it still serves after Close")
	}
}
