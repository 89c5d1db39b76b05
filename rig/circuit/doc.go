// Package circuit solves small networks of direct current: points joined by wires,
// resistors, switches, sources with inner resistance, and diodes.
//
// # How it is solved
//
// Wires without resistance make one node of the points at their ends. Of the nodes that
// conductors join, one is taken as zero, and the voltages of the others follow from
// Kirchhoff's current law (nodal analysis). Parts of the network that nothing joins float
// against each other: no voltage between them is known, and asking for one is an error.
//
// A diode is a piecewise linear one: a high resistance up to its forward voltage, a low one
// behind that voltage from there on. Which diodes conduct is found by turning over, one at a
// time, the first diode in the list that contradicts what was assumed of it.
//
// # Why that ends
//
// Seen from its diodes the rest of the network is a source behind a resistance matrix R, which
// is symmetric and positive semidefinite, since resistors and resistances of sources only take
// power up. With the diodes' own resistances D > 0 on its diagonal, the conditions
//
//	i >= 0,  w = (R+D)·i + (Vf - Voc) >= 0,  i·w = 0
//
// are a linear complementarity problem with a positive definite matrix. It has one solution,
// and to turn over the first contradicting index ends at it after finitely many steps, no set
// of conducting diodes being met twice (Murty, Opsearch 11, 1974, for all matrices whose
// principal minors are positive; from memory).
package circuit
