// Package licences has the licences and notices of all that is linked into the program. They
// are collected by .ci/licences and kept here, compressed, as whoever hands the program on
// must hand them on with it.
package licences

import (
	"bytes"
	"compress/gzip"
	_ "embed" // the collection
	"encoding/json"
	"fmt"
	"io"
	"runtime"
	"slices"
	"sync"
)

// File is where the collection is kept, in this package.
const File = "licences.json.gz"

//go:embed licences.json.gz
var packed []byte

// A Part is something that is linked into the program: a module, or something of which a
// module holds a copy.
type Part struct {
	Name    string `json:"name"`
	Version string `json:"version,omitempty"` // empty where it has none
	Licence string `json:"licence"`           // by its name in the SPDX list, or as its authors say
	System  string `json:"system,omitempty"`  // the only one on which it is linked in; empty: all
	Texts   []Text `json:"texts"`
}

// A Text is a licence or a notice.
type Text struct {
	From string `json:"from"` // the file that it is in, within the part
	Text int    `json:"text"` // its number in the collection, from 0
}

// A Collection is what all parts need. A text that several have is kept once.
type Collection struct {
	Go    string   `json:"go"` // version of Go whose own texts these are
	Parts []Part   `json:"parts"`
	Texts []string `json:"texts"`
}

// Library is the name of the part that each build takes from its own compiler.
const Library = "Go standard library"

// Linked returns what is linked in. A program whose file was damaged is at fault.
var Linked = sync.OnceValues(func() (*Collection, error) {
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	var c Collection
	if err := json.NewDecoder(z).Decode(&c); err != nil {
		return nil, err
	}
	for i := range c.Parts {
		if p := &c.Parts[i]; p.Name == Library {
			p.Version = runtime.Version()
		}
	}
	return &c, nil
})

// Pack compresses a collection as it is kept.
func Pack(c *Collection) ([]byte, error) {
	text, err := json.MarshalIndent(c, "", " ")
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(text); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// Here returns the parts that are linked in on this system.
func (c *Collection) Here() []Part {
	return slices.DeleteFunc(slices.Clone(c.Parts), func(p Part) bool { return p.System != "" && p.System != runtime.GOOS })
}

// WriteTexts writes the licence and the notices of each part, a text that several have at
// the first of them.
func (c *Collection) WriteTexts(w io.Writer) error {
	var b bytes.Buffer
	first := map[int]string{}
	for _, p := range c.Here() {
		title := p.Name
		if p.Version != "" {
			title += " " + p.Version
		}
		fmt.Fprintf(&b, "%s\n%s (%s)\n\n", rule, title, p.Licence)
		for _, t := range p.Texts {
			if of, ok := first[t.Text]; ok {
				fmt.Fprintf(&b, "%s: the same text as of %s\n\n", t.From, of)
				continue
			}
			first[t.Text] = title
			fmt.Fprintf(&b, "%s:\n\n%s\n\n", t.From, c.Texts[t.Text])
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}

// Texts returns what WriteTexts writes of what is linked in.
func Texts() ([]byte, error) {
	c, err := Linked()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = c.WriteTexts(&b)
	return b.Bytes(), err
}

// rule is a line between two parts.
const rule = "--------------------------------------------------------------------------------"
