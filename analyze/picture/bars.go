package picture

import (
	"io"
	"math"
)

// Share is a bar from one share to another of the longest one's length.
type Share struct {
	Name     string
	From, To float64 // shares of one; beyond it the bar ends there
	Role     ShareRole
	Text     string
}

// ShareRole is what a bar stands for.
type ShareRole int

// What bars stand for.
const (
	WholeShare ShareRole = iota
	UsedShare
	LeftShare // hatched
)

// Shares are bars beneath each other, as of what a battery has and what is taken out of it.
type Shares struct {
	Heading string
	Words   []string // the result, beneath the heading
	Shares  []Share
}

const (
	shareLeft  = 150.0
	shareRight = across - 90
	shareHigh  = 16.0
	shareRow   = 26.0
)

// SVG writes the bars as an SVG element without a prologue, as a file.
func (s *Shares) SVG(out io.Writer) error { return s.drawing().svg(out, true) }

func (s *Shares) drawing() *drawing {
	d := &drawing{title: s.Heading, about: about(s.Words, s.Heading)}
	y := d.heading(headingText, s.Words...) + 20
	at := func(share float64) float64 { return shareLeft + (shareRight-shareLeft)*clamp(share, 0, 1) }
	for _, b := range s.Shares {
		from, to := at(b.From), math.Max(at(b.To), at(b.From)+1)
		bar := box{from, y, to, y + shareHigh}
		corners := []spot{{from, y}, {to, y}, {to, y + shareHigh}, {from, y + shareHigh}}
		switch b.Role {
		case WholeShare:
			d.area(inner, corners...)
		case UsedShare:
			d.area(fitted, corners...)
		case LeftShare:
			d.hatch(soft, bar, 6)
			d.line(soft, 1, 0, append(corners, corners[0])...)
		}
		d.text(ink, spot{0, y + 12}, smallText, start, b.Name)
		d.text(ink, spot{shareRight + 10, y + 12}, smallText, start, b.Text)
		y += shareRow
	}
	d.height = y
	return d
}
