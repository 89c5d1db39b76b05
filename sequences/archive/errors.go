package archive

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"

	"makebreak/rig/problem"
)

// What can be wrong with an archive, for errors.Is.
var (
	ErrNone   error = problem.New(problem.Storage, "there is no archive in this database yet")
	ErrNewer  error = problem.New(problem.Storage, "the archive was made by a newer program")
	ErrOlder  error = problem.New(problem.Storage, "the archive was made by an older program")
	ErrNotUTF error = problem.New(problem.Storage, "the database must have the encoding UTF8")
)

// PostgreSQL's own codes (its manual, appendix A).
const (
	mayNot      = "42501" // insufficient_privilege
	noSuchTable = "42P01"
)

// fail names the archive and what was being done. Nothing that it says has a password in it:
// of what pgx says only the server's words and the system's are told.
func (db *DB) fail(doing string, err error) error { return failAt(db.place, doing, err) }

func failAt(place, doing string, err error) error {
	if err == nil {
		return nil
	}
	if errors.Is(err, context.Canceled) {
		return problem.Of(problem.Interrupted, err)
	}
	kind := problem.KindOf(err)
	if kind == problem.Unknown {
		kind, err = problem.Storage, inWords(err)
	}
	return &problem.Error{Kind: kind, Op: doing, Place: place, Err: err}
}

// inWords is what a person is told of an error of the database or of the way to it.
func inWords(err error) error {
	var refused *pgconn.PgError
	if errors.As(err, &refused) {
		text := refused.Message
		if refused.Detail != "" && refused.Code[:2] != "28" {
			text += " (" + refused.Detail + ")"
		}
		return problem.Instead(err, fmt.Sprintf("the server says: %s (%s)", text, refused.Code))
	}
	var timeout net.Error
	switch {
	case errors.Is(err, context.DeadlineExceeded), errors.As(err, &timeout) && timeout.Timeout():
		return problem.Instead(err, "it does not answer")
	}
	if refusal := certificateFault(err); refusal != "" {
		return problem.Instead(err, refusal)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return problem.Instead(err, "no server listens at this socket; PGHOST or PGSERVICE names another place")
	}
	text := innermost(err).Error()
	if text = strings.TrimSpace(text); text == "" || text == "EOF" || text == "unexpected EOF" {
		text = "the connection was closed"
	}
	return problem.Instead(err, text)
}

// certificateFault says why the server's certificate is not taken; empty: it was not that.
func certificateFault(err error) string {
	var unknown x509.UnknownAuthorityError
	var name x509.HostnameError
	var invalid x509.CertificateInvalidError
	switch {
	case errors.As(err, &unknown):
		return "the server's certificate is not of an authority in the file that PGSSLROOTCERT names"
	case errors.As(err, &name):
		return "the server's certificate is for another name: " + strings.TrimPrefix(name.Error(), "x509: ")
	case errors.As(err, &invalid):
		return "the server's certificate is not valid: " + strings.TrimPrefix(invalid.Error(), "x509: ")
	}
	return ""
}

// codeOf is PostgreSQL's code of an error; empty: it has none.
func codeOf(err error) string {
	var refused *pgconn.PgError
	if errors.As(err, &refused) {
		return refused.Code
	}
	return ""
}

// innermost is problem.Innermost, and of errors that are joined goes on with the first one.
func innermost(err error) error {
	for {
		err = problem.Innermost(err)
		joined, is := err.(interface{ Unwrap() []error })
		if !is || len(joined.Unwrap()) == 0 {
			return err
		}
		err = joined.Unwrap()[0]
	}
}
