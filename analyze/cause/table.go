package cause

import (
	_ "embed"
	"slices"
	"sync"

	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

//go:embed causes.yaml
var source []byte

// Source is the text of the table that the program has.
func Source() []byte { return slices.Clone(source) }

// Builtin returns the table that the program has.
var Builtin = sync.OnceValue(func() *Table {
	t, err := Parse("causes.yaml", source)
	if err != nil {
		panic(err) // a test parses it
	}
	return t
})

// Table says how probable observations are under each cause.
type Table struct {
	causes   []*Cause
	measures []*measure
	// background is how probable each observation's values are where nothing concerns its
	// place, by name and value.
	background map[string]map[string]float64 // shares, of 1
	second     float64                       // probability that a bench with a fault has another one, a share
	healthy    float64                       // weight of nothing being wrong
}

// Cause is one thing that can be wrong.
type Cause struct {
	Name, About string
	Of          Subject
	weight      float64 // how often it is met, against the others
	loaded      bool    // it shows only where there is a relay, of an output: behind it
	referenced  bool    // only where a line reports the instant of an event
	mutual      bool    // it lies between two places, so that each of them has it
	forms       []form
}

// form is one way in which a cause shows itself. Observations that hang together are so in one
// form, and not in another.
type form struct {
	share float64 // of the benches with the cause, a share of 1
	rows  []row
}

// Causes returns the causes that the table knows, in its order.
func (t *Table) Causes() []Cause {
	all := make([]Cause, len(t.causes))
	for i, c := range t.causes {
		all[i] = *c
	}
	return all
}

// row is what one cause makes of one observation.
type row struct {
	kind  *kind
	at    relation
	share map[string]float64 // probability by value, all values
	why   string
}

// relation is where an observation is made, seen from the place of a cause.
type relation string

// The relations. What several places show of one cause counts once.
const (
	here    relation = "here"    // at the cause's own output with its relay
	others  relation = "others"  // at all other outputs and relays
	another relation = "another" // at one other output or relay
	every   relation = "every"   // at all of them
)

// floor is the least probability of a value: nothing is impossible.
const floor = 5e-4

const (
	maxCauses = 500
	maxRows   = 100
)

// Parse reads a table. The error is one or more *yamlfile.Error, joined.
func Parse(file string, src []byte) (*Table, error) {
	doc, err := yamlfile.Parse(file, src)
	if err != nil {
		return nil, err
	}
	t := &Table{background: map[string]map[string]float64{}}
	t.read(doc.Root)
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return t, nil
}

func (t *Table) read(root *yamlfile.Node) {
	f, ok := root.Fields("must be the keys of a table of causes, as in causes: {welded: {…}}")
	if !ok {
		return
	}
	t.healthy = weight(f.Need("healthy", "1000"))
	t.second, _ = share(f.Need("second_fault", "5 %"))
	t.readBackground(f.Need("observations", "{rise: {otherwise: {never: 0.1 %}}}"))
	causes := f.Need("causes", "{welded: {…}}").Entries("must be causes by name, as in welded: {of: relay, weight: 5, rows: […]}")
	for i, e := range causes {
		if i == maxCauses {
			e.Key.Refuse("there are too many causes", "must be at most 500")
			break
		}
		t.causes = append(t.causes, t.readCause(e))
	}
	t.readMeasures(f.May("measurements"))
	f.Done()
}

// weight reads a whole number that says how often something is met.
func weight(n *yamlfile.Node) float64 {
	w, _ := n.Whole(1, 1_000_000)
	return float64(w)
}

// share reads a probability.
func share(n *yamlfile.Node) (float64, bool) {
	p, ok := n.Quantity(unit.Share)
	if ok && !(p >= 0 && p <= 1) {
		n.Refuse("", "must be from 0 % to 100 %")
		return 0, false
	}
	return p, ok
}

func (t *Table) readBackground(n *yamlfile.Node) {
	for _, e := range n.Entries("must be observations by name, as in rise: {otherwise: {never: 0.1 %}}") {
		k := kindOf(e.Key, e.Name())
		f, ok := e.Value.Fields("must be an observation, as in {otherwise: {never: 0.1 %}}")
		if !ok || k == nil {
			continue
		}
		given := readShares(f.Need("otherwise", "{never: 0.1 %}"), k)
		f.Done()
		left := 1.0
		all := map[string]float64{}
		for _, v := range k.values {
			all[v] = max(1e-6, given[v])
			left -= all[v]
		}
		all[usual] = max(floor, left)
		t.background[k.name] = all
	}
	if !n.IsMap() {
		return
	}
	for i := range kinds {
		if !n.Has(kinds[i].name) {
			n.Fail("the observation "+kinds[i].name+" is missing", "add it, for example "+kinds[i].name+": {otherwise: {"+kinds[i].values[0]+": 0.1 %}}")
			t.background[kinds[i].name] = map[string]float64{usual: 1}
		}
	}
}

func kindOf(at *yamlfile.Node, name string) *kind {
	k := kindNamed(name)
	if k == nil {
		all := make([]string, len(kinds))
		for i := range kinds {
			all[i] = kinds[i].name
		}
		at.Refuse("", words.UseOneOf(name, all))
	}
	return k
}

// readShares reads the probabilities of values, which are 1 together at most.
func readShares(n *yamlfile.Node, k *kind) map[string]float64 {
	given := map[string]float64{}
	sum := 0.0
	for _, e := range n.Entries("must be probabilities by value, as in {" + k.values[0] + ": 95 %}") {
		if !slices.Contains(k.all(), e.Name()) {
			e.Key.Refuse("", words.UseOneOf(e.Name(), k.all()))
			continue
		}
		p, _ := share(e.Value)
		given[e.Name()] = p
		sum += p
	}
	if sum > 1+1e-9 {
		n.Fail("the probabilities are more than 100 % together", "must be at most 100 %")
	}
	return given
}

func (t *Table) readCause(e yamlfile.Entry) *Cause {
	c := &Cause{Name: e.Name()}
	if fault := words.NameFault(c.Name); fault != "" {
		e.Key.Refuse(fault, "")
	}
	f, ok := e.Value.Fields("must be a cause, as in {about: …, of: relay, weight: 5, rows: […]}")
	if !ok {
		return c
	}
	c.About, _ = f.Need("about", "the make contact has welded").Text()
	of, _ := f.Need("of", "relay").Word(string(OfOutput), string(OfRelay), string(OfConverter), string(OfRun))
	c.Of = Subject(of)
	c.weight = weight(f.Need("weight", "5"))
	c.loaded, _ = f.May("needs_relay").Bool()
	c.referenced, _ = f.May("needs_reference").Bool()
	c.mutual, _ = f.May("mutual").Bool()
	rows, forms := f.May("rows"), f.May("forms")
	common := t.readRows(rows)
	if forms == nil {
		f.Need("rows", rowsExample)
		c.forms = []form{{1, common}}
	}
	for _, n := range forms.Items() {
		c.forms = append(c.forms, t.readForm(n, common))
	}
	sum := 0.0
	for _, x := range c.forms {
		sum += x.share
	}
	if forms != nil && !(sum > 0.999 && sum < 1.001) {
		forms.Fail("the shares of the forms are not 100 % together", "must be 100 %")
	}
	f.Done()
	return c
}

const rowsExample = "[{see: follow, at: here, as: {stays-in: 95 %}, why: …}]"

// readForm reads one form of a cause, which has the rows that all its forms have.
func (t *Table) readForm(n *yamlfile.Node, common []row) form {
	f, ok := n.Fields("must be a form of the cause, as in {share: 60 %, rows: […]}")
	if !ok {
		return form{}
	}
	p, _ := share(f.Need("share", "60 %"))
	own := t.readRows(f.Need("rows", rowsExample))
	f.Done()
	return form{p, slices.Concat(own, common)}
}

func (t *Table) readRows(n *yamlfile.Node) (rows []row) {
	items := n.Items()
	if len(items) > maxRows {
		n.Fail("there are too many rows", "must be at most 100")
		return nil
	}
	for _, item := range items {
		if x, ok := t.readRow(item); ok {
			rows = append(rows, x)
		}
	}
	return rows
}

func (t *Table) readRow(n *yamlfile.Node) (r row, ok bool) {
	f, ok := n.Fields("must be a row, as in {see: follow, at: here, as: {stays-in: 95 %}, why: …}")
	if !ok {
		return row{}, false
	}
	see := f.Need("see", "follow")
	name, named := see.Text()
	at, _ := f.Need("at", "here").Word(string(here), string(others), string(another), string(every))
	as := f.Need("as", "{stays-in: 95 %}")
	why, _ := f.Need("why", "a weld holds").Text()
	f.Done()
	if !named {
		return row{}, false
	}
	k := kindOf(see, name)
	if k == nil {
		return row{}, false
	}
	return row{kind: k, at: relation(at), share: t.filled(k, readShares(as, k)), why: why}, true
}

// filled gives the values that a row does not name what is left, as the background has them.
func (t *Table) filled(k *kind, given map[string]float64) map[string]float64 {
	bg := t.background[k.name]
	left, rest := 1.0, 0.0
	for _, v := range k.all() {
		if p, named := given[v]; named {
			left -= p
		} else {
			rest += bg[v]
		}
	}
	all, sum := map[string]float64{}, 0.0
	for _, v := range k.all() {
		p, named := given[v]
		if !named && rest > 0 {
			p = max(0, left) * bg[v] / rest
		}
		all[v] = max(floor, p)
		sum += all[v]
	}
	for v := range all {
		all[v] /= sum
	}
	return all
}
