package picture

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"io"
	"math"
	"strings"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// The colours are those of the printed record, plus one for what is fitted. They
// differ in brightness as well, for printing in grey.
var (
	ink    = color.NRGBA{0x1c, 0x20, 0x24, 0xff}
	muted  = color.NRGBA{0x59, 0x62, 0x6b, 0xff}
	faint  = color.NRGBA{0xd0, 0xd6, 0xdb, 0xff}
	fitted = color.NRGBA{0x1f, 0x5f, 0x8b, 0xff}
	shade  = color.NRGBA{0xe6, 0xef, 0xf6, 0xff}
	red    = color.NRGBA{0xa0, 0x1d, 0x1d, 0xff}
)

// textSize is that of all text but the heading.
const textSize = vg.Length(9)

func face(size vg.Length, bold bool) font.Font {
	f := font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return f
}

func textStyle(size vg.Length, bold bool, c color.Color) draw.TextStyle {
	return draw.TextStyle{Color: c, Font: face(size, bold), Handler: plot.DefaultTextHandler}
}

// newPlot returns an empty plot in the style of all of them.
func newPlot(across, upwards string) *plot.Plot {
	p := plot.New()
	for _, a := range []struct {
		axis  *plot.Axis
		label string
	}{{&p.X, across}, {&p.Y, upwards}} {
		a.axis.Label.Text = a.label
		a.axis.Label.TextStyle.Font, a.axis.Label.TextStyle.Color = face(textSize, false), muted
		a.axis.Tick.Label.Font, a.axis.Tick.Label.Color = face(textSize, false), ink
		a.axis.LineStyle.Width, a.axis.LineStyle.Color = 0, faint
		a.axis.Tick.LineStyle.Color, a.axis.Tick.Length = faint, 0
		a.axis.Padding = 3
	}
	p.Legend.TextStyle.Font, p.Legend.TextStyle.Color = face(textSize, false), ink
	p.Legend.Padding, p.Legend.ThumbnailWidth = 2, 18
	return p
}

// picture is a plot with the words above it.
type picture struct {
	plot    *plot.Plot
	w, h    vg.Length
	heading string
	words   []string
}

// onto draws the picture.
func (p *picture) onto(c vg.CanvasSizer) {
	all := draw.New(c)
	all.SetColor(color.White)
	all.Fill(all.Rectangle.Path())
	inner := draw.Crop(all, 8, -12, 6, -8)
	y := inner.Max.Y
	line := func(text string, size vg.Length, bold bool, c color.Color) {
		style := textStyle(size, bold, c)
		style.YAlign = draw.YTop
		inner.FillText(style, vg.Point{X: inner.Min.X, Y: y}, text)
		y -= size * 1.35
	}
	if p.heading != "" {
		line(p.heading, 12, true, ink)
	}
	for _, w := range p.words {
		line(w, textSize, false, ink)
	}
	p.plot.Draw(draw.Crop(inner, 0, 0, 0, y-inner.Max.Y-6))
}

func (p *picture) name() string {
	if p.heading == "" {
		return strings.Join(p.words, ". ")
	}
	return strings.Join(append([]string{p.heading}, p.words...), ". ")
}

// svg writes the picture without a font of its own: the viewer's sans serif will do.
// What is said above it also names it to who cannot see it.
func (p *picture) svg(w io.Writer) error {
	c := vgsvg.New(p.w, p.h)
	p.onto(c)
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return fmt.Errorf("picture: svg: %w", err)
	}
	_, text, _ := strings.Cut(b.String(), "<svg")
	text = strings.ReplaceAll(`<svg role="img" aria-label="`+html.EscapeString(p.name())+`"`+text, "font-family:Liberation Sans", "font-family:'Liberation Sans',Arial,sans-serif")
	if _, err := io.WriteString(w, text); err != nil {
		return fmt.Errorf("picture: svg: %w", err)
	}
	return nil
}

// pngDots are the dots to an inch.
const pngDots = 200

func (p *picture) png(w io.Writer) error {
	c := vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(p.w, p.h), vgimg.UseDPI(pngDots))}
	p.onto(c)
	if _, err := c.WriteTo(w); err != nil {
		return fmt.Errorf("picture: png: %w", err)
	}
	return nil
}

// ticks are a plot's marks, with a line across it at each.
type ticks []plot.Tick

func (t ticks) Ticks(_, _ float64) []plot.Tick { return t }

func lineStyle(c color.Color, width vg.Length, dashes ...vg.Length) draw.LineStyle {
	return draw.LineStyle{Color: c, Width: width, Dashes: dashes}
}

// grid draws a line at each mark and a frame.
type grid struct{ across, upwards ticks }

func (g grid) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, t := range g.across {
		c.StrokeLine2(lineStyle(faint, 0.5), x(t.Value), c.Min.Y, x(t.Value), c.Max.Y)
	}
	for _, t := range g.upwards {
		c.StrokeLine2(lineStyle(faint, 0.5), c.Min.X, y(t.Value), c.Max.X, y(t.Value))
	}
	c.StrokeLines(lineStyle(muted, 0.5), []vg.Point{{X: c.Min.X, Y: c.Min.Y}, {X: c.Max.X, Y: c.Min.Y}, {X: c.Max.X, Y: c.Max.Y}, {X: c.Min.X, Y: c.Max.Y}, {X: c.Min.X, Y: c.Min.Y}})
}

// clamp holds x between two numbers.
func clamp(x, low, high float64) float64 { return math.Max(low, math.Min(high, x)) }
