package picture

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"makebreak/analyze/reliability"
)

// The paper's size: across a printed page, and not higher than half of one.
const (
	paperWidth  = 180 * vg.Millimeter
	paperHeight = 125 * vg.Millimeter
)

// SVG writes the plot as an SVG element without a prologue, as a page can hold it
// or a file be.
func (p *Paper) SVG(w io.Writer) error {
	pic, err := p.picture()
	if err != nil {
		return err
	}
	return pic.svg(w)
}

// PNG writes the plot as a PNG.
func (p *Paper) PNG(w io.Writer) error {
	pic, err := p.picture()
	if err != nil {
		return err
	}
	return pic.png(w)
}

// xy is a place as the plot's axes have it.
func xy(a At) plotter.XY {
	x, y := reliability.Paper(a.Cycles, a.Failed)
	return plotter.XY{X: x, Y: y}
}

func (p *Paper) picture() (*picture, error) {
	pl := newPlot("cycles", "share failed")
	across, upwards := p.ticks()
	pl.X.Tick.Marker, pl.Y.Tick.Marker = across, upwards
	if err := p.addLine(pl, grid{across, upwards}); err != nil {
		return nil, err
	}
	if err := p.addPoints(pl); err != nil {
		return nil, err
	}
	if len(p.Stopped) > 0 {
		marks := stops(p.Stopped)
		pl.Add(marks)
		pl.Legend.Add("board stopped without a failure", marks)
	}
	pl.Legend.Top, pl.Legend.Left = true, true
	pl.Legend.XOffs, pl.Legend.YOffs = 6, -8
	from, to := xy(p.From), xy(p.To)
	pl.X.Min, pl.X.Max, pl.Y.Min, pl.Y.Max = from.X, to.X, from.Y, to.Y
	return &picture{plot: pl, w: paperWidth, h: paperHeight, heading: p.Heading, words: p.Words}, nil
}

// addLine adds the fitted line over its bounds, and the B10.
func (p *Paper) addLine(pl *plot.Plot, lines plot.Plotter) error {
	if len(p.Line) == 0 {
		pl.Add(lines)
		return nil
	}
	line, early, late := p.curves()
	band, err := plotter.NewPolygon(append(slices.Clone(early), reversed(late)...))
	if err != nil {
		return fmt.Errorf("picture: %w", err)
	}
	band.Color, band.LineStyle.Width = shade, 0
	pl.Add(band, lines)
	for _, edge := range []plotter.XYs{early, late} {
		pl.Add(&plotter.Line{XYs: edge, LineStyle: lineStyle(fitted, 0.6, vg.Points(3), vg.Points(2))})
	}
	fit := &plotter.Line{XYs: line, LineStyle: lineStyle(fitted, 1.3)}
	pl.Add(fit, b10{p})
	pl.Legend.Add("fitted line, with its bounds", fit)
	return nil
}

// curves are the fitted line and its bounds; where there is no bound, it lies off the
// paper.
func (p *Paper) curves() (line, early, late plotter.XYs) {
	off := func(x float64) float64 { return clamp(x, p.From.Cycles/10, p.To.Cycles*10) }
	for _, b := range p.Line {
		line = append(line, xy(At{b.Cycles, b.Failed}))
		early = append(early, xy(At{off(b.Early), b.Failed}))
		late = append(late, xy(At{off(b.Late), b.Failed}))
	}
	return line, early, late
}

func reversed(p plotter.XYs) plotter.XYs {
	p = slices.Clone(p)
	slices.Reverse(p)
	return p
}

func (p *Paper) addPoints(pl *plot.Plot) error {
	all := make(plotter.XYs, len(p.Points))
	for i, q := range p.Points {
		all[i] = plotter.XY{X: q.X, Y: q.Y}
	}
	points, err := plotter.NewScatter(all)
	if err != nil {
		return fmt.Errorf("picture: %w", err)
	}
	points.GlyphStyle = draw.GlyphStyle{Color: ink, Radius: 2.6, Shape: draw.CircleGlyph{}}
	pl.Add(points)
	pl.Legend.Add("failed board, at its median rank", points)
	return nil
}

// ticks are the marks of both axes.
func (p *Paper) ticks() (across, upwards ticks) {
	decades := math.Log10(p.To.Cycles / p.From.Cycles)
	for _, x := range oneTwoFive(p.From.Cycles, p.To.Cycles) {
		t := plot.Tick{Value: math.Log(x)}
		if decades < 4 || math.Abs(math.Remainder(math.Log10(x), 1)) < 1e-9 {
			if t.Label = count(x); x < 1 {
				t.Label = three(x)
			}
		}
		across = append(across, t)
	}
	for _, s := range shares {
		if s < p.From.Failed || s > p.To.Failed {
			continue
		}
		_, y := reliability.Paper(1, s)
		upwards = append(upwards, plot.Tick{Value: y, Label: strconv.FormatFloat(100*s, 'g', 6, 64) + " %"})
	}
	return across, upwards
}

// b10 marks the cycles by which 10 % have failed, from the fitted line down.
type b10 struct{ *Paper }

func (b b10) Plot(c draw.Canvas, pl *plot.Plot) {
	tx, ty := pl.Transforms(&c)
	at := xy(At{b.B10.Value, 0.1})
	if at.X < pl.X.Min || at.X > pl.X.Max {
		return
	}
	x, y := tx(at.X), ty(at.Y)
	c.StrokeLine2(lineStyle(red, 0.8, vg.Points(2), vg.Points(2)), c.Min.X, y, x, y)
	c.StrokeLine2(lineStyle(red, 0.8, vg.Points(2), vg.Points(2)), x, y, x, c.Min.Y)
	style := textStyle(textSize, true, red)
	style.YAlign = draw.YBottom
	c.FillText(style, vg.Point{X: x + 3, Y: c.Min.Y + 14}, "B10")
}

// stops draws boards that were stopped, on the lower edge of the paper, with their
// number where it is more than one.
type stops []Stop

var stopped = draw.GlyphStyle{Color: ink, Radius: 3, Shape: draw.TriangleGlyph{}}

func (s stops) Plot(c draw.Canvas, pl *plot.Plot) {
	tx, _ := pl.Transforms(&c)
	style := textStyle(textSize-1, false, ink)
	style.XAlign, style.YAlign = draw.XCenter, draw.YBottom
	for _, at := range s {
		x := tx(math.Log(at.Cycles))
		c.DrawGlyph(stopped, vg.Point{X: x, Y: c.Min.Y + 4})
		if at.Boards > 1 {
			c.FillText(style, vg.Point{X: x, Y: c.Min.Y + 8}, strconv.Itoa(at.Boards))
		}
	}
}

// Thumbnail draws the mark for the legend.
func (s stops) Thumbnail(c *draw.Canvas) { c.DrawGlyph(stopped, c.Center()) }
