package metrics

import (
	"bytes"
	"errors"
	"path/filepath"

	"github.com/google/renameio/v2"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/common/expfmt"

	"makebreak/rig/problem"
)

// WriteFile writes the metrics in the text exposition format. The file appears
// whole or not at all: it is written and synced under another name beside it, which
// no collector of *.prom files takes up, and then renamed. Its mode is 0644.
func WriteFile(path string, g prometheus.Gatherer) error {
	text, err := exposition(g)
	if err == nil {
		err = replace(path, text)
	}
	if err != nil {
		return &problem.Error{Kind: problem.Storage, Op: "write the metrics", Place: path, Err: err}
	}
	return nil
}

// exposition returns the metrics as text.
func exposition(g prometheus.Gatherer) ([]byte, error) {
	families, err := g.Gather()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	e := expfmt.NewEncoder(&b, expfmt.NewFormat(expfmt.TypeTextPlain))
	for _, f := range families {
		if err := e.Encode(f); err != nil {
			return nil, err
		}
	}
	return b.Bytes(), nil
}

func replace(path string, text []byte) (err error) {
	f, err := renameio.NewPendingFile(path, renameio.WithTempDir(filepath.Dir(path)), renameio.WithStaticPermissions(0o644))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Cleanup()) }()
	if _, err := f.Write(text); err != nil {
		return err
	}
	return f.CloseAtomicallyReplace()
}
