package prompt

import (
	"context"
	"errors"
	"io"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"makebreak/rig/problem"
)

// Only a yes acknowledges the cautions, and what comes after its line is left in the input.
func TestAcknowledge(t *testing.T) {
	for _, c := range []struct {
		in   string
		want problem.Kind
		says string
		left string
	}{
		{"yes\nnext\n", problem.Unknown, "", "next\n"},
		{" YES \r\n", problem.Unknown, "", ""},
		{"y\nyes\n", problem.Usage, "nothing was done", "yes\n"},
		{"\n", problem.Usage, "nothing was done", ""},
		{"", problem.Usage, "standard input has ended", ""},
		{"yes", problem.Usage, "standard input has ended", ""},
	} {
		in, out := strings.NewReader(c.in), &strings.Builder{}
		err := Acknowledge(context.Background(), in, out, true)
		if got := problem.KindOf(err); got != c.want || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v", c.in, err)
		}
		if left, _ := io.ReadAll(in); string(left) != c.left {
			t.Errorf("%q: %q is left, want %q", c.in, left, c.left)
		}
		if !strings.HasPrefix(out.String(), Cautions+"Type yes to go on: ") {
			t.Errorf("%q: shown: %s", c.in, out)
		}
	}
}

// An interruption ends the waiting for an answer.
func TestAcknowledge_Interrupted(t *testing.T) {
	in, keyboard := io.Pipe()
	defer keyboard.Close()
	ctx, cancel := context.WithCancel(context.Background())
	shown := &strings.Builder{}
	out := writer(func(b []byte) (int, error) {
		if strings.Contains(string(b), "Type yes") {
			defer cancel()
		}
		return shown.Write(b)
	})
	if err := Acknowledge(ctx, in, out, true); problem.KindOf(err) != problem.Interrupted {
		t.Errorf("%v", err)
	}
}

type writer func([]byte) (int, error)

func (w writer) Write(b []byte) (int, error) { return w(b) }

func TestTerminal(t *testing.T) {
	var out strings.Builder
	p := NewTerminal(strings.NewReader("  4.98 V \nno\n"), &out)
	p.Say("Supply\n")
	for _, want := range []string{"4.98 V", "no"} {
		if got, there := <-p.Ask("Reading:"); got != want || !there {
			t.Errorf("%q, %v, want %q", got, there, want)
		}
	}
	if got, there := <-p.Ask("More?"); there {
		t.Errorf("%q after the end", got)
	}
	if want := "Supply\nReading: Reading: More? "; out.String() != want {
		t.Errorf("shown: %q, want %q", out.String(), want)
	}
}

// Each line is one press, and after the last one nobody is there, however often it is asked.
func TestKeys(t *testing.T) {
	var out strings.Builder
	k := NewKeys(strings.NewReader("\nnow\n"), &out, false)
	for n := range 4 {
		pressed, done := k.Ask("Turn the key")
		if err := <-pressed; (err == nil) != (n < 2) || err != nil && !strings.Contains(err.Error(), "has ended") {
			t.Errorf("press %d: %v", n, err)
		}
		done()
	}
	if want := "\nTurn the key\n  Press Enter at the moment you do it. \n"; !strings.HasPrefix(out.String(), want) {
		t.Errorf("shown: %q", out.String())
	}
}

// What a person types before the question, and a serial that a barcode reader types, is no press.
func TestKeys_Typed(t *testing.T) {
	in, typing := io.Pipe()
	shown := make(chan string, 10)
	k := NewKeys(in, writer(func(b []byte) (int, error) { shown <- string(b); return len(b), nil }), true)
	if _, err := io.WriteString(typing, "\n\n"); err != nil {
		t.Fatal(err)
	}
	for len(k.lines) < 2 { // they are read, and wait
		runtime.Gosched()
	}
	pressed, done := k.Ask("Turn the key")
	<-shown
	if _, err := io.WriteString(typing, "P-2\x1b\n"); err != nil {
		t.Fatal(err)
	}
	if got := <-shown; !strings.Contains(got, "Not taken: P-2") || strings.Contains(got, "\x1b") {
		t.Errorf("shown: %q", got)
	}
	select {
	case err := <-pressed:
		t.Fatalf("a press that nobody made: %v", err)
	default:
	}
	if _, err := io.WriteString(typing, "\n"); err != nil {
		t.Fatal(err)
	}
	if err := <-pressed; err != nil {
		t.Error(err)
	}
	done()
	typing.Close()
	if _, err := k.Line(t.Context()); !errors.Is(err, ErrEnded) {
		t.Errorf("after the end: %v", err)
	}
}

// A barcode reader may end its lines with a line feed, a carriage return, both, or a tab before
// them; the last line may have no end.
func TestKeys_LineEnds(t *testing.T) {
	t.Parallel()
	for text, want := range map[string][]string{
		"A\nB\n": {"A", "B"}, "A\rB\r": {"A", "B"}, "A\r\nB\r\n": {"A", "B"}, "A\t\nB\t\r": {"A", "B"}, "A\n\nB": {"A", "", "B"},
		"A\r\rB\r\n": {"A", "", "B"}, "A\r\n\r\nB": {"A", "", "B"}, "\n": {""}, "": nil, " A B ": {"A B"},
	} {
		for _, in := range []io.Reader{strings.NewReader(text), iotest.OneByteReader(strings.NewReader(text))} {
			k := NewKeys(in, io.Discard, false)
			var got []string
			for {
				line, err := k.Line(t.Context())
				if errors.Is(err, ErrEnded) {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				got = append(got, line)
			}
			if !slices.Equal(got, want) {
				t.Errorf("%q: lines %q, want %q", text, got, want)
			}
		}
	}
}
