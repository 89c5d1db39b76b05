package site

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"mime"
	"net/http"
	"path"
	"strings"
	"time"

	"makebreak/analyze/look"
)

// Scripts of others, as npm has them: htmx.org 2.0.11 and htmx-ext-sse 2.2.4, with their
// licences. Their names here have their versions.
//
//go:embed asset
var assets embed.FS

const (
	htmxScript = "htmx-2.0.11.min.js"
	sseScript  = "htmx-ext-sse-2.2.4.min.js"
)

//go:embed style.css
var ownSheet string

//go:embed now.js
var ownScript string

// ownScriptName has the script's content in it, as the style sheet's has.
func ownScriptName() string { return "now-" + sumOf(ownScript) + ".js" }

func sumOf(content string) string {
	sum := sha256.Sum256([]byte(content))
	return hex.EncodeToString(sum[:6])
}

// sheet is the site's style sheet, with what drawings and what happens now need.
func sheet(now Now) string {
	all := []string{look.Style(), ownSheet}
	if now != nil {
		all = append(all, now.Style())
	}
	return strings.Join(all, "\n")
}

// sheetName is the style sheet's name, another where its content is: a browser keeps it.
func (s *Site) sheetName() string {
	return "style-" + sumOf(s.sheet) + ".css"
}

// asset serves a file by a name that says which version it is, so that a browser may keep it.
func (s *Site) asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	content := []byte(s.sheet)
	if name == ownScriptName() {
		content = []byte(ownScript)
	} else if name != s.sheetName() {
		var err error
		if content, err = assets.ReadFile("asset/" + name); err != nil {
			s.tell(w, http.StatusNotFound, "There is no such file here.")
			return
		}
	}
	kind := mime.TypeByExtension(path.Ext(name))
	if kind == "" {
		kind = "text/plain; charset=utf-8" // a licence
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(content))
}
