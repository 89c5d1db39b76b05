package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"
)

// interruptAt interrupts once something has been said.
type interruptAt struct {
	said      bytes.Buffer
	words     string
	interrupt func()
}

func (w *interruptAt) Write(b []byte) (int, error) {
	n, err := w.said.Write(b)
	if strings.Contains(w.said.String(), w.words) {
		w.interrupt()
	}
	return n, err
}

// A report of steps that were interrupted is not taken for a whole one.
func TestRigSteps_Interrupted(t *testing.T) {
	in, keyboard, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	defer keyboard.Close()
	ctx, cancel := context.WithCancel(context.Background())
	var out bytes.Buffer
	errs := &interruptAt{words: "OUT1: take its wire off", interrupt: cancel}
	status := execute(ctx, []string{"rig", "check", "--rig", "panel", "--steps"}, streams{in, &out, errs})
	text := out.String()
	if status != exitInterrupted || !strings.Contains(text, "Not finished: interrupted. Steps that are not listed were not done.") || !strings.Contains(text, "converter A") {
		t.Errorf("exit status %d:\n%s%s", status, text, errs.said.String())
	}
}
