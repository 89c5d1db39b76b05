package keyfile

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/problem"
	"makebreak/testdata/tool"
)

func TestMake(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "workshop.key")
	made, err := Make(path)
	if err != nil {
		t.Fatal(err)
	}
	private, err := Private(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	public, err := Public(t.Context(), path+PublicEnd)
	if err != nil {
		t.Fatal(err)
	}
	if !public.Equal(made) || !public.Equal(private.Public()) {
		t.Error("the halves are of two keys")
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	if _, err := Make(path); problem.KindOf(err) != problem.Usage {
		t.Errorf("made twice: %v", err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := Private(t.Context(), path); problem.KindOf(err) != problem.Input || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("others may read it: %v", err)
	}
}

// Keys are those of OpenSSL: it reads what is written here, and makes what is read here.
func TestOpenSSL(t *testing.T) {
	t.Parallel()
	openssl := tool.Find(t, "openssl")
	path := filepath.Join(t.TempDir(), "key")
	if _, err := Make(path); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(openssl, "pkey", "-in", path, "-pubout").Output()
	if err != nil {
		t.Fatal(err)
	}
	public, err := os.ReadFile(path + PublicEnd)
	if err != nil || string(out) != string(public) {
		t.Errorf("OpenSSL has the public half %q, the file %q", out, public)
	}
	theirs := filepath.Join(t.TempDir(), "theirs")
	if out, err := exec.Command(openssl, "genpkey", "-algorithm", "ed25519", "-out", theirs).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if _, err := Private(t.Context(), theirs); err != nil {
		t.Error(err)
	}
	other := filepath.Join(t.TempDir(), "rsa")
	if out, err := exec.Command(openssl, "genpkey", "-algorithm", "rsa", "-out", other).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if _, err := Private(t.Context(), other); err == nil || !strings.Contains(err.Error(), "another kind") {
		t.Errorf("a key of RSA: %v", err)
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "key")
	if _, err := Make(path); err != nil {
		t.Fatal(err)
	}
	secret, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for text, why := range map[string]string{
		"":                              "holds no key",
		"key":                           "holds no key",
		string(secret) + string(secret): "more than one key",
		strings.ReplaceAll(string(secret), "PRIVATE", "OTHER"): `"OTHER KEY"`,
		strings.Repeat("x", longest+1):                         "too large",
	} {
		bad := filepath.Join(t.TempDir(), "bad")
		if err := os.WriteFile(bad, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Private(t.Context(), bad); problem.KindOf(err) != problem.Input || !strings.Contains(err.Error(), why) {
			t.Errorf("%.60q: %v, want %q", text, err, why)
		}
	}
	if _, err := Public(t.Context(), path); err == nil || !strings.Contains(err.Error(), "private half") {
		t.Errorf("the private half: %v", err)
	}
	if _, err := Private(t.Context(), path+PublicEnd); err == nil || !strings.Contains(err.Error(), "public half") {
		t.Errorf("the public half: %v", err)
	}
	if _, err := Public(t.Context(), filepath.Join(t.TempDir(), "none")); problem.KindOf(err) != problem.Input {
		t.Errorf("no file: %v", err)
	}
}

func FuzzPublic(f *testing.F) {
	f.Add("-----BEGIN PUBLIC KEY-----\nMCowBQYDK2VwAyEA\n-----END PUBLIC KEY-----\n")
	f.Fuzz(func(t *testing.T, text string) {
		path := filepath.Join(t.TempDir(), "key")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if key, err := Public(t.Context(), path); err == nil && len(key) != 32 {
			t.Errorf("a key of %d bytes", len(key))
		}
	})
}
