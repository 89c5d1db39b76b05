package web

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/crypto/bcrypt"

	"makebreak/rig/problem"
)

// newConfig writes a web configuration of the parts named, and returns it with the
// certificate to trust.
func newConfig(t testing.TB, parts string, cost int) (path string, trust *x509.CertPool) {
	t.Helper()
	dir := t.TempDir()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	// The time of synctest's bubbles is in 2000.
	c := &x509.Certificate{SerialNumber: big.NewInt(1), DNSNames: []string{"localhost"}, NotBefore: time.Unix(0, 0), NotAfter: time.Unix(1<<33, 0), IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	hash, err := bcrypt.GenerateFromPassword([]byte("right"), cost)
	if err != nil {
		t.Fatal(err)
	}
	text := map[string]string{
		"tls":    "tls_server_config: {cert_file: cert.pem, key_file: key.pem}\n",
		"logins": fmt.Sprintf("basic_auth_users: {fitter: '%s'}\n", hash),
		"client": "tls_server_config: {cert_file: cert.pem, key_file: key.pem, client_auth_type: RequireAndVerifyClientCert, client_ca_file: cert.pem}\n",
		"bad":    "tls_server_confg: {}\n",
		"lost":   "tls_server_config: {cert_file: none.pem, key_file: key.pem}\n",
		"plain":  "basic_auth_users: {fitter: right}\n",
	}
	all := ""
	for _, p := range strings.Fields(parts) {
		all += text[p]
	}
	path = filepath.Join(dir, "web.yaml")
	for name, b := range map[string][]byte{path: []byte(all), filepath.Join(dir, "cert.pem"): pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}),
		filepath.Join(dir, "key.pem"): pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})} {
		if err := os.WriteFile(name, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	trust = x509.NewCertPool()
	trust.AddCert(cert)
	return path, trust
}

// Other machines reach a server with TLS and a login, or where somebody says that they may
// without. What is wrong with a configuration is told.
func TestServe_Access(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		parts    string // of the configuration; empty: none
		address  string
		insecure bool
		kind     problem.Kind
		want     string // in the error; empty: it is served
		open     bool
	}{
		{"", "localhost:0", false, 0, "", false}, {"", "[::1]:0", false, 0, "", false},
		{"", ":0", false, problem.Usage, "--web-config names a file with both, or --insecure", false}, {"", ":0", true, 0, "", true},
		{"tls", ":0", false, problem.Usage, "sets no login: add basic_auth_users", false}, {"tls", ":0", true, 0, "", true}, {"tls", "localhost:0", false, 0, "", false},
		{"logins", ":0", false, problem.Usage, "sets no TLS: add tls_server_config", false}, {"logins", ":0", true, 0, "", true},
		{"tls logins", ":0", false, 0, "", false}, {"client", ":0", false, 0, "", false}, {"none", ":0", false, problem.Usage, "sets neither", false},
		{"bad", "localhost:0", false, problem.Input, "tls_server_confg", false}, {"lost", "localhost:0", false, problem.Input, "none.pem", false},
		{"plain", "localhost:0", true, problem.Input, "hash", false},
	} {
		a := Access{Insecure: c.insecure}
		if c.parts != "" {
			a.Config, _ = newConfig(t, c.parts, bcrypt.MinCost)
		}
		s, err := Serve(Opts{Address: c.address, Access: a, Failed: func(err error) { t.Error(err) }}, hello)
		if err == nil {
			if s.Open() != c.open {
				t.Errorf("%q at %s: open %t, want %t", c.parts, c.address, s.Open(), c.open)
			}
			if err := s.Close(); err != nil {
				t.Error(err)
			}
		}
		if (err == nil) != (c.want == "") || err != nil && (!strings.Contains(err.Error(), c.want) || problem.KindOf(err) != c.kind) {
			t.Errorf("%q at %s, insecure %t: %v, want %q of the kind %v", c.parts, c.address, c.insecure, err, c.want, c.kind)
		}
	}
	dear, _ := newConfig(t, "none", bcrypt.MinCost)
	hash := "$2y$31$" + strings.Repeat("a", 53)
	if err := os.WriteFile(dear, []byte("basic_auth_users: {fitter: "+hash+"}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{dear: "has the cost 31", filepath.Join(t.TempDir(), "none"): "no such file", os.DevNull: "ordinary file"} {
		if _, err := Serve(Opts{Address: "localhost:0", Access: Access{Config: path}}, hello); problem.KindOf(err) != problem.Input || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", path, err, want)
		}
	}
}

// Who has TLS and the password is answered, by the same rules as everybody.
func TestServe_Logins(t *testing.T) {
	t.Parallel()
	config, trust := newConfig(t, "tls logins", bcrypt.MinCost)
	s, err := Serve(Opts{Address: "localhost:0", Access: Access{Config: config}, Failed: func(err error) { t.Error(err) }}, hello)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trust}, ForceAttemptHTTP2: true}}
	for _, c := range []struct {
		method, host, password string
		want                   int
	}{
		{"GET", "", "right", 200}, {"GET", "", "right", 200}, {"GET", "", "wrong", 401}, {"GET", "", "", 401}, {"GET", "", "right", 200},
		{"POST", "", "right", 405}, {"GET", "elsewhere.example", "right", 421}, {"POST", "", "", 405}, {"GET", "elsewhere.example", "", 421},
	} {
		r, err := http.NewRequest(c.method, fmt.Sprintf("https://localhost:%d/", s.Addr.(*net.TCPAddr).Port), nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Host = c.host
		if c.password != "" {
			r.SetBasicAuth("fitter", c.password)
		}
		a, err := client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(a.Body)
		a.Body.Close()
		if err != nil || a.StatusCode != c.want || (string(text) == "hello") != (c.want == 200) || a.Proto != "HTTP/1.1" {
			t.Errorf("%+v: %s, %s, %q, %v", c, a.Status, a.Proto, text, err)
		}
		for name, value := range headers {
			if got := a.Header.Get(name); got != value {
				t.Errorf("%+v: %s is %q, want %q", c, name, got, value)
			}
		}
	}
	if !strings.HasPrefix(s.URL("/"), "https://127.0.0.1:") && !strings.HasPrefix(s.URL("/"), "https://[::1]:") {
		t.Error(s.URL("/"))
	}
}

// Whoever guesses passwords gets a tenth of a processor, and who is logged in waits for nobody.
func TestLogins_Share(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		const check = 100 * time.Millisecond
		l := newLogins()
		worked, running := time.Duration(0), 0
		var mu sync.Mutex
		seen := map[string]bool{} // as the toolkit remembers what it has checked
		h := l.gate(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			_, password, _ := r.BasicAuth()
			mu.Lock()
			costs := !seen[password]
			seen[password] = true
			if costs {
				if running++; running > 1 {
					t.Error("two passwords are checked at once")
				}
			}
			mu.Unlock()
			if costs {
				time.Sleep(check)
				mu.Lock()
				running--
				worked += check
				mu.Unlock()
			}
			if password == "right" {
				l.accepted(hello).ServeHTTP(w, r)
				return
			}
			w.WriteHeader(http.StatusUnauthorized)
		}))
		try := func(password string) (status int, took time.Duration) {
			begun := time.Now()
			status = statusOf(h, password)
			return status, time.Since(begun)
		}
		if status, took := try("right"); status != 200 || took != check {
			t.Errorf("the first login: %d after %v", status, took)
		}
		begun, refused := time.Now(), 0
		var wg sync.WaitGroup
		for i := range 40 { // guessers, each without a pause
			wg.Go(func() {
				for n := 0; time.Since(begun) < time.Minute; n++ {
					if status, took := try(fmt.Sprint("guess ", i, " ", n)); status == http.StatusTooManyRequests {
						mu.Lock()
						refused++
						mu.Unlock()
						time.Sleep(time.Second)
					} else if status != http.StatusUnauthorized {
						t.Errorf("a guess: %d after %v", status, took)
					}
				}
			})
		}
		for range 100 {
			time.Sleep(500 * time.Millisecond)
			if status, took := try("right"); status != 200 || took != 0 {
				t.Errorf("one who is logged in: %d after %v", status, took)
			}
		}
		wg.Wait()
		if most := time.Since(begun)/loginShare + 2*check; worked > most || worked < most/2 {
			t.Errorf("checks took %v of %v, want %v at most and about that", worked, time.Since(begun), most)
		}
		if refused == 0 {
			t.Error("nobody was refused, so that any number may wait")
		}
	})
}

// Credentials that are checked once are not checked again by those who waited meanwhile.
func TestLogins_Together(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		l := newLogins()
		seen := false
		h := l.gate(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if !seen {
				time.Sleep(time.Second)
			}
			seen = true
			l.accepted(hello).ServeHTTP(w, r)
		}))
		begun := time.Now()
		var wg sync.WaitGroup
		for range maxLogins {
			wg.Go(func() {
				if status := statusOf(h, "right"); status != 200 {
					t.Errorf("status %d", status)
				}
			})
		}
		wg.Wait()
		if took := time.Since(begun); took != time.Second {
			t.Errorf("all were answered after %v", took)
		}
	})
}

// statusOf asks a handler with a password.
func statusOf(h http.Handler, password string) int {
	w, r := httptest.NewRecorder(), httptest.NewRequest("GET", "http://localhost/", nil)
	r.SetBasicAuth("fitter", password)
	h.ServeHTTP(w, r)
	return w.Code
}
