// Package keyfile reads and writes the keys with which a workshop signs its runs: Ed25519 (RFC
// 8032), as PEM in the forms of PKCS #8 and of X.509's public keys (RFC 5958, RFC 8410), which
// other programs read as well.
package keyfile

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"makebreak/rig/infile"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// PublicEnd is the end of the name of the file with the public half, beside the other.
const PublicEnd = ".pub"

// longest is more bytes than a file of a key has.
const longest = 16 << 10

const (
	privateBlock = "PRIVATE KEY"
	publicBlock  = "PUBLIC KEY"
)

// Make makes a new key and writes it into two new files: the private half at the path, which
// only its owner may read, and the public one beside it: both or none. Files that are there
// stay, and give an error.
func Make(path string) (ed25519.PublicKey, error) {
	for _, name := range []string{path, path + PublicEnd} {
		if _, err := os.Lstat(name); !errors.Is(err, fs.ErrNotExist) {
			return nil, problem.Of(problem.Usage, fmt.Errorf("%s: the file is there already; name another", words.Safe(name)))
		}
	}
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, problem.Of(problem.Internal, err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return nil, problem.Of(problem.Internal, err)
	}
	open, err := x509.MarshalPKIXPublicKey(public)
	if err != nil {
		return nil, problem.Of(problem.Internal, err)
	}
	if err := write(path+PublicEnd, publicBlock, open, 0o644); err != nil {
		return nil, err
	}
	if err := write(path, privateBlock, secret, 0o600); err != nil {
		return nil, errors.Join(err, os.Remove(path+PublicEnd))
	}
	return public, nil
}

func write(path, block string, der []byte, mode fs.FileMode) error {
	return outfile.WriteNew(path, mode, func(w io.Writer) error { return pem.Encode(w, &pem.Block{Type: block, Bytes: der}) })
}

// Private reads the private half of a key. A file that others than its owner may read is
// refused: whoever reads it can sign.
func Private(ctx context.Context, path string) (ed25519.PrivateKey, error) {
	der, err := read(ctx, path, privateBlock)
	if err != nil {
		return nil, err
	}
	if info, err := os.Stat(path); err == nil && info.Mode().Perm()&0o077 != 0 {
		return nil, refused(path, fmt.Errorf("others than its owner may read it (mode %o); chmod 600, or make another key where somebody has read it", info.Mode().Perm()))
	}
	key, err := x509.ParsePKCS8PrivateKey(der)
	if err != nil {
		return nil, refused(path, err)
	}
	private, is := key.(ed25519.PrivateKey)
	if !is {
		return nil, refused(path, fmt.Errorf("it holds a key of another kind (%T); must be one of Ed25519", key))
	}
	return private, nil
}

// Public reads the public half of a key.
func Public(ctx context.Context, path string) (ed25519.PublicKey, error) {
	der, err := read(ctx, path, publicBlock)
	if err != nil {
		return nil, err
	}
	key, err := x509.ParsePKIXPublicKey(der)
	if err != nil {
		return nil, refused(path, err)
	}
	public, is := key.(ed25519.PublicKey)
	if !is {
		return nil, refused(path, fmt.Errorf("it holds a key of another kind (%T); must be one of Ed25519", key))
	}
	return public, nil
}

func refused(path string, err error) error {
	return &problem.Error{Kind: problem.Input, Op: "read a key", Place: words.Safe(path), Err: err}
}

// read returns what the file's one block of PEM holds.
func read(ctx context.Context, path, wanted string) ([]byte, error) {
	text, err := infile.Read(ctx, path, longest)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, problem.Of(problem.Input, err)
	}
	block, rest := pem.Decode(text)
	switch {
	case block == nil:
		return nil, refused(path, fmt.Errorf("it holds no key; must begin with -----BEGIN %s-----", wanted))
	case block.Type == privateBlock && wanted == publicBlock:
		return nil, refused(path, fmt.Errorf("it holds the private half of a key; name the file that ends in %s", PublicEnd))
	case block.Type == publicBlock && wanted == privateBlock:
		return nil, refused(path, fmt.Errorf("it holds the public half of a key; name the file without %s", PublicEnd))
	case block.Type != wanted:
		return nil, refused(path, fmt.Errorf("it holds %q; must begin with -----BEGIN %s-----", words.Safe(block.Type), wanted))
	}
	if next, _ := pem.Decode(rest); next != nil {
		return nil, refused(path, errors.New("it holds more than one key"))
	}
	return block.Bytes, nil
}
