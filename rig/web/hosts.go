package web

import (
	"bufio"
	"net"
	"net/http"
	"net/netip"
	"os"
	"slices"
	"strings"
)

// hosts are the names of this machine and of the address that is listened at, in small
// letters. A page of elsewhere can have its own name lead here (DNS rebinding), and would
// then be let read by the browser; its requests bear that name.
type hosts []string

// ownNames returns this machine's names, as it knows them without asking anybody, and the
// ones in the addresses that are listened at.
func ownNames(addresses ...string) hosts {
	var all hosts
	for _, a := range addresses {
		if host, _, err := net.SplitHostPort(a); err == nil {
			all = append(all, plainHost(host))
		}
	}
	name, err := os.Hostname()
	if err != nil || name == "" {
		return all
	}
	f, err := os.Open("/etc/resolv.conf")
	if err != nil {
		return append(all, withDomains(name, nil)...)
	}
	defer f.Close()
	return append(all, withDomains(name, searched(bufio.NewScanner(f)))...)
}

// withDomains returns a machine's name alone, in the domain of multicast DNS, and in those
// that are searched for names.
func withDomains(name string, domains []string) (all []string) {
	name = plainHost(name)
	short, _, _ := strings.Cut(name, ".")
	all = append(all, name, short)
	for _, d := range append([]string{"local"}, domains...) {
		all = append(all, short+"."+d)
	}
	return all
}

// searched returns the domains that a resolver's configuration searches for names.
func searched(lines *bufio.Scanner) (domains []string) {
	for lines.Scan() {
		words := strings.Fields(lines.Text())
		if len(words) < 2 || words[0] != "search" && words[0] != "domain" {
			continue
		}
		for _, d := range words[1:] {
			if d = plainHost(d); d != "" {
				domains = append(domains, d)
			}
		}
	}
	return domains
}

// has reports whether a request is meant for this machine.
func (own hosts) has(r *http.Request) bool {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = plainHost(host)
	if host == "" {
		return false
	}
	if a, err := netip.ParseAddr(host); err == nil {
		return own.hasAddress(a.Unmap().WithZone(""), r)
	}
	return host == "localhost" || strings.HasSuffix(host, ".localhost") || slices.Contains(own, host)
}

// hasAddress reports whether an address is one at which this machine can be reached.
func (own hosts) hasAddress(a netip.Addr, r *http.Request) bool {
	if a.IsLoopback() || slices.ContainsFunc(own, func(s string) bool { return s == a.String() }) {
		return true
	}
	local, _ := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if address(local) == a {
		return true
	}
	all, _ := net.InterfaceAddrs() // not in a service that may not ask for them
	return slices.ContainsFunc(all, func(one net.Addr) bool { return address(one) == a })
}

// address is the IP address in an address of another form.
func address(a net.Addr) netip.Addr {
	var ip net.IP
	switch x := a.(type) {
	case *net.TCPAddr:
		ip = x.IP
	case *net.IPNet:
		ip = x.IP
	}
	addr, _ := netip.AddrFromSlice(ip)
	return addr.Unmap()
}

// plainHost is a host's name or address without what makes no difference.
func plainHost(host string) string {
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	return strings.ToLower(strings.TrimSuffix(host, "."))
}
