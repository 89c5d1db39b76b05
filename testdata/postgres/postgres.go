// Package postgres starts a PostgreSQL of Debian's packages for tests: in a folder of its own,
// at a Unix socket and a port of this machine, and never as root. It ends with the test's
// process, however that ends.
package postgres

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"makebreak/testdata/tool"
)

// Server is one that has been started.
type Server struct {
	Dir  string // of its socket
	Port int    // of the socket, and on 127.0.0.1

	life io.Closer // it ends when this is closed
	wait func() error
}

var (
	mutex   sync.Mutex
	started *Server
	count   atomic.Int32
)

// Stop ends the server that the package's tests have used. TestMain calls it last.
func Stop() {
	mutex.Lock()
	defer mutex.Unlock()
	if started != nil {
		_ = started.life.Close()
		_ = started.wait()
		started = nil
	}
}

// Database makes a new database and returns PostgreSQL's variables for its owner, as NAME=VALUE.
// The server is started once for a package.
func Database(t testing.TB) (env []string) {
	t.Helper()
	s := server(t)
	name := fmt.Sprintf("workshop%d", count.Add(1))
	s.Do(t, "postgres", "CREATE DATABASE "+name)
	return []string{"PGHOST=" + s.Dir, "PGPORT=" + strconv.Itoa(s.Port), "PGUSER=postgres", "PGDATABASE=" + name, "PGSSLMODE=disable", "PGPASSWORD=", "PGSERVICE="}
}

// Do runs a statement as the server's own user.
func (s *Server) Do(t testing.TB, database, statement string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), fmt.Sprintf("host=%s port=%d user=postgres dbname=%s sslmode=disable", s.Dir, s.Port, database))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), statement); err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
}

func server(t testing.TB) *Server {
	t.Helper()
	mutex.Lock()
	defer mutex.Unlock()
	if started == nil {
		started = start(t)
	}
	return started
}

// program finds a program of the newest PostgreSQL: Debian keeps them out of PATH.
func program(t testing.TB, name string) string {
	t.Helper()
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	slices.Sort(found)
	if len(found) > 0 {
		return found[len(found)-1]
	}
	return tool.Find(t, name)
}

// start makes a cluster and starts its server. Its own user needs no password at the socket;
// all others do.
func start(t testing.TB) *Server {
	t.Helper()
	initdb, postgres := program(t, "initdb"), program(t, "postgres")
	dir, err := os.MkdirTemp("", "mkbk-pg-")
	if err != nil {
		t.Fatal(err)
	}
	dropped := dropRoot(t, dir)
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	port := freePort(t)
	certify(t, dir)
	// What the shell reads ends with this process, and the server with it.
	script := `"$1" -D "$3/data" -U postgres -A trust -E UTF8 --locale=C --no-sync >"$3/initdb.log" 2>&1 || exit 1
printf 'local all postgres trust\nlocal all all scram-sha-256\nhost all all 127.0.0.1/32 scram-sha-256\n' >"$3/data/pg_hba.conf"
chmod 600 "$3/server.key"
"$2" -D "$3/data" -c ssl=on -c ssl_cert_file="$3/server.crt" -c ssl_key_file="$3/server.key" -k "$3" -p "$4" -c listen_addresses=127.0.0.1 -c fsync=off -c shared_buffers=128MB -c max_wal_size=2GB >"$3/server.log" 2>&1 &
cat >/dev/null
kill -QUIT $!
wait
cd / && rm -rf "$3"`
	c := exec.Command("/bin/sh", "-c", script, "sh", initdb, postgres, dir, strconv.Itoa(port))
	c.Dir, c.SysProcAttr = dir, dropped
	c.Env = []string{"PATH=/usr/bin:/bin", "LC_ALL=C"}
	life, err := c.StdinPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	s := &Server{Dir: dir, Port: port, life: life, wait: c.Wait}
	if err := s.ready(); err != nil {
		log, _ := os.ReadFile(filepath.Join(dir, "server.log"))
		made, _ := os.ReadFile(filepath.Join(dir, "initdb.log"))
		_ = life.Close()
		t.Fatalf("PostgreSQL did not start: %v\n%s%s", err, made, log)
	}
	return s
}

// ready waits until the server answers.
func (s *Server) ready() (err error) {
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		var conn *pgx.Conn
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		conn, err = pgx.Connect(ctx, fmt.Sprintf("host=%s port=%d user=postgres dbname=postgres sslmode=disable", s.Dir, s.Port))
		cancel()
		if err == nil {
			return conn.Close(context.Background())
		}
	}
	return err
}

// certify makes a certificate for 127.0.0.1, server.crt, and its key. It stands for itself.
func certify(t testing.TB, dir string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "tests"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	certificate, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for name, block := range map[string]*pem.Block{"server.crt": {Type: "CERTIFICATE", Bytes: certificate}, "server.key": {Type: "PRIVATE KEY", Bytes: private}} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
		if info, err := os.Stat(dir); err == nil {
			owner := info.Sys().(*syscall.Stat_t)
			if err := os.Chown(path, int(owner.Uid), int(owner.Gid)); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := os.Chmod(filepath.Join(dir, "server.crt"), 0o644); err != nil {
		t.Fatal(err)
	}
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// dropRoot is how a process starts that is not root's, as PostgreSQL demands, and gives it the
// folder.
func dropRoot(t testing.TB, dir string) *syscall.SysProcAttr {
	t.Helper()
	if os.Geteuid() != 0 {
		return nil
	}
	const nobody = 65534
	if users, err := os.ReadFile("/proc/self/uid_map"); err == nil && strings.Fields(string(users))[2] == "1" {
		// Root of a namespace that has no other user: there is another namespace in it.
		to := func(own int) []syscall.SysProcIDMap {
			return []syscall.SysProcIDMap{{ContainerID: nobody, HostID: own, Size: 1}}
		}
		return &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWUSER, UidMappings: to(0), GidMappings: to(os.Getegid())}
	}
	if err := os.Chown(dir, nobody, nobody); err != nil {
		t.Fatal(err)
	}
	return &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
}
