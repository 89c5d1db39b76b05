package main

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
	"makebreak/sequences/keyfile"
)

func (a *app) signCommand() *cobra.Command {
	var key, newKey string
	c := &cobra.Command{
		Use:   "sign RUN... --key FILE",
		Short: "Sign what runs hold with the workshop's key",
		Long: `Sign what runs that have ended hold: their figures, captures, fields and the files
that were used. The signature stays with the run, also in another log. Later
makebreak report RUN --verify says whether the run is as it was signed.

With --new-key, make a key first: FILE, which nobody else may read, and FILE.pub, which
everybody may have. Whoever has FILE can sign in the workshop's name: keep it away from
the rig where you can, and keep a copy.`,
		Example: `  makebreak runs sign --new-key workshop.key
  makebreak runs sign last --key workshop.key --by "A. Fitter"
  makebreak report last --verify --key workshop.key.pub`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case newKey != "" && (key != "" || len(args) > 0):
				return badUsage("--new-key only makes a key; leave out runs and --key")
			case newKey == "" && len(args) == 0:
				return badUsage("runs sign takes one run or more, as makebreak runs lists them, or last")
			case newKey == "" && key == "":
				return badUsage("runs sign needs the workshop's key: --key FILE; --new-key FILE makes one")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if newKey != "" {
				return a.makeKey(newKey)
			}
			return a.sign(c.Context(), key, args)
		},
	}
	a.forms(c, "text")
	c.Flags().StringVar(&key, "key", "", "sign with the key in a `file`")
	c.Flags().StringVar(&newKey, "new-key", "", "make a key in a new `file`, and its public half beside it")
	return c
}

func (a *app) makeKey(path string) error {
	public, err := keyfile.Make(path)
	if err != nil {
		return err
	}
	a.note("Key %s made: %s signs, %s verifies", journal.KeyName(public), path, path+keyfile.PublicEnd)
	return nil
}

func (a *app) sign(ctx context.Context, file string, names []string) error {
	key, err := keyfile.Private(ctx, file)
	if err != nil {
		return err
	}
	db, err := a.openLogWith(journal.Open)
	if err != nil {
		return err
	}
	defer db.Close()
	for _, name := range names {
		rec, err := a.findRun(db, name)
		if err != nil {
			return err
		}
		s, err := db.Sign(ctx, rec.ID, key, a.now(), a.by)
		if err != nil {
			return interruptedOr(ctx, err)
		}
		a.note("Run %s is signed with the key %s", rec.ID, journal.KeyName(s.Key))
	}
	return nil
}

// verify says of each signature of a run whether the run is as it was signed. It is an error
// where none stands: none at all, or none by the key in a file, where one is named.
func (a *app) verify(ctx context.Context, rec *journal.RunRecord, file string) error {
	var by ed25519.PublicKey
	if file != "" {
		var err error
		if by, err = keyfile.Public(ctx, file); err != nil {
			return err
		}
	}
	all, err := rec.Verify(ctx)
	if err != nil {
		return interruptedOr(ctx, err)
	}
	if err := a.print(func(w io.Writer) error { return writeVerified(w, rec.ID, all, by) }); err != nil {
		return err
	}
	for _, v := range all {
		if v.Stands() && (by == nil || v.Key.Equal(by)) {
			return nil
		}
	}
	return problem.Of(problem.Input, fmt.Errorf("run %s: no signature%s says that it is as it was signed", rec.ID, ofKey(by)))
}

func ofKey(k ed25519.PublicKey) string {
	if k == nil {
		return ""
	}
	return " by the key " + journal.KeyName(k)
}

func writeVerified(w io.Writer, run string, all []journal.Verified, by ed25519.PublicKey) error {
	if len(all) == 0 {
		_, err := fmt.Fprintf(w, "Run %s is not signed.\n", run)
		return err
	}
	for _, v := range all {
		whose := "no key was named to compare it with"
		if by != nil {
			whose = "which is another than the one named"
			if v.Key.Equal(by) {
				whose = "which is the one named"
			}
		}
		who := ""
		if v.By != "" {
			who = " by " + words.Safe(v.By)
		}
		_, err := fmt.Fprintf(w, "Run %s, signed on %s%s with the key %s, %s: %s.\n",
			run, v.At.Local().Format(time.DateTime), who, journal.KeyName(v.Key), whose, became(&v))
		if err != nil {
			return err
		}
	}
	return nil
}

// became says what became of a run since it was signed.
func became(v *journal.Verified) string {
	switch {
	case !v.Genuine:
		return "the signature is false"
	case !v.Any() && v.Dropped > 0:
		return "it is as it was signed, but for " + words.Count(v.Dropped, "capture") + " that are not kept any more"
	case !v.Any():
		return "it is as it was signed"
	}
	parts := v.Parts
	if v.Captures > 0 {
		parts = append(parts, words.Count(v.Captures, "capture"))
	}
	return "it has CHANGED since, in: " + words.List(parts)
}
