package bench_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/mcp4725"
	"makebreak/rig/sim"
)

// dip has the supply's converter reset a time after the world's start.
func dip(after time.Duration) sim.Fault {
	return sim.Fault{Name: "supply-reset", Value: after.Seconds()}
}

// A converter that is reset stands at half of its scale. Whenever that is it is found by
// the end of the recording, counted, told in the capture from before to after, and set
// again; nothing else is counted, and no conversion is missed.
func TestSupply_Reset(t *testing.T) {
	for _, c := range []struct {
		name   string
		at     time.Duration // after the start of a recording of 3 s
		ramp   bool
		within time.Duration // which it is found in, but for the settling
	}{
		{"before the first look", 50 * time.Millisecond, false, 100 * time.Millisecond},
		{"between looks", 500 * time.Millisecond, false, time.Second},
		{"long after the last look", 1050 * time.Millisecond, false, time.Second},
		{"just before the end", 2999 * time.Millisecond, false, time.Second},
		{"on a ramp", 1500 * time.Millisecond, true, 10 * time.Millisecond},
		{"just before the end of a ramp", 1998 * time.Millisecond, true, 10 * time.Millisecond},
	} {
		for _, hz := range []int{400_000, 100_000} {
			const before = time.Second
			s := openSupplied(t, hz, bench.Opts{}, dip(before+c.at))
			s.cause("energize")
			s.record(sim.Start.Add(before).Sub(s.b.Now()))
			m, want := bench.Move{To: 10.5}, code10V5
			if c.ramp {
				m, want = bench.Move{From: 5, To: 13.8, Over: 2 * time.Second}, code13V8
			}
			s.move("set", m)
			s.record(3 * time.Second)
			if n := s.b.Counts(); n != (capture.Counts{ChipResets: 1}) {
				t.Errorf("%s, %s: %+v, want one reset counted", c.name, kiloHertz(hz), n)
			}
			reset := sim.Start.Add(before + c.at)
			if u := s.c.Unsupplied; len(u) != 1 || u[0].From > reset || u[0].From < reset.Add(-c.within) || u[0].To < reset || u[0].To > s.c.End {
				t.Errorf("%s, %s: unsupplied %v, reset at %d, ended at %d", c.name, kiloHertz(hz), u, reset, s.c.End)
			} else if settled := u[0].To.Sub(reset); settled < 100*time.Millisecond || settled > c.within+110*time.Millisecond {
				t.Errorf("%s, %s: supplied again %v after the reset", c.name, kiloHertz(hz), settled)
			}
			if s.code() != want {
				t.Errorf("%s, %s: code %d, want %d", c.name, kiloHertz(hz), s.code(), want)
			}
			if got, want := s.reads(), s.w.Truth().Output("COIL").High; math.Abs(got-want) > 0.2 {
				t.Errorf("%s, %s: the coil reads %.3f V, want %.3f V", c.name, kiloHertz(hz), got, want)
			}
		}
	}
}

// A converter that was reset while nothing was recorded is found before it is moved: the
// write would hide it.
func TestMoveSupply_AfterReset(t *testing.T) {
	s := openSupplied(t, 400_000, bench.Opts{}, dip(5*time.Second))
	s.record(time.Second)
	s.w.AdvanceTo(sim.Start.Add(10 * time.Second))
	e := s.move("sag", bench.Move{To: 10.5})
	if n := s.b.Counts().ChipResets; n != 1 || len(s.c.Unsupplied) != 1 || s.c.Unsupplied[0].To > e.At {
		t.Errorf("%d resets counted, unsupplied %v, moved at %d", n, s.c.Unsupplied, e.At)
	}
	if s.code() != code10V5 {
		t.Errorf("code %d", s.code())
	}
}

// A converter that is reset again and again, or falls silent, is lost.
func TestSupply_LostWhileItStands(t *testing.T) {
	for _, c := range []struct {
		name, says string
		spoil      func(s *supplied)
		reset      bool
	}{
		{"reset again and again", "the chip has lost its setting: it holds code 2048, on, written was code 3426", func(s *supplied) { s.bus.dips = true }, true},
		{"silent", "cannot read its setting", func(s *supplied) { s.bus.from, s.bus.to = s.b.Now(), math.MaxInt64 }, false},
	} {
		s := openSupplied(t, 400_000, bench.Opts{})
		s.record(500 * time.Millisecond)
		c.spoil(s)
		began := s.b.Now()
		err := s.b.Record(context.Background(), s.c, began.Add(10*time.Second))
		if !errors.Is(err, bench.ErrLost) || errors.Is(err, mcp4725.ErrReset) != c.reset || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
		if took := s.b.Now().Sub(began); took > 2*time.Second {
			t.Errorf("%s: given up after %v", c.name, took)
		}
		if n := s.b.Counts(); (n.ChipResets > 0) != c.reset || (n.BusErrors > 0) == c.reset || n.MissedConversions > 0 {
			t.Errorf("%s: %+v", c.name, n)
		}
		if u := s.c.Unsupplied; (len(u) == 1 && u[0].To == s.c.End) != c.reset {
			t.Errorf("%s: unsupplied %v, ended at %d", c.name, u, s.c.End)
		}
	}
}

// One look that finds something else is looked at again: a bit has been lost on the way.
func TestSupply_OneLookGoesWrong(t *testing.T) {
	s := openSupplied(t, 400_000, bench.Opts{})
	s.record(500 * time.Millisecond)
	s.bus.flips = 1
	looks, writes := s.bus.looks, len(s.bus.codes)
	s.record(500 * time.Millisecond)
	if n := s.b.Counts(); n != (capture.Counts{}) || len(s.c.Unsupplied) > 0 || s.bus.flips > 0 || len(s.bus.codes) != writes {
		t.Errorf("%+v, unsupplied %v, %d writes", n, s.c.Unsupplied, len(s.bus.codes)-writes)
	}
	if n := s.bus.looks - looks; n < 2 {
		t.Errorf("looked at %d times", n)
	}
}

// Of a supply that stands for long its setting is looked at once a second, which costs a
// converter that is followed at its full rate nothing, on a slow bus either.
func TestSupply_LooksMissNothing(t *testing.T) {
	for _, hz := range []int{400_000, 100_000} {
		s := openSupplied(t, hz, bench.Opts{})
		s.record(100 * time.Millisecond)
		began, samples, looks := s.b.Now(), s.c.Trace("COIL").Len(), s.bus.looks
		s.record(time.Minute)
		if n := s.b.Counts(); n != (capture.Counts{}) {
			t.Errorf("%s: %+v, want nothing counted", kiloHertz(hz), n)
		}
		period := 1e9 / 860 * (1 + s.w.Truth().Chips[0].Oscillator)
		if got, want := s.c.Trace("COIL").Len()-samples, float64(s.b.Now().Sub(began))/period; math.Abs(float64(got)-want) > 1.5 {
			t.Errorf("%s: %d samples, the chip made %.1f conversions", kiloHertz(hz), got, want)
		}
		if n := s.bus.looks - looks; n < 60 || n > 62 {
			t.Errorf("%s: looked at %d times in 60 s", kiloHertz(hz), n)
		}
	}
}
