package main

import (
	"encoding/xml"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"makebreak/testdata/browser"
	"makebreak/testdata/tool"
)

// poppler runs one of poppler's tools on a PDF. Where it is not installed the test is left
// out, or fails where the environment demands all tools.
func poppler(t *testing.T, name string, args ...string) string {
	t.Helper()
	path := tool.Find(t, name)
	out, err := exec.Command(path, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return string(out)
}

// word is a word on a sheet, with its place in points from the upper left corner.
type word struct {
	Left   float64 `xml:"xMin,attr"`
	Right  float64 `xml:"xMax,attr"`
	Top    float64 `xml:"yMin,attr"`
	Bottom float64 `xml:"yMax,attr"`
	Text   string  `xml:",chardata"`
}

// printedSheet is a page of a PDF.
type printedSheet struct {
	Width  float64 `xml:"width,attr"` // points
	Height float64 `xml:"height,attr"`
	Words  []word  `xml:"word"`
}

func sheetsOf(t *testing.T, pdf string) []printedSheet {
	t.Helper()
	var all struct {
		Pages []printedSheet `xml:"body>doc>page"`
	}
	d := xml.NewDecoder(strings.NewReader(poppler(t, "pdftotext", "-bbox", pdf, "-")))
	d.Strict, d.Entity = false, xml.HTMLEntity
	if err := d.Decode(&all); err != nil {
		t.Fatal(err)
	}
	return all.Pages
}

func (s *printedSheet) text() string {
	var all []string
	for _, w := range s.Words {
		all = append(all, w.Text)
	}
	return strings.Join(all, " ")
}

// The sizes of paper in points: A4 is 210 x 297 mm, letter 8.5 x 11 inches.
var paperSizes = map[string][2]float64{"a4": {595.3, 841.9}, "letter": {612, 792}}

// The record as a PDF: it says what it must on its first page, and on each page which run it
// is of; nothing is cut off, no heading stands alone, and its fonts come along.
func TestPDF(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("a browser is started for each PDF")
	}
	browser.Find(t)
	dir := t.TempDir()
	log := filepath.Join(dir, "log.db")
	for _, c := range []struct {
		name   string
		status int
		args   []string
		first  []string // on the first page
		most   int      // pages
	}{
		{"pass", exitPass, []string{"run", "armed-high", "--cycles", "3", "--unit", "CP-001", "--by", "Zoë", "--field", "job=1234"},
			[]string{"✓ pass", "Unit CP-001", "Zoë", "1234", "never calibrated", "OUT8", "did not move", "went high after"}, 5},
		{"fail", exitFail, []string{"run", "armed-high", "--cycles", "3", "--unit", "CP-002", "--fault", "wrong-address"},
			[]string{"✗ fail", "Unit CP-002", "OUT3 did not move at arm-away", "moved for"}, 5},
		{"again", exitPass, []string{"run", "armed-high", "--cycles", "5", "--unit", "CP-002"}, []string{"✓ pass", "Since the previous run of this unit"}, 5},
		{"lost", exitRig, []string{"run", "armed-high", "--fault", "adc-lost"}, []string{"incomplete"}, 4},
		{"soak", exitPass, []string{"soak", "relay-only", "--cycles", "300"}, []string{"✓ pass", "no failure in 300 cycles"}, 8},
	} {
		if status, _, errs := run(t, append(c.args, "--seed", "1", "--log", log, "--quiet")...); status != c.status {
			t.Fatalf("%q ended with %d: %s", c.args, status, errs)
		}
		_, name, _ := run(t, "--log", log, "runs", "--as", "csv")
		name = strings.Split(strings.Split(name, "\n")[1], ",")[0]
		for paper, size := range paperSizes {
			if paper == "letter" && c.status != exitFail {
				continue // one run will do
			}
			t.Run(c.name+" on "+paper, func(t *testing.T) {
				file := filepath.Join(dir, c.name+paper+".pdf")
				if status, _, errs := run(t, "--log", log, "report", name, "--as", "pdf", "--paper", paper, "-o", file); status != exitPass {
					t.Fatalf("ended with %d: %s", status, errs)
				}
				sheets := sheetsOf(t, file)
				checkSheets(t, sheets, size, name)
				if len(sheets) > c.most {
					t.Errorf("%d pages, %d at most", len(sheets), c.most)
				}
				for _, want := range c.first {
					if !strings.Contains(sheets[0].text(), want) {
						t.Errorf("the first page does not say %q: %s", want, sheets[0].text())
					}
				}
				for i := range sheets {
					if text := sheets[i].text(); strings.Contains(text, dir) || strings.Contains(text, "Appendix") {
						t.Errorf("page %d: %s", i+1, text)
					}
				}
				checkFonts(t, file)
			})
		}
	}
	status, piped, errs := run(t, "--log", log, "report", "last", "--as", "pdf", "--appendix")
	if status != exitPass || !strings.HasPrefix(piped, "%PDF-") {
		t.Fatalf("ended with %d: %s", status, errs)
	}
	file := filepath.Join(dir, "appendix.pdf")
	if err := os.WriteFile(file, []byte(piped), 0o600); err != nil {
		t.Fatal(err)
	}
	if text := poppler(t, "pdftotext", file, "-"); !strings.Contains(text, "Appendix: all figures over all cycles") || !strings.Contains(text, "Cycle 10") {
		t.Error("the appendix was asked for and is not there")
	}
}

// The margins of a page, in points, and how far a letter may reach into one.
const (
	sideMargin = 14 / 25.4 * 72
	slack      = 1
)

// checkSheets looks at what every page must have.
func checkSheets(t *testing.T, sheets []printedSheet, size [2]float64, run string) {
	if len(sheets) == 0 {
		t.Fatal("no pages")
	}
	for i, s := range sheets {
		n := fmt.Sprintf("page %d", i+1)
		if s.Width < size[0]-1 || s.Width > size[0]+1 || s.Height < size[1]-1 || s.Height > size[1]+1 {
			t.Errorf("%s is %g x %g points, not %v", n, s.Width, s.Height, size)
		}
		var head, foot, body []word
		for _, w := range s.Words {
			if w.Left < sideMargin-slack || w.Right > s.Width-sideMargin+slack || w.Top < 0 || w.Bottom > s.Height {
				t.Errorf("%s: %q at %g to %g is in the margin or cut off", n, w.Text, w.Left, w.Right)
			}
			switch {
			case w.Bottom < 45:
				head = append(head, w)
			case w.Top > s.Height-45:
				foot = append(foot, w)
			default:
				body = append(body, w)
			}
		}
		if at := (&printedSheet{Words: head}).text(); !strings.Contains(at, "Run "+run) {
			t.Errorf("%s does not name the run at its head: %q", n, at)
		}
		if at, want := (&printedSheet{Words: foot}).text(), fmt.Sprintf("Page %d of %d", i+1, len(sheets)); !strings.Contains(at, want) || !strings.Contains(at, "Simulated bench") {
			t.Errorf("%s says at its foot %q, not %q", n, at, want)
		}
		if len(body) < 30 {
			t.Errorf("%s holds %d words only", n, len(body))
		} else if last := lastLine(body); slices.Contains(pageHeadings, last) {
			t.Errorf("%s ends with the heading %q", n, last)
		}
	}
}

// pageHeadings are the headings of a record, and what leads to its table of figures.
var pageHeadings = []string{"Findings", "What is wrong, and where to look first", "The test", "What each output and relay had to do, and what it did", "Timing",
	"Figures that were judged", "To settle the undecided results", "Reliability", "Interruptions", "Over the cycles", "When it failed",
	"± U: measurement uncertainty (95 %), largest in this row."}

// lastLine are the words that stand lowest.
func lastLine(words []word) string {
	low := slices.MaxFunc(words, func(a, b word) int { return int(10 * (a.Bottom - b.Bottom)) }).Bottom
	var line printedSheet
	for _, w := range words {
		if w.Bottom > low-4 {
			line.Words = append(line.Words, w)
		}
	}
	return line.text()
}

var embedded = regexp.MustCompile(`(?m)^\S.*\s(yes|no)\s+(yes|no)\s+(yes|no)\s+\d+\s+\d+$`)

// checkFonts looks whether all fonts are in the file.
func checkFonts(t *testing.T, file string) {
	fonts := embedded.FindAllStringSubmatch(poppler(t, "pdffonts", file), -1)
	if len(fonts) == 0 {
		t.Error("the PDF has no fonts")
	}
	for _, f := range fonts {
		if f[1] != "yes" {
			t.Errorf("a font is not embedded: %s", f[0])
		}
	}
}

// Without a browser the command says what to do before it does anything, and with a wrong
// word what may be there.
func TestPDF_Refused(t *testing.T) {
	dir := t.TempDir()
	log := filepath.Join(dir, "log.db")
	for _, c := range []struct {
		path string // of the commands
		args []string
		want string
	}{
		{dir, []string{"run", "armed-high", "--as", "pdf", "-o", filepath.Join(dir, "x.pdf")}, "apt install chromium"},
		{os.Getenv("PATH"), []string{"report", "last", "--paper", "a5", "--as", "html"}, "a4, letter"},
		{os.Getenv("PATH"), []string{"report", "last", "--appendix"}, "--as html or --as pdf"},
		{os.Getenv("PATH"), []string{"report", "last", "--paper", "a4", "--as", "csv"}, "--as html or --as pdf"},
	} {
		t.Setenv("PATH", c.path)
		status, out, errs := run(t, append(c.args, "--log", log)...)
		if status != exitUsage || !strings.Contains(errs, c.want) || out != "" {
			t.Errorf("%q ended with %d: %s%s", c.args, status, out, errs)
		}
	}
	if _, err := os.Stat(log); err == nil {
		t.Error("something was run")
	}
}
