package web

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"

	toolkit "github.com/prometheus/exporter-toolkit/web"
	"go.yaml.in/yaml/v2"
	"golang.org/x/crypto/bcrypt"

	"makebreak/rig/outfile"
	"makebreak/rig/problem"
)

// Access says who may reach a server. By the zero value only this machine may.
type Access struct {
	Config   string // file with TLS and logins, in the form of Prometheus' exporters; empty: none
	Insecure bool   // other machines may, without TLS and a login
}

// maxCost is the highest cost of a login's hash. Each step doubles the time of a processor
// that a check of its password takes: at 10 some 60 ms on a server, much more on a small board.
const maxCost = 12

// secured is what a configuration file sets.
type secured struct{ tls, logins bool }

// look reads the configuration and refuses one that cannot be used. The errors are of the kind
// Input.
func (a *Access) look() (s secured, err error) {
	if a.Config == "" {
		return s, nil
	}
	defer func() {
		if err != nil {
			err = &problem.Error{Kind: problem.Input, Op: "web configuration", Place: a.Config, Err: err}
		}
	}()
	if outfile.Special(a.Config) { // it is read again with each request
		return s, errors.New("must be an ordinary file")
	}
	text, err := os.ReadFile(a.Config)
	if err != nil {
		return s, problem.Innermost(err)
	}
	if err := toolkit.Validate(a.Config); err != nil {
		return s, errors.New(strings.Join(strings.Fields(err.Error()), " ")) // of several lines
	}
	var c toolkit.Config
	if err := yaml.UnmarshalStrict(text, &c); err != nil {
		return s, err
	}
	for name, hash := range c.Users {
		if cost, err := bcrypt.Cost([]byte(hash)); err != nil {
			return s, err
		} else if cost > maxCost {
			return s, fmt.Errorf("the hash of %q has the cost %d: must be %d or less, as each check takes the processor from sampling", name, cost, maxCost)
		}
	}
	s.tls = c.TLSConfig.IsEnabled()
	s.logins = len(c.Users) > 0 || c.TLSConfig.ClientAuth == "RequireAndVerifyClientCert"
	return s, nil
}

// permits refuses an address that other machines can reach where neither TLS and logins nor
// insecure is set. The error is of the kind Usage.
func (a *Access) permits(at net.Addr, s secured, insecure bool) error {
	if address(at).IsLoopback() || insecure || s.tls && s.logins {
		return nil
	}
	what := "--web-config names a file with both"
	switch {
	case s.tls:
		what = a.Config + " sets no login: add basic_auth_users"
	case s.logins:
		what = a.Config + " sets no TLS: add tls_server_config"
	case a.Config != "":
		what = a.Config + " sets neither: add tls_server_config and basic_auth_users"
	}
	return problem.Of(problem.Usage, fmt.Errorf("%s: other machines can reach this address, which needs TLS and a login; %s, or --insecure serves without", at, what))
}

// none is a listener at which nobody arrives.
type none struct{ net.Listener }

func (none) Accept() (net.Conn, error) { return nil, net.ErrClosed }
func (none) Close() error              { return nil }

// secure has a server ask for what the configuration file sets. The toolkit sets up a server
// only together with serving it, and puts its check of logins before all else. So it is given
// a server at which nobody arrives, and what it made of that is taken: its handler goes behind
// the rules here, since what it does costs more than they do.
func (a *Access) secure(to *http.Server, rules func(http.Handler) http.Handler, h http.Handler) error {
	if a.Config == "" {
		to.Handler = rules(h)
		return nil
	}
	l := newLogins()
	made := new(http.Server)
	made.Handler, made.Protocols = l.accepted(h), to.Protocols
	err := toolkit.Serve(none{nowhere{}}, made, &toolkit.FlagConfig{WebConfigFile: &a.Config}, slog.New(slog.DiscardHandler))
	if !errors.Is(err, net.ErrClosed) {
		return &problem.Error{Kind: problem.Input, Op: "web configuration", Place: a.Config, Err: err}
	}
	to.Handler, to.TLSConfig = rules(l.gate(made.Handler)), made.TLSConfig
	return nil
}

// nowhere is the address of a listener at which nobody arrives.
type nowhere struct{ net.Listener }

func (nowhere) Addr() net.Addr { return &net.TCPAddr{} }
