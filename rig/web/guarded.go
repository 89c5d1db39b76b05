package web

import (
	"fmt"
	"mime"
	"net/http"

	"golang.org/x/time/rate"
)

// headers are in each answer. A page that needs more sets its own Content-Security-Policy.
var headers = map[string]string{
	"Cache-Control":                "no-store",
	"Content-Security-Policy":      "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
	"Cross-Origin-Opener-Policy":   "same-origin",
	"Cross-Origin-Resource-Policy": "same-origin",
	"Referrer-Policy":              "no-referrer",
	"X-Content-Type-Options":       "nosniff",
	"X-Frame-Options":              "DENY",
}

// guarded applies the rules that hold for all that is served: each request waits for its
// turn, names this machine, and only reads, except where acts says that it may act. Failed is
// told of a handler that panics.
func guarded(h http.Handler, own hosts, acts func(path string) bool, failed func(error)) http.Handler {
	turns := rate.NewLimiter(requestRate, requestBurst)
	return seated(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer recovered(w, failed)
		for name, value := range headers {
			w.Header().Set(name, value)
		}
		switch {
		case turns.Wait(r.Context()) != nil: // the client has gone, or the server ends
			refuse(w, http.StatusServiceUnavailable, "this server ends")
		case !own.has(r):
			refuse(w, http.StatusMisdirectedRequest, "this machine has another name: use the name or address that the program was told to serve at")
		case r.Method == http.MethodPost && acts != nil && acts(r.URL.Path):
			form(h, w, r)
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			w.Header().Set("Allow", "GET, HEAD")
			refuse(w, http.StatusMethodNotAllowed, "use GET or HEAD")
		default:
			h.ServeHTTP(w, r)
		}
	}))
}

// maxForm is the largest form that is sent here, in bytes.
const maxForm = 8 << 10

// ownPages refuses what a browser sends from a page of elsewhere.
var ownPages = http.NewCrossOriginProtection()

// form lets a handler act on a form that a page of this server sent.
func form(h http.Handler, w http.ResponseWriter, r *http.Request) {
	if err := ownPages.Check(r); err != nil {
		refuse(w, http.StatusForbidden, "only a page of this server may send this")
		return
	}
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/x-www-form-urlencoded" {
		refuse(w, http.StatusUnsupportedMediaType, "must be a form")
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		refuse(w, http.StatusBadRequest, fmt.Sprintf("must be a form of %d bytes at most", maxForm))
		return
	}
	h.ServeHTTP(w, r)
}

// refuse answers with why not, and ends the connection: what follows may be a long body.
func refuse(w http.ResponseWriter, status int, why string) {
	w.Header().Set("Connection", "close")
	http.Error(w, fmt.Sprintf("%d: %s", status, why), status)
}

// recovered makes a handler's panic an answer of 500. The run goes on.
func recovered(w http.ResponseWriter, failed func(error)) {
	p := recover()
	if p == nil {
		return
	}
	if p == http.ErrAbortHandler {
		panic(p)
	}
	failed(fmt.Errorf("this should not have happened: %v", p))
	refuse(w, http.StatusInternalServerError, "the program is at fault")
}
