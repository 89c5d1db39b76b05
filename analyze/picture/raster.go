package picture

import (
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// dots are a PNG's pixels to a unit, for some 200 to an inch across a printed page.
const dots = 2

// sans and bold are the fonts of PNGs, which cannot ask for the reader's.
var (
	sans = sync.OnceValues(func() (*opentype.Font, error) { return opentype.Parse(goregular.TTF) })
	bold = sync.OnceValues(func() (*opentype.Font, error) { return opentype.Parse(gobold.TTF) })
)

// canvas paints shapes onto an image.
type canvas struct {
	*image.RGBA
	faces map[look]font.Face
}

// look is how a text is written.
type look struct {
	size float64
	bold bool
}

// png writes the drawing as it is on a light ground.
func (d *drawing) png(w io.Writer) error {
	c := &canvas{image.NewRGBA(image.Rect(0, 0, int(d.wide()+2*margin)*dots, int(d.height+2*margin)*dots)), map[look]font.Face{}}
	draw.Draw(c.RGBA, c.Bounds(), ground(sheet), image.Point{}, draw.Src)
	for i := range d.shapes {
		if err := c.paint(&d.shapes[i]); err != nil {
			return err
		}
	}
	return png.Encode(w, c.RGBA)
}

// ground is a role's colour on a light ground, everywhere.
func ground(r role) *image.Uniform {
	i := slices.IndexFunc(colours, func(c colour) bool { return c.role == r })
	return image.NewUniform(colourOf(colours[i].light))
}

// colourOf reads a colour in the form #rrggbb.
func colourOf(hex string) color.RGBA {
	rgb, _ := strconv.ParseUint(hex[1:], 16, 32) // the forms are our own
	return color.RGBA{uint8(rgb >> 16), uint8(rgb >> 8), uint8(rgb), 0xff}
}

func (c *canvas) paint(s *shape) error {
	switch {
	case s.link != nil: // of a page
	case s.text != "":
		return c.write(s)
	case s.radius > 0:
		var all [][]spot
		for _, p := range s.points {
			all = append(all, circle(p, s.radius))
		}
		c.fill(s.role, all...)
	case len(s.pieces) > 0:
		var parts [][]spot
		for _, p := range s.pieces {
			parts = append(parts, outline(p, s.width)...)
		}
		c.fill(s.role, parts...)
	case s.area:
		c.fill(s.role, s.points)
	default:
		var parts [][]spot
		for _, stroke := range dashed(s.points, s.dash) {
			parts = append(parts, outline(stroke, s.width)...)
		}
		c.fill(s.role, parts...)
	}
	return nil
}

// fill paints areas as one. They must go round in the same direction.
func (c *canvas) fill(r role, areas ...[]spot) {
	box := c.boundsOf(areas)
	if box.Empty() {
		return
	}
	v := vector.NewRasterizer(box.Dx(), box.Dy())
	x, y := float32(box.Min.X), float32(box.Min.Y)
	for _, a := range areas {
		v.MoveTo(pixel(a[0].x)-x, pixel(a[0].y)-y)
		for _, p := range a[1:] {
			v.LineTo(pixel(p.x)-x, pixel(p.y)-y)
		}
		v.ClosePath()
	}
	v.Draw(c.RGBA, box, ground(r), image.Point{})
}

// boundsOf is the part of the image that areas lie on.
func (c *canvas) boundsOf(areas [][]spot) image.Rectangle {
	var box image.Rectangle
	for _, a := range areas {
		for _, p := range a {
			x, y := int(pixel(p.x)), int(pixel(p.y))
			box = box.Union(image.Rect(x-1, y-1, x+2, y+2))
		}
	}
	return box.Intersect(c.Bounds())
}

// pixel is a place as pixels from the image's corner.
func pixel(x float64) float32 { return float32((x + margin) * dots) }

func circle(at spot, radius float64) []spot {
	const corners = 32
	out := make([]spot, corners)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		out[i] = spot{at.x + radius*cos, at.y + radius*sin}
	}
	return out
}

// outline is a line of a width as areas: one for each of its pieces, and one round each
// of its bends.
func outline(line []spot, width float64) [][]spot {
	var out [][]spot
	for i, q := range line[1:] {
		p := line[i]
		length := math.Hypot(q.x-p.x, q.y-p.y)
		if length == 0 {
			continue
		}
		x, y := (p.y-q.y)/length*width/2, (q.x-p.x)/length*width/2
		out = append(out, []spot{{p.x - x, p.y - y}, {q.x - x, q.y - y}, {q.x + x, q.y + y}, {p.x + x, p.y + y}})
		if i > 0 && width > 1 {
			out = append(out, circle(p, width/2))
		}
	}
	return out
}

// dashed cuts a line into dashes as long as the gaps between them.
func dashed(line []spot, dash float64) [][]spot {
	if dash <= 0 {
		return [][]spot{line}
	}
	var out [][]spot
	left, on := dash, true // of this dash or gap
	piece := []spot{line[0]}
	for i := 1; i < len(line); i++ {
		p, q := line[i-1], line[i]
		length := math.Hypot(q.x-p.x, q.y-p.y)
		done := 0.0
		for length-done > left {
			done += left
			at := spot{p.x + (q.x-p.x)*done/length, p.y + (q.y-p.y)*done/length}
			if on {
				out = append(out, append(piece, at))
			}
			piece, on, left = []spot{at}, !on, dash
		}
		left -= length - done
		piece = append(piece, q)
	}
	if on && len(piece) > 1 {
		out = append(out, piece)
	}
	return out
}

// write paints a text.
func (c *canvas) write(s *shape) error {
	face, err := c.face(look{s.size, s.bold})
	if err != nil {
		return err
	}
	parts := strings.Split(s.text, thinSpace) // the font has none
	thin := fixed.Int26_6(s.size * dots * 64 / 6)
	width := fixed.Int26_6(len(parts)-1) * thin
	for _, p := range parts {
		width += font.MeasureString(face, p)
	}
	x := fixed.Int26_6(pixel(s.points[0].x) * 64)
	switch s.anchor {
	case middle:
		x -= width / 2
	case end:
		x -= width
	}
	d := font.Drawer{Dst: c.RGBA, Src: ground(s.role), Face: face, Dot: fixed.Point26_6{X: x, Y: fixed.Int26_6(pixel(s.points[0].y) * 64)}}
	for _, p := range parts {
		d.DrawString(p)
		d.Dot.X += thin
	}
	return nil
}

func (c *canvas) face(l look) (font.Face, error) {
	if f := c.faces[l]; f != nil {
		return f, nil
	}
	parse := sans
	if l.bold {
		parse = bold
	}
	f, err := parse()
	if err != nil {
		return nil, err
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: l.size * dots, DPI: 72, Hinting: font.HintingNone})
	c.faces[l] = face
	return face, err
}
