package rigfile

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"makebreak/rig/yamlfile"
)

// Whatever the text, Parse neither panics nor returns a rig that Check refuses, and every
// error is one with a place.
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"*.yaml", "../../../testdata/rigs/*.yaml", "../../../testdata/rigs/bad/*.yaml"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			f.Fatalf("%s: %d files, %v", pattern, len(files), err)
		}
		for _, file := range files {
			src, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(src)
		}
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		r, err := Parse("f.yaml", src)
		if err != nil {
			if one := new(yamlfile.Error); !errors.As(err, &one) || one.File != "f.yaml" {
				t.Fatalf("not an error of the file: %v", err)
			}
			return
		}
		for _, p := range r.Check() {
			if !p.Warning {
				t.Fatalf("read, and then refused: %v", p)
			}
		}
		if s := r.Supply; s != nil && s.Stage != nil {
			off, hasOff := s.Stage.At(s.Usual)
			on, hasOn := s.Stage.At(s.Stage.On)
			if off || !on || !hasOff || !hasOn || s.Rest != s.Usual || r.Drive(s.Stage.Drive) == nil || !(s.Highest > 0) {
				t.Fatalf("supply %+v, stage %+v", *s, *s.Stage)
			}
		} else if s != nil && (s.Volts(s.Code(s.Usual)) > s.Highest+1e-6*s.Step() || s.Code(s.Rest) > s.Code(s.Highest)) {
			t.Fatalf("supply %+v: codes %d, %d, %d", *s, s.Code(s.Rest), s.Code(s.Usual), s.Code(s.Highest))
		}
		for i := range r.Units {
			for _, p := range r.For(&r.Units[i]).Check() {
				if !p.Warning {
					t.Fatalf("as unit %s sees it: %v", r.Units[i].Name, p)
				}
			}
		}
		for _, o := range r.Outputs {
			if d, err := r.DividerReport(o.Name); err != nil || !(d.LoadedRatio > 0) || !(d.NominalUncertainty > 0) {
				t.Fatalf("output %s: %+v, %v", o.Name, d, err)
			}
		}
	})
}
