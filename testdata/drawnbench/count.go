package drawnbench

import "context"

// The seeds of a drawing: those of its benches with one fault, with two and with none begin at
// firstSeed + drawing·perDrawing and lie apart from each other and from the seeds of all other
// tests, which are below a thousand million.
const (
	firstSeed  = 7_000_000_000
	perDrawing = 100_000_000
	pairSeeds  = 40_000_000
	goodSeeds  = 80_000_000
)

// Wanted is how many benches with one fault, with two and with none are to be counted.
type Wanted struct {
	Singles, Pairs, Healthy int
	// Alike asks for benches whose first claim is wrong whether it shows the same, which takes
	// as long as forty runs.
	Alike bool
}

// Count draws and runs benches until so many have been counted: those with a fault that is too
// small or hidden are kept besides. Each drawing has seeds of its own.
func Count(ctx context.Context, drawing int, want Wanted, rank Ranker) (*Counted, error) {
	c := &Counted{}
	base := firstSeed + uint64(drawing)*perDrawing
	kinds := Kinds()
	told := 0
	err := Each(func(i int) (*Single, error) {
		b, err := Draw(base+uint64(i), kinds[i%len(kinds)])
		if err != nil {
			return nil, err
		}
		return MeasureSingle(ctx, b, rank, want.Alike)
	}, func(s *Single) bool {
		c.Singles = append(c.Singles, s)
		if !s.TooSmall() {
			told++
		}
		return told >= want.Singles
	})
	if err != nil {
		return nil, err
	}
	seen := 0
	err = Each(func(i int) (*Pair, error) {
		seed := base + pairSeeds + uint64(i)
		b, err := drawPair(seed, kinds)
		if err != nil {
			return nil, err
		}
		return MeasurePair(ctx, b, rank)
	}, func(p *Pair) bool {
		c.Pairs = append(c.Pairs, p)
		if !p.Hidden {
			seen++
		}
		return seen >= want.Pairs
	})
	if err != nil {
		return nil, err
	}
	err = Each(func(i int) ([]Claim, error) {
		b, err := Draw(base + goodSeeds + uint64(i))
		if err != nil {
			return nil, err
		}
		r, err := b.Run(ctx, nil)
		if err != nil {
			return nil, err
		}
		return rank(b, r), nil
	}, func(claims []Claim) bool {
		c.Healthy = append(c.Healthy, claims)
		return len(c.Healthy) >= want.Healthy
	})
	return c, err
}

// drawPair draws a bench with two faults of different kinds.
func drawPair(seed uint64, kinds []string) (*Bench, error) {
	d := newDice(seed, 1)
	for {
		one, two := oneOf(d, kinds...), oneOf(d, kinds...)
		if one == two || worsens(one) || worsens(two) {
			continue
		}
		if b, err := Draw(seed, one, two); err == nil {
			return b, nil
		}
	}
}
