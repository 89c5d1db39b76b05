package circuit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"

	"makebreak/rig/problem"
)

// ErrFloating says that nothing joins two points, so that no voltage between them is known.
var ErrFloating = errors.New("nothing joins the two points")

// ErrUnknownPoint says that no part of the network names a point.
var ErrUnknownPoint = errors.New("no part of the network ends at this point")

// Solution is what stands at a network's points.
type Solution struct {
	net    *Network
	nodes  *joined // points by their nodes
	island *joined // points that conductors join, too
	parts  ends
	volts  []float64 // at the nodes, by their indexes
	on     []bool    // which diodes conduct
}

// ends are the nodes at the ends of the network's parts, by their indexes.
type ends struct{ resistors, sources, diodes [][2]int }

// Solve returns the network's voltages. The error is of the kind Internal: a part that
// cannot be calculated with.
func (n *Network) Solve() (*Solution, error) { return n.solveAt(0, nil) }

// With returns the voltages of the solved network with the other's parts besides.
func (s *Solution) With(o *Network) (*Solution, error) { return s.net.With(o).solveAt(0, s.on) }

// HumWith is Hum of the solved network with the other's parts besides.
func (s *Solution) HumWith(o *Network, plus, minus string) (float64, error) {
	return s.net.With(o).Hum(plus, minus)
}

// solveAt solves with every source at a share of its hum above its voltage. The diodes that on
// says, of the first ones, are tried first as those that conduct.
func (n *Network) solveAt(hum float64, on []bool) (*Solution, error) {
	if err := n.check(); err != nil {
		return nil, err
	}
	s := &Solution{net: n, nodes: n.nodes(), on: make([]bool, len(n.Diodes))}
	copy(s.on, on)
	s.island = n.islands(s.nodes)
	s.parts = n.ends(s.nodes)
	for _, hair := range hairs {
		if found, err := s.conducting(hum, hair); found || err != nil {
			return s, err
		}
	}
	return nil, problem.New(problem.Internal, "which diodes conduct could not be found")
}

// hairs are by how many volts two voltages may differ that are the same one. The first is
// above what rounding makes of a bench's voltages. Where it made more of one, what a diode does
// at its forward voltage cannot be told, and does not matter.
var hairs = []float64{1e-12, 1e-9, 1e-6}

// conducting finds which diodes conduct. Each set of them is met once at most.
func (s *Solution) conducting(hum, hair float64) (bool, error) {
	for range turnsAtMost(len(s.on)) {
		if err := s.linear(hum); err != nil {
			return false, err
		}
		i := s.contradicting(hair)
		if i < 0 {
			return true, nil
		}
		s.on[i] = !s.on[i]
	}
	return false, nil
}

func turnsAtMost(diodes int) int { return 1 << min(diodes, 20) }

// nodes joins the points between which there is no resistance.
func (n *Network) nodes() *joined {
	j := newJoined(2 * (len(n.Wires) + len(n.Resistors)))
	for _, w := range n.Wires {
		j.add(w.From, w.To)
		if !w.Open {
			j.join(w.From, w.To)
		}
	}
	for _, r := range n.Resistors {
		j.add(r.From, r.To)
		if r.Ohms == 0 {
			j.join(r.From, r.To)
		}
	}
	for _, s := range n.Sources {
		j.add(s.Plus, s.Minus)
	}
	for _, d := range n.Diodes {
		j.add(d.Anode, d.Cathode)
	}
	return j
}

// islands joins the points between which something conducts, a diode's leakage too.
func (n *Network) islands(nodes *joined) *joined {
	j := nodes.clone()
	for _, r := range n.Resistors {
		if !math.IsInf(r.Ohms, 1) {
			j.join(r.From, r.To)
		}
	}
	for _, s := range n.Sources {
		j.join(s.Plus, s.Minus)
	}
	for _, d := range n.Diodes {
		j.join(d.Anode, d.Cathode)
	}
	return j
}

// ends finds the nodes of the network's parts.
func (n *Network) ends(nodes *joined) (e ends) {
	e.resistors = make([][2]int, 0, len(n.Resistors))
	for _, r := range n.Resistors {
		e.resistors = append(e.resistors, [2]int{nodes.at(r.From), nodes.at(r.To)})
	}
	for _, s := range n.Sources {
		e.sources = append(e.sources, [2]int{nodes.at(s.Minus), nodes.at(s.Plus)})
	}
	for _, d := range n.Diodes {
		e.diodes = append(e.diodes, [2]int{nodes.at(d.Anode), nodes.at(d.Cathode)})
	}
	return e
}

// linear solves with the diodes as they are assumed to be.
func (s *Solution) linear(hum float64) error {
	e := s.equations()
	for i, r := range s.net.Resistors {
		if r.Ohms != 0 && !math.IsInf(r.Ohms, 1) {
			e.conductor(s.parts.resistors[i], 1/r.Ohms, 0)
		}
	}
	for i, x := range s.net.Sources {
		e.conductor(s.parts.sources[i], 1/x.Ohms, x.Volts+hum*x.Hum)
	}
	for i, d := range s.net.Diodes {
		e.conductor(s.parts.diodes[i], 1/d.Leakage, 0)
		if s.on[i] {
			e.conductor(s.parts.diodes[i], 1/d.Ohms, -d.Forward)
		}
	}
	return e.solve(s)
}

// equations are the nodes' current laws: conductances·volts = currents.
type equations struct {
	nodes    []int     // that are not taken as zero, by their rows
	row      []int     // of each node; -1: it is taken as zero
	g        []float64 // siemens, row by row
	currents []float64 // amperes into each node
}

func (s *Solution) equations() *equations {
	e := &equations{row: make([]int, len(s.nodes.up))}
	for p := range s.nodes.up {
		e.row[p] = -1
		// An island's first node is taken as zero.
		if p == s.nodes.root(p) && p != s.island.root(p) {
			e.row[p] = len(e.nodes)
			e.nodes = append(e.nodes, p)
		}
	}
	e.g = make([]float64, len(e.nodes)*len(e.nodes))
	e.currents = make([]float64, len(e.nodes))
	return e
}

// conductor adds a conductance between two nodes, with a voltage that rises from the first to
// the second.
func (e *equations) conductor(ends [2]int, siemens, volts float64) {
	i, j, n := e.row[ends[0]], e.row[ends[1]], len(e.currents)
	if i == j { // one node
		return
	}
	if i >= 0 {
		e.g[i*n+i] += siemens
		e.currents[i] -= siemens * volts
	}
	if j >= 0 {
		e.g[j*n+j] += siemens
		e.currents[j] += siemens * volts
	}
	if i >= 0 && j >= 0 {
		e.g[i*n+j] -= siemens
		e.g[j*n+i] -= siemens
	}
}

// solve puts what the equations come to into the solution, by Cholesky's factors.
func (e *equations) solve(s *Solution) error {
	s.volts = make([]float64, len(e.row))
	n := len(e.currents)
	if n == 0 {
		return nil
	}
	c, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Upper, N: n, Stride: n, Data: e.g})
	if !ok {
		return problem.New(problem.Internal, "the network's resistances lie too far apart to calculate with")
	}
	lapack64.Potrs(c, blas64.General{Rows: n, Cols: 1, Stride: 1, Data: e.currents})
	for i, p := range e.nodes {
		s.volts[p] = e.currents[i]
	}
	return nil
}

// contradicting returns the first diode that is not as it was assumed to be, or -1.
func (s *Solution) contradicting(hair float64) int {
	for i, d := range s.net.Diodes {
		v := s.volts[s.parts.diodes[i][0]] - s.volts[s.parts.diodes[i][1]] - d.Forward
		if s.on[i] && v < -hair || !s.on[i] && v > hair {
			return i
		}
	}
	return -1
}

// at returns the voltage at a point against its island's zero.
func (s *Solution) at(point string) float64 { return s.volts[s.nodes.at(point)] }

// Has reports whether a part of the network ends at the point.
func (s *Solution) Has(point string) bool { return s.nodes.has(point) }

// Volts returns the voltage from minus to plus. The error says ErrFloating or
// ErrUnknownPoint.
func (s *Solution) Volts(plus, minus string) (float64, error) {
	for _, p := range []string{plus, minus} {
		if !s.Has(p) {
			return 0, fmt.Errorf("%s: %w", p, ErrUnknownPoint)
		}
	}
	if s.island.at(plus) != s.island.at(minus) {
		return 0, fmt.Errorf("%s and %s: %w", plus, minus, ErrFloating)
	}
	return s.at(plus) - s.at(minus), nil
}

// Highest returns the highest voltage, in volts and without its sign, between a point and any
// other that something joins with it; 0 where the network has no such point.
func (s *Solution) Highest(point string) float64 {
	if !s.Has(point) {
		return 0
	}
	highest, at, island := 0.0, s.at(point), s.island.at(point)
	for p := range s.nodes.up {
		if s.island.root(p) == island {
			highest = max(highest, math.Abs(at-s.volts[s.nodes.root(p)]))
		}
	}
	return highest
}

// Hum returns the amplitude in volts of what the sources' hum makes between two points:
// half of how far the voltage swings while all of them swing together.
func (n *Network) Hum(plus, minus string) (float64, error) {
	var v [2]float64
	for i, share := range []float64{1, -1} {
		s, err := n.solveAt(share, nil)
		if err != nil {
			return 0, err
		}
		if v[i], err = s.Volts(plus, minus); err != nil {
			return 0, err
		}
	}
	return math.Abs(v[0]-v[1]) / 2, nil
}
