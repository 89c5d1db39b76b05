package web

import (
	"fmt"
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
// turn, names this machine, and only reads. Failed is told of a handler that panics.
func guarded(h http.Handler, own hosts, failed func(error)) http.Handler {
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
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			w.Header().Set("Allow", "GET, HEAD")
			refuse(w, http.StatusMethodNotAllowed, "use GET or HEAD")
		default:
			h.ServeHTTP(w, r)
		}
	}))
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
