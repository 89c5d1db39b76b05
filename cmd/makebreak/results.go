package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"syscall"

	"makebreak/analyze/report"
	"makebreak/rig/inherited"
	"makebreak/rig/outfile"
	"makebreak/rig/table"
	"makebreak/rig/words"
	"makebreak/sequences/printer"
)

// results writes records in the form asked for, to standard output or, whole or
// not at all, to the file asked for. Then the screen says what was found all the same.
func (a *app) results(records ...*report.Record) error {
	for _, r := range records {
		r.CauseTable = a.causes
	}
	if a.folder {
		return a.pages(records)
	}
	deliver := a.deliver
	if a.as == "pdf" {
		deliver = a.deliverBytes
	}
	if err := deliver(func(w io.Writer) error { return a.write(w, records) }); err != nil {
		return err
	}
	if a.file == "" || a.file == "-" || a.quiet || outfile.Special(a.file) {
		return nil
	}
	for _, r := range records {
		if err := a.tell(r); err != nil {
			return err
		}
	}
	return nil
}

// pages writes the page of each record into the folder that -o names. One that cannot be written is
// in no other's way.
func (a *app) pages(records []*report.Record) error {
	var errs []error
	for _, r := range records {
		write := func(w io.Writer) error { return a.write(w, []*report.Record{r}) }
		if a.as != "pdf" {
			write = a.guarded(write)
		}
		name := filepath.Join(a.file, pageFile(r)+"."+a.as)
		if err := outfile.Write(a.ctx, name, write); err != nil {
			errs = append(errs, err)
			continue
		}
		a.note("Results written to %s", name)
		if !a.quiet {
			errs = append(errs, a.tell(r))
		}
	}
	return errors.Join(errs...)
}

// pageFile is the name of a record's file in a folder: the run's, and where on the rig its unit was.
func pageFile(r *report.Record) string {
	name := r.Run
	for _, f := range r.Fields {
		if f.Name == positionField {
			name += "-" + f.Value
		}
	}
	return strings.Map(func(c rune) rune {
		if c == '/' || c == 0 {
			return '_'
		}
		return c
	}, name)
}

// tell says on standard error what a record in a file says: its verdict and its findings.
func (a *app) tell(r *report.Record) error {
	var b strings.Builder
	if err := report.Brief(&b, r, report.TextOpts{Width: columnsOf(a.err)}); err != nil {
		return err
	}
	for line := range strings.Lines(b.String()) {
		a.note("%s", strings.TrimSuffix(line, "\n"))
	}
	return nil
}

// textOpts say how results look as text.
func (a *app) textOpts() report.TextOpts {
	_, rows := a.size()
	return report.TextOpts{Colour: a.colour(), Width: a.width(), Rows: rows, All: a.all}
}

// deliver lets write fill standard output or the file asked for. It is the one way out for
// results: nothing passes that a terminal obeys or does not show, in whatever form.
func (a *app) deliver(write func(io.Writer) error) error {
	return a.deliverBytes(a.guarded(write))
}

// deliverBytes is deliver for what no terminal is to show, as a picture.
func (a *app) deliverBytes(write func(io.Writer) error) error {
	if a.file == "" || a.file == "-" {
		if a.unasked() {
			return nil
		}
		return toReader(outfile.Fill(outfile.Stream(a.ctx, a.out), "standard output", write))
	}
	if err := outfile.Write(a.ctx, a.file, write); err != nil || outfile.Special(a.file) {
		return err
	}
	a.note("Results written to %s", a.file)
	return nil
}

// print is deliver for what people read as text: its lines and tables fit the width that there
// is. Other forms go out as they are.
func (a *app) print(write func(io.Writer) error) error {
	if a.as != "text" {
		return a.deliver(write)
	}
	return a.deliver(func(w io.Writer) error { return write(&table.Page{W: w, Columns: a.width(), Hang: 2}) })
}

// writers write the same results, by the names of their forms.
type writers map[string]func(io.Writer) error

// chosen is the writer of the form asked for.
func (a *app) chosen(w writers) func(io.Writer) error { return w[a.as] }

// asText writes what reports have as text.
func (a *app) asText(r interface {
	Text(io.Writer, report.TextOpts) error
}) func(io.Writer) error {
	return func(w io.Writer) error { return r.Text(w, a.textOpts()) }
}

// prompts is standard error for questions and what belongs to them, in the width that there is.
func (a *app) prompts() io.Writer { return &table.Page{W: a.err, Columns: columnsOf(a.err), Hang: 2} }

// mostTextLine is more bytes than a line of any report has.
const mostTextLine = 20_000

// guarded lets write fill a stream safely, see words.Writer.
func (a *app) guarded(write func(io.Writer) error) func(io.Writer) error {
	return func(out io.Writer) error {
		w := &words.Writer{W: out, JSON: a.as == "json", Colours: a.as == "text" && a.colour()}
		if a.as == "text" {
			w.MostLine = mostTextLine
		}
		if err := write(w); err != nil {
			return errors.Join(err, w.Flush())
		}
		return w.Flush()
	}
}

// toReader is the error of writing to standard output. A reader that has gone, as in
// "makebreak report last | head", has what it wanted: that is none.
func toReader(err error) error {
	if errors.Is(err, syscall.EPIPE) {
		return nil
	}
	return err
}

// canDeliver looks, before anything else is done, whether standard output, or the file for
// the results, can be written.
func (a *app) canDeliver() error {
	if a.as == "pdf" {
		if err := a.canPrint(); err != nil {
			return err
		}
	}
	if a.folder {
		return outfile.Check(filepath.Join(a.file, "page"))
	}
	if a.file != "" && a.file != "-" {
		return outfile.Check(a.file)
	}
	if err := inherited.Check(a.out); err != nil && !a.unasked() {
		return outfile.Failed("standard output", err)
	}
	return nil
}

// canPrint looks whether a PDF can be made, and is not for a screen.
func (a *app) canPrint() error {
	if _, tty := terminal(a.out); tty && (a.file == "" || a.file == "-") {
		return badUsage("--as pdf: a terminal cannot show it; name a file with -o")
	}
	_, err := printer.Find()
	return err
}

// pdf prints a record's page, on A4 where nothing else was asked for.
func (a *app) pdf(w io.Writer, r *report.Record) error {
	opts := a.page
	if opts.Paper == report.AnyPaper {
		opts.Paper = report.A4
	}
	return printer.PDF(a.ctx, w, func(w io.Writer) error { return report.HTMLWith(w, r, opts) })
}

// unasked says that nobody wants results on standard output.
func (a *app) unasked() bool { return a.quiet && a.as == "text" }

// asJSON writes a value as indented JSON.
func asJSON(v any) func(io.Writer) error {
	return func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(v)
	}
}

func (a *app) write(w io.Writer, records []*report.Record) error {
	switch a.as {
	case "csv":
		return report.CSV(w, records...)
	case "json":
		return report.JSON(w, records...)
	case "html":
		return report.HTMLWith(w, records[0], a.page)
	case "pdf":
		return a.pdf(w, records[0])
	}
	for i, r := range records {
		if i > 0 {
			fmt.Fprintln(w)
		}
		if err := report.Text(w, r, a.textOpts()); err != nil {
			return err
		}
	}
	return nil
}
