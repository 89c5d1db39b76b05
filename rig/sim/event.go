package sim

// kind is what happens at an event.
type kind uint8

const (
	panelReacts    kind = iota // index: event; the panel has read its input
	outputCommand              // index: output; flag: high
	coilCommand                // index: output; flag: high; by a drive that switches the coil
	trainStep                  // index: output; flag: high; of a train
	outputPhase                // index: output; the coil's law changes
	outputFloor                // index: output; the droop has reached its end
	outputFalls                // index: output; it falls back too early
	coilRings                  // index: output; the next step of a coil without a diode
	armatureMoves              // index: relay; flag: in
	contactStep                // index: relay; the next step of its travel
	travelEnds                 // index: relay
	armatureShakes             // index: relay; it chatters
	contactSpell               // index: relay; flag: closed; a weak contact changes
	referenceSet               // index: reference; flag: active
	wireChanges                // index: output; flag: the sense wire is off
	supplyResets               // the supply's converter puts out what its EEPROM holds
	filmChanges                // index: contact; an oxidised one that is shut
	edgeThread                 // index: contact; merged edges are delivered
	edgeSeen                   // index: contact; flag: closed; the kernel stamps an edge
	referenceSeen              // index: reference; flag: active; the same
)

// happening is one event to come. Of two at one instant the one scheduled
// first happens first.
type happening struct {
	at    int64
	order uint64
	index int32
	turn  uint32 // whatever it belongs to must still be in this turn, see output.turn
	kind  kind
	flag  bool
}

func (h *happening) before(g *happening) bool {
	return h.at < g.at || h.at == g.at && h.order < g.order
}

// agenda is what is to come: a binary heap by time. It is written here because
// container/heap boxes every element.
type agenda struct {
	heap  []happening
	order uint64
}

// next returns the instant of the first event to come.
func (a *agenda) next() int64 {
	if len(a.heap) == 0 {
		return never
	}
	return a.heap[0].at
}

func (a *agenda) push(h happening) {
	a.order++
	h.order = a.order
	a.heap = append(a.heap, h)
	i := len(a.heap) - 1
	for i > 0 {
		up := (i - 1) / 2
		if !a.heap[i].before(&a.heap[up]) {
			return
		}
		a.heap[i], a.heap[up] = a.heap[up], a.heap[i]
		i = up
	}
}

func (a *agenda) pop() happening {
	first := a.heap[0]
	n := len(a.heap) - 1
	a.heap[0] = a.heap[n]
	a.heap = a.heap[:n]
	i := 0
	for {
		least := i
		for c := 2*i + 1; c <= 2*i+2 && c < n; c++ {
			if a.heap[c].before(&a.heap[least]) {
				least = c
			}
		}
		if least == i {
			return first
		}
		a.heap[i], a.heap[least] = a.heap[least], a.heap[i]
		i = least
	}
}
