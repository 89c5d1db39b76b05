package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"makebreak/analyze"
)

func htmlOf(t *testing.T, r *Record) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// pageElements are all elements that the page is made of, pageAttributes all
// attributes: nothing that runs, fetches or leads elsewhere.
var (
	pageElements = set("html head meta title style body main h1 h2 h3 p b span dl dt dd ul li table thead tbody tr th td details summary div svg desc path circle text")

	pageAttributes = set("lang charset name content http-equiv class scope role aria-label aria-hidden data-label colspan tabindex" +
		" width height viewBox d fill stroke-width stroke-linecap stroke-dasharray cx cy r x y font-size font-weight text-anchor")
)

func set(words string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(words) {
		m[w] = true
	}
	return m
}

// parsePage reads the page with a strict parser of the standard library and
// returns its text.
func parsePage(t *testing.T, page string) string {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Entity = xml.HTMLEntity
	var words strings.Builder
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return words.String()
		}
		if err != nil {
			t.Fatalf("the page is not well formed: %v", err)
		}
		switch x := token.(type) {
		case xml.StartElement:
			checkElement(t, x)
		case xml.CharData:
			words.Write(x)
		}
	}
}

func checkElement(t *testing.T, e xml.StartElement) {
	t.Helper()
	if !pageElements[e.Name.Local] {
		t.Errorf("the page holds an element %q", e.Name.Local)
	}
	for _, a := range e.Attr {
		if !pageAttributes[a.Name.Local] {
			t.Errorf("the page holds an attribute %q", a.Name.Local)
		}
	}
}

func TestHTML_StandsAlone(t *testing.T) {
	t.Parallel()
	page := htmlOf(t, invented())
	parsePage(t, page)
	for _, word := range []string{"http:", "https:", "//", "url(", "@import", "javascript:"} {
		if strings.Contains(page, word) {
			t.Errorf("the page contains %q", word)
		}
	}
}

func TestHTML_Escapes(t *testing.T) {
	t.Parallel()
	const evil = `</td></style><script>alert(1)</script><img src=x onerror="alert(2)">&lt;'` + "\x00"
	r := invented()
	r.Run, r.Unit, r.Sequence, r.About, r.By, r.Rig, r.Reason, r.LogPath = evil, evil, evil, evil, evil, evil, evil, evil
	r.Verdict = evil
	r.Findings = []analyze.Finding{{Signal: evil, Verdict: evil, Text: evil}}
	r.Cautions, r.Notes = []string{evil}, []string{evil}
	r.Measurements = stream([]analyze.Measurement{{
		Cycle: 1, Event: evil, Signal: evil, Quantity: evil, Value: 1, Expanded: nan, Limit: analyze.NoLimit(), Verdict: evil, Doubts: analyze.InWords(evil),
	}})
	words := parsePage(t, htmlOf(t, r))
	if n := strings.Count(words, "<script>alert(1)</script>"); n < 12 {
		t.Errorf("the text itself appears %d times; want it wherever it was put in", n)
	}
}

// The page says what the text says.
func TestHTML_SaysWhatTheTextSays(t *testing.T) {
	t.Parallel()
	words := strings.Join(strings.Fields(parsePage(t, htmlOf(t, invented()))), " ")
	s, err := summarize(invented())
	if err != nil {
		t.Fatal(err)
	}
	wanted := append(s.remarkLines(), s.undecidedLines()...)
	wanted = append(wanted, s.steady.line(), s.legendLines()[0], verdictSentence(invented(), s))
	wanted = append(wanted, troubleLines(invented())...)
	for _, x := range s.rows {
		f := x.figures()
		wanted = append(wanted, f.median, f.span, f.uncertainty, x.figures().limit, x.verdictWords())
	}
	for _, p := range pairs(invented()) {
		wanted = append(wanted, p[1])
	}
	if strings.Contains(words, " at none") {
		t.Error("a picture does not name its event")
	}
	for _, want := range wanted {
		if !strings.Contains(words, want) {
			t.Errorf("%q is not on the page", want)
		}
	}
}

// manyCycles has a thousand cycles of which two did not pass.
func manyCycles(perCycle int) *Record {
	return &Record{Run: "1", Complete: true, Cycles: 1000, Measurements: func(yield func(analyze.Measurement, error) bool) {
		for c := 1; c <= 1000; c++ {
			m := analyze.Measurement{Cycle: c, Event: "arm", Signal: "OUT1", Quantity: analyze.HighLevel, Value: 12, Expanded: 0.1, Limit: analyze.Limit{Lower: 11, Upper: nan}, Verdict: analyze.Pass}
			switch c {
			case 500:
				m.Verdict = analyze.Undecided
			case 700:
				m.Verdict = analyze.Fail
			}
			for range perCycle {
				if !yield(m, nil) {
					return
				}
			}
		}
	}}
}

func TestHTML_Cycles(t *testing.T) {
	t.Parallel()
	words := parsePage(t, htmlOf(t, manyCycles(1)))
	for c := 1; c <= 1000; c++ {
		want := c <= shownCycles || c == 500 || c == 700
		if got := strings.Contains(words, fmt.Sprintf("Cycle %d\n", c)); got != want {
			t.Errorf("cycle %d is shown: %t; want %t", c, got, want)
		}
	}
	if note := "Of 1000 cycles the first 10 are shown"; !strings.Contains(words, note) {
		t.Errorf("%q is not on the page", note)
	}
}

func TestHTML_CutsLongCycles(t *testing.T) {
	t.Parallel()
	page := htmlOf(t, manyCycles(1500))
	if !strings.Contains(page, "The list ends after 2000 figures.") {
		t.Error("the page does not say that it was cut")
	}
	if n := strings.Count(page, "<td class=\"n\">12.00 V ± 0.10 V</td>"); n != shownFigures {
		t.Errorf("%d single figures; want %d", n, shownFigures)
	}
}

// What was not tested to its end is not shown in green.
func TestHTML_Incomplete(t *testing.T) {
	t.Parallel()
	for complete, want := range map[bool]string{
		true:  `<p class="word pass"><span class="mark" aria-hidden="true">✓</span> pass</p>`,
		false: `<p class="word incomplete"><span class="mark" aria-hidden="true">–</span> incomplete</p>`,
	} {
		r := invented()
		r.Complete = complete
		r.Verdict = analyze.RunVerdict(complete, analyze.Pass)
		if !strings.Contains(htmlOf(t, r), want) {
			t.Errorf("complete %t: the page does not hold %s", complete, want)
		}
	}
}

// A picture has a name for who cannot see it.
func TestHTML_PicturesAreNamed(t *testing.T) {
	t.Parallel()
	page := htmlOf(t, soaked(t, 5000, 30_000, func(n int, rng *rand.Rand) float64 { return steadily(n, rng) + 5e-8*float64(n) }))
	if want := "<title>K1 operate time at energize</title>\n<desc>drifts by "; !strings.Contains(page, want) {
		t.Errorf("the page does not hold %s", want)
	}
}

func TestHTML_WritesNothingOnAFault(t *testing.T) {
	t.Parallel()
	r := invented()
	r.Measurements = broken(3, errDisk)
	var b bytes.Buffer
	err := HTML(&b, r)
	if !errors.Is(err, errDisk) || !strings.HasPrefix(err.Error(), "read the measurements: ") {
		t.Errorf("error %v; want one that names the place and wraps the cause", err)
	}
	if b.Len() > 0 {
		t.Errorf("%d bytes were written", b.Len())
	}
	if err := HTML(full{}, invented()); !errors.Is(err, errDisk) {
		t.Errorf("on a full disk: error %v; want it to wrap the cause", err)
	}
}
