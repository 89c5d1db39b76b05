package picture

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"makebreak/rig/words"
)

// across is a drawing's width, in units that are pixels where nothing scales it.
const across = 720

// margin is the room round a drawing that is a file.
const margin = 16

// The sizes of text.
const (
	smallText   = 12.0
	mediumText  = 14.0
	headingText = 20.0
)

// role is what a shape stands for. It decides the colour, by day, by night and printed.
type role string

const (
	ink    role = "ink"   // what was measured, and text
	soft   role = "soft"  // frames and the names of axes
	rule   role = "rule"  // grid lines
	fitted role = "fit"   // what was worked out
	bound  role = "bound" // limits and marks
	pale   role = "pale"  // an area that is allowed or covered
	others role = "rest"  // other cycles, behind
	outer  role = "outer" // the middle nine tenths of many values
	inner  role = "inner" // the middle half of them
	sheet  role = "sheet" // the ground
)

// colour is a role's colour on a light and on a dark ground.
type colour struct {
	role        role
	light, dark string
}

// colours are all roles' colours. The two hues are Okabe and Ito's blue and vermilion, on
// a dark ground their sky blue and orange. What they stand for differs in shape, too, so
// nothing hangs on them in grey.
var colours = []colour{
	{ink, "#1c2024", "#e6e8ea"},
	{soft, "#59626b", "#a9b2ba"},
	{rule, "#d0d6db", "#33393f"},
	{fitted, "#0072b2", "#56b4e9"},
	{bound, "#d55e00", "#e69f00"},
	{pale, "#e3eff7", "#1b3040"},
	{others, "#b4bcc3", "#50585f"},
	{outer, "#b9c1c8", "#4a525a"},
	{inner, "#8b959e", "#717b84"},
	{sheet, "#ffffff", "#16191c"},
}

// Style returns the style sheet of drawings, for a page that holds some of them. A file
// has it within.
func Style() string {
	var light, dark strings.Builder
	for _, c := range colours {
		fmt.Fprintf(&light, ".drawing .f-%s{fill:%s}.drawing .s-%s{stroke:%s}", c.role, c.light, c.role, c.light)
		fmt.Fprintf(&dark, ".drawing .f-%s{fill:%s}.drawing .s-%s{stroke:%s}", c.role, c.dark, c.role, c.dark)
	}
	return ".drawing{font-family:system-ui,'Liberation Sans',Arial,sans-serif;font-variant-numeric:tabular-nums}.drawing path{stroke-linejoin:round}" +
		light.String() + "@media screen and (prefers-color-scheme:dark){" + dark.String() + "}"
}

// spot is a place on a drawing, from its upper left corner.
type spot struct{ x, y float64 }

// anchor says which end of a text is at its place.
type anchor string

const (
	start  anchor = "start"
	middle anchor = "middle"
	end    anchor = "end"
)

// shape is a text, a dot, an area or a line, by which of its fields are set.
type shape struct {
	role   role
	points []spot   // of a line or an area; a text has one, and dots have one each
	area   bool     // filled
	many   bool     // a line of many points, written as short as can be
	pieces [][]spot // of a hatch, which is short lines
	width  float64  // of a line
	dash   float64  // length of a line's dashes and gaps; 0: it has none
	radius float64  // of dots
	text   string
	size   float64 // of the text
	anchor anchor
	bold   bool
	link   *link // of an area round a place that can be chosen; it is not painted
}

// link is where choosing a shape leads, and what that does.
type link struct{ address, words string }

// drawing is a picture as shapes, the later ones above the earlier.
type drawing struct {
	width  float64 // 0: across
	height float64
	// title and about say the result in words, to who does not see the picture.
	title, about string
	shapes       []shape
}

func (d *drawing) line(r role, width, dash float64, points ...spot) {
	if len(points) > 1 {
		d.shapes = append(d.shapes, shape{role: r, points: points, width: width, dash: dash})
	}
}

// course draws a line of many points.
func (d *drawing) course(r role, width float64, points []spot) {
	if len(points) > 1 {
		d.shapes = append(d.shapes, shape{role: r, points: points, width: width, many: true})
	}
}

func (d *drawing) area(r role, points ...spot) {
	d.shapes = append(d.shapes, shape{role: r, points: points, area: true})
}

// ground clears a box, for a text above other things.
func (d *drawing) ground(b box) {
	d.area(sheet, spot{b.left, b.top}, spot{b.right, b.top}, spot{b.right, b.bottom}, spot{b.left, b.bottom})
}

// hatch draws slanting lines over a box, so far apart.
func (d *drawing) hatch(r role, b box, apart float64) {
	h := b.bottom - b.top
	var pieces [][]spot
	for x := b.left - h + apart/2; x < b.right; x += apart {
		from, to := math.Max(x, b.left), math.Min(x+h, b.right)
		pieces = append(pieces, []spot{{from, b.bottom - (from - x)}, {to, b.bottom - (to - x)}})
	}
	if len(pieces) > 0 {
		d.shapes = append(d.shapes, shape{role: r, points: pieces[0][:1], pieces: pieces, width: 0.75})
	}
}

func (d *drawing) dot(r role, at spot, radius float64) {
	d.shapes = append(d.shapes, shape{role: r, points: []spot{at}, radius: radius})
}

// dots draws many dots of one size as one shape.
func (d *drawing) dots(r role, radius float64, at ...spot) {
	if len(at) > 0 {
		d.shapes = append(d.shapes, shape{role: r, points: at, radius: radius})
	}
}

// wide is the drawing's width.
func (d *drawing) wide() float64 {
	if d.width > 0 {
		return d.width
	}
	return across
}

func (d *drawing) text(r role, at spot, size float64, a anchor, text string) {
	d.shapes = append(d.shapes, shape{role: r, points: []spot{at}, text: words.Safe(text), size: size, anchor: a})
}

// heading writes the title and lines below it, and returns where the rest begins.
func (d *drawing) heading(size float64, lines ...string) float64 {
	y := size + 4
	d.text(ink, spot{0, y}, size, start, d.title)
	d.shapes[len(d.shapes)-1].bold = true
	for _, l := range lines {
		for _, part := range folded(l, mediumText) {
			y += mediumText * 1.35
			d.text(ink, spot{0, y}, mediumText, start, part)
		}
	}
	return y
}

// folded breaks a text into lines that fit the drawing.
func folded(s string, size float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && widthOf(line+" "+word, size) > across {
			lines = append(lines, line)
			line = ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(lines, line)
}

// widthOf is about how wide a text is. Fonts differ, so it is the wide side of what
// sans serifs have.
func widthOf(s string, size float64) float64 {
	return 0.56 * size * float64(utf8.RuneCountInString(s)-strings.Count(s, thinSpace)/2)
}

// svg writes the drawing as an SVG element without a prologue. A file holds its own
// style and ground; a page has them.
func (d *drawing) svg(w io.Writer, file bool) error {
	var b bytes.Buffer
	namespace, room := "", 0.0
	if file {
		namespace, room = ` xmlns="http://www.w3.org/2000/svg"`, margin
	}
	x, width, h := short(-room), short(d.wide()+2*room), short(d.height+2*room)
	fmt.Fprintf(&b, "<svg%s class=\"drawing\" role=\"%s\" width=\"%s\" height=\"%s\" viewBox=\"%s %s %s %s\">\n", namespace, d.part(), width, h, x, x, width, h)
	fmt.Fprintf(&b, "<title>%s</title>\n<desc>%s</desc>\n", html.EscapeString(words.Safe(d.title)), html.EscapeString(words.Safe(d.about)))
	if file {
		fmt.Fprintf(&b, "<style>%s</style>\n<rect class=\"f-%s\" x=\"%s\" y=\"%s\" width=\"%s\" height=\"%s\"/>\n", Style(), sheet, x, x, width, h)
	}
	for _, s := range d.shapes {
		s.svg(&b)
	}
	b.WriteString("</svg>\n")
	_, err := b.WriteTo(w)
	return err
}

// part is what the drawing is to who does not see it: a picture, or a group of links.
func (d *drawing) part() string {
	if slices.ContainsFunc(d.shapes, func(s shape) bool { return s.link != nil }) {
		return "group"
	}
	return "img"
}

func (s *shape) svg(b *bytes.Buffer) {
	at := s.points[0]
	switch {
	case s.link != nil:
		fmt.Fprintf(b, `<a href="%s" aria-label="%s"><circle class="spot" cx="%s" cy="%s" r="%s"/></a>`,
			html.EscapeString(s.link.address), html.EscapeString(words.Safe(s.link.words)), short(at.x), short(at.y), short(s.radius))
	case s.text != "":
		weight := ""
		if s.bold {
			weight = ` font-weight="bold"`
		}
		fmt.Fprintf(b, `<text class="f-%s" x="%s" y="%s" font-size="%s" text-anchor="%s"%s>%s</text>`,
			s.role, short(at.x), short(at.y), short(s.size), s.anchor, weight, html.EscapeString(s.text))
	case s.radius > 0 && len(s.points) > 1:
		fmt.Fprintf(b, `<path class="s-%s" fill="none" stroke-linecap="round" stroke-width="%s" d="%s"/>`, s.role, short(2*s.radius), dotsPath(s.points))
	case s.radius > 0:
		fmt.Fprintf(b, `<circle class="f-%s" cx="%s" cy="%s" r="%s"/>`, s.role, short(at.x), short(at.y), short(s.radius))
	case len(s.pieces) > 0:
		fmt.Fprintf(b, `<path class="s-%s" fill="none" stroke-width="%s" d="`, s.role, short(s.width))
		for _, p := range s.pieces {
			b.WriteString(pathOf(p))
		}
		b.WriteString(`"/>`)
	case s.area:
		fmt.Fprintf(b, `<path class="f-%s" d="%sz"/>`, s.role, pathOf(s.points))
	default:
		dash := ""
		if s.dash > 0 {
			dash = fmt.Sprintf(` stroke-dasharray="%s"`, short(s.dash))
		}
		path := pathOf
		if s.many {
			path = shortPath
		}
		fmt.Fprintf(b, `<path class="s-%s" fill="none" stroke-width="%s"%s d="%s"/>`, s.role, short(s.width), dash, path(s.points))
	}
	b.WriteByte('\n')
}

func pathOf(points []spot) string {
	var b strings.Builder
	for i, p := range points {
		b.WriteString("ML"[min(i, 1) : min(i, 1)+1])
		b.WriteString(short(p.x) + " " + short(p.y))
	}
	return b.String()
}

// dotsPath are lines of no length, which a round cap makes dots.
func dotsPath(points []spot) string {
	var b strings.Builder
	for _, p := range points {
		b.WriteString("M" + short(p.x) + " " + short(p.y) + "h0")
	}
	return b.String()
}

// shortPath is pathOf with each point written from the one before, in tenths of a unit.
func shortPath(points []spot) string {
	tenths := func(x float64) int { return int(math.Round(10 * x)) }
	x, y := tenths(points[0].x), tenths(points[0].y)
	b := []byte("M" + short(points[0].x) + " " + short(points[0].y))
	for _, p := range points[1:] {
		dx, dy := tenths(p.x)-x, tenths(p.y)-y
		switch {
		case dx == 0 && dy == 0:
			continue
		case dy == 0:
			b = appendTenths(append(b, 'h'), dx)
		case dx == 0:
			b = appendTenths(append(b, 'v'), dy)
		default:
			b = appendTenths(append(b, 'l'), dx)
			if dy >= 0 {
				b = append(b, ' ')
			}
			b = appendTenths(b, dy)
		}
		x, y = x+dx, y+dy
	}
	return string(b)
}

// appendTenths writes a number of tenths.
func appendTenths(b []byte, n int) []byte {
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	if n >= 10 || n == 0 {
		b = strconv.AppendInt(b, int64(n/10), 10)
	}
	if n%10 != 0 {
		b = append(b, '.', byte('0'+n%10))
	}
	return b
}

// short writes a length to a tenth of a unit.
func short(x float64) string { return strconv.FormatFloat(math.Round(10*x)/10+0, 'f', -1, 64) } // + 0: no -0
