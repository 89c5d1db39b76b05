package web

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// A form acts where a page of this server sent it, to an address that may act, and nowhere else.
func TestGuarded_Acts(t *testing.T) {
	t.Parallel()
	acted := 0
	h := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost {
			acted++
			io.WriteString(w, "did "+r.PostFormValue("what"))
		}
	})
	guard := guarded(h, hosts{"bench.example"}, func(path string) bool { return path == "/act" }, func(err error) { t.Error(err) })
	const form = "application/x-www-form-urlencoded"
	for _, c := range []struct {
		name, method, path, kind, body, host string
		header                               [2]string
		want                                 int
	}{
		{"from a page here", "POST", "/act", form, "what=this", "bench.example:9120", [2]string{"Sec-Fetch-Site", "same-origin"}, 200},
		{"from a page here, an older browser", "POST", "/act", form, "what=this", "bench.example:9120", [2]string{"Origin", "http://bench.example:9120"}, 200},
		{"from no browser", "POST", "/act", form, "what=this", "bench.example:9120", [2]string{}, 200},
		{"with a character set", "POST", "/act", form + "; charset=utf-8", "what=this", "bench.example", [2]string{}, 200},
		{"from elsewhere", "POST", "/act", form, "what=this", "bench.example", [2]string{"Sec-Fetch-Site", "cross-site"}, 403},
		{"from another name of the same site", "POST", "/act", form, "what=this", "bench.example", [2]string{"Sec-Fetch-Site", "same-site"}, 403},
		{"from elsewhere, an older browser", "POST", "/act", form, "what=this", "bench.example", [2]string{"Origin", "http://elsewhere.example"}, 403},
		{"from another port", "POST", "/act", form, "what=this", "bench.example:9120", [2]string{"Origin", "http://bench.example:80"}, 403},
		{"from a page without an origin", "POST", "/act", form, "what=this", "bench.example", [2]string{"Origin", "null"}, 403},
		{"to another name", "POST", "/act", form, "what=this", "elsewhere.example", [2]string{"Sec-Fetch-Site", "same-origin"}, 421},
		{"elsewhere on this server", "POST", "/", form, "what=this", "bench.example", [2]string{"Sec-Fetch-Site", "same-origin"}, 405},
		{"no form", "POST", "/act", "application/json", `{"what":"this"}`, "bench.example", [2]string{}, 415},
		{"a form of parts", "POST", "/act", "multipart/form-data; boundary=x", "--x--", "bench.example", [2]string{}, 415},
		{"no kind", "POST", "/act", "", "what=this", "bench.example", [2]string{}, 415},
		{"a large one", "POST", "/act", form, "what=" + strings.Repeat("x", maxForm), "bench.example", [2]string{}, 400},
		{"another method", "PUT", "/act", form, "what=this", "bench.example", [2]string{}, 405},
		{"another method yet", "DELETE", "/act", "", "", "bench.example", [2]string{}, 405},
		{"only read", "GET", "/act?what=this", "", "", "bench.example", [2]string{"Sec-Fetch-Site", "cross-site"}, 200},
	} {
		before := acted
		r := httptest.NewRequest(c.method, "http://"+c.host+c.path, strings.NewReader(c.body))
		if c.kind != "" {
			r.Header.Set("Content-Type", c.kind)
		}
		if c.header[0] != "" {
			r.Header.Set(c.header[0], c.header[1])
		}
		w := httptest.NewRecorder()
		guard.ServeHTTP(w, r)
		if w.Code != c.want || (acted > before) != (c.want == 200 && c.method == "POST") {
			t.Errorf("%s: %d, want %d; acted %d times", c.name, w.Code, c.want, acted-before)
		}
		if acted > before && w.Body.String() != "did this" {
			t.Errorf("%s: %s", c.name, w.Body)
		}
		for name, value := range headers {
			if got := w.Header().Get(name); got != value {
				t.Errorf("%s: %s is %q", c.name, name, got)
			}
		}
	}
}
