package circuit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"makebreak/rig/problem"
)

// ErrFloating says that nothing joins two points, so that no voltage between them is known.
var ErrFloating = errors.New("nothing joins the two points")

// ErrUnknownPoint says that no part of the network names a point.
var ErrUnknownPoint = errors.New("no part of the network ends at this point")

// Solution is what stands at a network's points and flows in its parts.
type Solution struct {
	net    *Network
	nodes  *joined // points by their nodes
	island *joined // nodes that conductors join
	volts  map[string]float64
	on     []bool // which diodes conduct
}

// Solve returns the network's voltages. The error is of the kind Internal: a part that
// cannot be calculated with.
func (n *Network) Solve() (*Solution, error) { return n.solveAt(0) }

// solveAt solves with every source at a share of its hum above its voltage.
func (n *Network) solveAt(hum float64) (*Solution, error) {
	if err := n.check(); err != nil {
		return nil, err
	}
	s := &Solution{net: n, nodes: n.nodes(), on: make([]bool, len(n.Diodes))}
	s.island = n.islands(s.nodes)
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
	j := newJoined()
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

// islands joins the nodes between which something conducts, a diode's leakage too.
func (n *Network) islands(nodes *joined) *joined {
	j := newJoined()
	for _, p := range nodes.names {
		j.add(nodes.of(p))
	}
	for _, r := range n.Resistors {
		if !math.IsInf(r.Ohms, 1) {
			j.join(nodes.of(r.From), nodes.of(r.To))
		}
	}
	for _, s := range n.Sources {
		j.join(nodes.of(s.Plus), nodes.of(s.Minus))
	}
	for _, d := range n.Diodes {
		j.join(nodes.of(d.Anode), nodes.of(d.Cathode))
	}
	return j
}

// linear solves with the diodes as they are assumed to be.
func (s *Solution) linear(hum float64) error {
	e := s.equations()
	for _, r := range s.net.Resistors {
		if r.Ohms != 0 && !math.IsInf(r.Ohms, 1) {
			e.conductor(s.nodes.of(r.From), s.nodes.of(r.To), 1/r.Ohms, 0)
		}
	}
	for _, x := range s.net.Sources {
		e.conductor(s.nodes.of(x.Minus), s.nodes.of(x.Plus), 1/x.Ohms, x.Volts+hum*x.Hum)
	}
	for i, d := range s.net.Diodes {
		e.conductor(s.nodes.of(d.Anode), s.nodes.of(d.Cathode), 1/d.Leakage, 0)
		if s.on[i] {
			e.conductor(s.nodes.of(d.Anode), s.nodes.of(d.Cathode), 1/d.Ohms, -d.Forward)
		}
	}
	return e.solve(s)
}

// equations are the nodes' current laws: conductances·volts = currents.
type equations struct {
	row      map[string]int // of the nodes that are not taken as zero
	g        []float64      // siemens, row by row
	currents []float64      // amperes into each node
}

func (s *Solution) equations() *equations {
	e := &equations{row: map[string]int{}}
	for _, p := range s.nodes.names {
		// An island's first node is taken as zero.
		if p == s.nodes.of(p) && p != s.island.of(p) {
			e.row[p] = len(e.row)
		}
	}
	e.g = make([]float64, len(e.row)*len(e.row))
	e.currents = make([]float64, len(e.row))
	return e
}

// conductor adds a conductance between two nodes, with a voltage that rises from a to b.
func (e *equations) conductor(a, b string, siemens, volts float64) {
	if a == b {
		return
	}
	i, hasA := e.row[a]
	j, hasB := e.row[b]
	n := len(e.currents)
	if hasA {
		e.g[i*n+i] += siemens
		e.currents[i] -= siemens * volts
	}
	if hasB {
		e.g[j*n+j] += siemens
		e.currents[j] += siemens * volts
	}
	if hasA && hasB {
		e.g[i*n+j] -= siemens
		e.g[j*n+i] -= siemens
	}
}

func (e *equations) solve(s *Solution) error {
	s.volts = map[string]float64{}
	n := len(e.currents)
	if n == 0 {
		return nil
	}
	var c mat.Cholesky
	if !c.Factorize(mat.NewSymDense(n, e.g)) {
		return problem.New(problem.Internal, "the network's resistances lie too far apart to calculate with")
	}
	var v mat.VecDense
	// What Condition tells of is in the package's limits of resistance.
	if err := c.SolveVecTo(&v, mat.NewVecDense(n, e.currents)); err != nil {
		var ill mat.Condition
		if !errors.As(err, &ill) {
			return problem.Of(problem.Internal, err)
		}
	}
	for p, i := range e.row {
		s.volts[p] = v.AtVec(i)
	}
	return nil
}

// contradicting returns the first diode that is not as it was assumed to be, or -1.
func (s *Solution) contradicting(hair float64) int {
	for i, d := range s.net.Diodes {
		v := s.at(d.Anode) - s.at(d.Cathode) - d.Forward
		if s.on[i] && v < -hair || !s.on[i] && v > hair {
			return i
		}
	}
	return -1
}

// at returns the voltage at a point against its island's zero.
func (s *Solution) at(point string) float64 { return s.volts[s.nodes.of(point)] }

// Volts returns the voltage from minus to plus. The error says ErrFloating or
// ErrUnknownPoint.
func (s *Solution) Volts(plus, minus string) (float64, error) {
	for _, p := range []string{plus, minus} {
		if !s.nodes.has(p) {
			return 0, fmt.Errorf("%s: %w", p, ErrUnknownPoint)
		}
	}
	if s.island.of(s.nodes.of(plus)) != s.island.of(s.nodes.of(minus)) {
		return 0, fmt.Errorf("%s and %s: %w", plus, minus, ErrFloating)
	}
	return s.at(plus) - s.at(minus), nil
}

// Highest returns the highest voltage, in volts and without its sign, between a point and any
// other that something joins with it; 0 where the network has no such point.
func (s *Solution) Highest(point string) float64 {
	if !s.nodes.has(point) {
		return 0
	}
	highest, island := 0.0, s.island.of(s.nodes.of(point))
	for _, p := range s.nodes.names {
		if s.island.of(s.nodes.of(p)) == island {
			highest = max(highest, math.Abs(s.at(point)-s.at(p)))
		}
	}
	return highest
}

// Flow is what a part carries.
type Flow struct {
	Amperes float64 // amperes: out of a source's plus, from a resistor's From, out of a diode's cathode
	Watts   float64 // watts turned into heat in it; a source's are those in its inner resistance
}

// Through returns what the part of a name carries; false where there is none.
func (s *Solution) Through(name string) (Flow, bool) {
	for _, r := range s.net.Resistors {
		if r.Name == name && r.Ohms != 0 {
			v := s.at(r.From) - s.at(r.To)
			return Flow{v / r.Ohms, v * v / r.Ohms}, true // none in an infinite one
		}
	}
	for _, x := range s.net.Sources {
		if x.Name == name {
			i := (x.Volts - s.at(x.Plus) + s.at(x.Minus)) / x.Ohms
			return Flow{i, i * i * x.Ohms}, true
		}
	}
	for k, d := range s.net.Diodes {
		if d.Name == name {
			v := s.at(d.Anode) - s.at(d.Cathode)
			i := v / d.Leakage
			if s.on[k] {
				i += (v - d.Forward) / d.Ohms
			}
			return Flow{i, i * v}, true
		}
	}
	return Flow{}, false
}

// Hum returns the amplitude in volts of what the sources' hum makes between two points:
// half of how far the voltage swings while all of them swing together.
func (n *Network) Hum(plus, minus string) (float64, error) {
	var v [2]float64
	for i, share := range []float64{1, -1} {
		s, err := n.solveAt(share)
		if err != nil {
			return 0, err
		}
		if v[i], err = s.Volts(plus, minus); err != nil {
			return 0, err
		}
	}
	return math.Abs(v[0]-v[1]) / 2, nil
}
