package live_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"makebreak/analyze"
	"makebreak/rig/web"
	"makebreak/sequences/live"
	"makebreak/sequences/site"
	axe "makebreak/testdata/axe-core"
	"makebreak/testdata/browser"
)

// told is a source whose runs a test sets.
type told struct {
	mu     sync.Mutex
	runs   []live.Run
	number uint64
	news   chan struct{}
}

func (s *told) set(runs ...live.Run) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.news != nil {
		close(s.news)
	}
	s.runs, s.news = runs, make(chan struct{})
	s.number++
}

func (s *told) Next(ctx context.Context, since uint64) ([]live.Run, uint64, error) {
	for {
		s.mu.Lock()
		runs, number, news := s.runs, s.number, s.news
		s.mu.Unlock()
		if number > since {
			return runs, number, nil
		}
		select {
		case <-news:
		case <-ctx.Done():
			return nil, 0, ctx.Err()
		}
	}
}

// stateOf is the state of a run on the simulated bench once its cycles are done.
func stateOf(t *testing.T, sequence string, cycles int, soak bool, faults ...string) live.Run {
	t.Helper()
	r := newRun(t, sequence, cycles, true, faults...)
	r.hub.Quicken(time.Millisecond)
	r.beginAs(soak)
	var all sync.WaitGroup
	var last *live.State
	done := make(chan struct{})
	all.Go(func() { // somebody looks, so that the rig is seen
		for since := uint64(0); ; {
			s, number, err := r.hub.Next(t.Context(), since)
			if err != nil {
				return
			}
			if since, last = number, s; s.Done == cycles {
				select {
				case <-done:
					return
				default:
				}
			}
		}
	})
	r.run(t.Context(), t)
	close(done)
	all.Wait()
	return live.Run{State: last, Plan: &r.seq.Plan}
}

// changed is a run in another state.
func changed(r live.Run, change func(*live.State)) live.Run {
	s := *r.State
	s.Outputs = slices.Clone(s.Outputs)
	change(&s)
	r.State = &s
	return r
}

// serve serves the page of a source.
func serve(t *testing.T, s live.Source) *web.Server {
	t.Helper()
	pages, err := site.New(site.Opts{Log: filepath.Join(t.TempDir(), "log.db"), Now: live.NewPage(s), Program: "test", Failed: t.Errorf})
	if err != nil {
		t.Fatal(err)
	}
	server, err := web.Serve(web.Opts{Address: "localhost:0", Failed: func(err error) { t.Error(err) }}, pages)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		server.Close()
		if err := pages.Close(); err != nil {
			t.Error(err)
		}
	})
	return server
}

// until waits until an expression holds in the page.
func until(ctx context.Context, t *testing.T, what, expression string) {
	t.Helper()
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		is, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression))
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if is {
			return
		}
		if time.Since(begun) > browser.Patience/4 {
			text, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
			t.Fatalf("%s: it does not come to that: %s", what, text)
		}
	}
}

// The page stands in every view, is usable by a screen reader and says the same without
// scripts. With them it follows what happens, and says so when it cannot any more.
func TestPage_Browser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	browser.Find(t)
	running := stateOf(t, "armed-high", 2, false, "wrong-address")
	asked := changed(running, func(s *live.State) {
		s.Run, s.RunID, s.Unit = "2026-11-28-lumora.2", "v", "P-2 <b>&"
		s.Step.Waiting, s.Step.Person, s.Counts, s.Verdict = true, "Turn the key to disarm.", [4]int{0, 2, 0, 0}, analyze.Pass
		s.Cautions = []string{"On now: KEY is driven."}
	})
	soak := changed(stateOf(t, "relay-only", 200, true, "slow-release"), func(s *live.State) { s.RunID = "w" })
	ended := changed(running, func(s *live.State) { s.End = &live.End{Verdict: analyze.Fail, Complete: true, At: time.Unix(0, 0)} })
	ended.Record = "/runs/2026-11-28-lumora.1"
	lost := changed(running, func(s *live.State) {
		s.RunID, s.Lost, s.SeenAt = "x", true, time.Unix(0, 0)
		for i := range s.Outputs {
			s.Outputs[i].Fresh = false
		}
	})
	source := &told{}
	source.set(running, asked, soak, ended, lost)
	server := serve(t, source)
	ctx, end := browser.At(t, server.URL("/"))
	defer end()
	text := views(ctx, t, server.URL("/"))
	for _, want := range []string{"fail", "Turn the key to disarm.", "P-2 <b>&", "▼ low", "● closed", "Record of this run", "not been seen since", "On now: KEY is driven."} {
		if !strings.Contains(text, want) {
			t.Errorf("without scripts the page does not say %q", want)
		}
	}
	together(ctx, t, source, server, running)
	follow(ctx, t, source, server, running)
}

// views looks at a page in every view, and returns what it says without scripts.
func views(ctx context.Context, t *testing.T, address string) (text string) {
	t.Helper()
	plain := browser.View{Name: "without scripts", Media: "screen", Scheme: "light", Width: 1180, Plain: true}
	for _, v := range append([]browser.View{plain}, browser.Views...) {
		if err := v.Set(ctx); err != nil {
			t.Fatal(err)
		}
		if err := chromedp.Do(ctx, chromedp.Navigate(address)); err != nil {
			t.Fatal(err)
		}
		out, err := browser.Wider(ctx)
		if err != nil || out != "" {
			t.Errorf("%s, %s, wider than the page: %v %s", address, v.Name, err, out)
		}
		if v.Plain { // axe-core is a script
			if text, err = chromedp.Run(ctx, chromedp.Evaluate[string]("document.querySelector('.now').innerText")); err != nil {
				t.Fatal(err)
			}
			continue
		}
		barriers, err := axe.Check(ctx)
		if err != nil {
			t.Fatalf("%s: %v", v.Name, err)
		}
		for _, b := range barriers {
			t.Errorf("%s, %s: %s", address, v.Name, b)
		}
	}
	return text
}

// together looks at the page of units that are tested at the same time: all of them in lines, and
// each unit's own page one link away. Both follow what happens, each with its own pieces.
func together(ctx context.Context, t *testing.T, source *told, server *web.Server, running live.Run) {
	t.Helper()
	var units []live.Run
	for i, name := range []string{"left", "middle", "right", "last"} {
		units = append(units, changed(running, func(s *live.State) {
			s.RunID, s.Run, s.Position, s.Together, s.Unit = name, fmt.Sprint("2026-11-28-lumora.", i+3), name, "mark", "INV-"+strings.Repeat("4711", 1+i*4)
			switch name {
			case "left":
				s.Verdict, s.Counts, s.Results = analyze.Pass, [4]int{0, 2, 0, 0}, &live.Results{Number: 1, Figures: s.Results.Figures}
			case "right":
				s.End = &live.End{Verdict: analyze.Incomplete, Reason: "the rig is lost: chip C does not answer"}
			case "last":
				s.Verdict, s.Results, s.Done, s.Unit = analyze.NoVerdict, nil, 0, "P <b>&"
			}
		}))
	}
	source.set(units...)
	text := views(ctx, t, server.URL("/"))
	for _, want := range []string{"4 units at the same time", "1 failed", "left INV-4711", "pass so far", "2 of 2 cycles", "Ended: the rig is lost: chip C does not answer", "P <b>&", "OUT3"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page of several units does not say %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "What each output and relay did") {
		t.Error("the page of several units has what is on a unit's own")
	}
	link, err := chromedp.Run(ctx, chromedp.Evaluate[string]("document.querySelectorAll('.units a')[1].href"))
	if err != nil {
		t.Fatal(err)
	}
	text = views(ctx, t, link)
	for _, want := range []string{"middle: unit INV-4711", "What each output and relay did", "All units"} {
		if !strings.Contains(text, want) {
			t.Errorf("a unit's own page does not say %q", want)
		}
	}
	if strings.Contains(text, "P <b>&") {
		t.Error("a unit's own page tells of another")
	}
	now := "document.querySelector('.now').innerText"
	higher := func(name string) []live.Run {
		all := slices.Clone(units)
		for i := range all {
			if all[i].Position == name {
				all[i] = changed(all[i], func(s *live.State) {
					s.Done, s.Outputs = 77, append([]live.Output{{Name: "OUT1", Known: true, Fresh: true, Volts: 11.11, State: "high"}}, s.Outputs[1:]...)
				})
			}
		}
		return all
	}
	source.set(higher("middle")...)
	until(ctx, t, "the unit's own page follows", now+".includes('11.11 V')")
	if err := chromedp.Do(ctx, chromedp.Navigate(server.URL("/"))); err != nil {
		t.Fatal(err)
	}
	source.set(higher("left")...)
	until(ctx, t, "the page of several follows", "[...document.querySelectorAll('.units li')].filter(x => x.innerText.includes('77')).length === 1")
	source.set(units[:3]...)
	until(ctx, t, "a unit has gone", "document.querySelectorAll('.units li').length === 3")
	if err := chromedp.Do(ctx, chromedp.Navigate(server.URL("/")+"?now=nobody")); err != nil {
		t.Fatal(err)
	}
	until(ctx, t, "a unit that is not there", "document.querySelectorAll('.units li').length === 3")
}

// follow looks whether the page follows what happens.
func follow(ctx context.Context, t *testing.T, source *told, server *web.Server, running live.Run) {
	t.Helper()
	if err := (browser.View{Media: "screen", Scheme: "light", Width: 1180}).Set(ctx); err != nil {
		t.Fatal(err)
	}
	source.set(running)
	if err := chromedp.Do(ctx, chromedp.Navigate(server.URL("/"))); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("window.here = true")); err != nil {
		t.Fatal(err)
	}
	text := "document.querySelector('.now').innerText"
	until(ctx, t, "the page", text+".includes('Unit P-1')")
	source.set(changed(running, func(s *live.State) {
		s.Outputs = append([]live.Output{{Name: "OUT1", Known: true, Fresh: true, Volts: 11.11, State: "high"}}, s.Outputs[1:]...)
	}))
	until(ctx, t, "a level that changes", text+".includes('11.11 V') && window.here === true")
	other := changed(running, func(s *live.State) { s.RunID, s.Unit = "v", "P-2" })
	source.set(running, other)
	until(ctx, t, "a run that begins", text+".includes('P-2')")
	source.set(running, changed(other, func(s *live.State) { s.Unit = "P-3" }))
	until(ctx, t, "a run that began and changes", text+".includes('P-3') && window.here === true")
	source.set(changed(running, func(s *live.State) { s.End = &live.End{Verdict: analyze.Fail, Complete: true} }))
	until(ctx, t, "the end", text+".includes('Ended') && !"+text+".includes('P-3')")
	until(ctx, t, "connected", "document.querySelector('.stale').hidden")
	if err := server.Close(); err != nil {
		t.Log(err) // what is still being read is cut off
	}
	until(ctx, t, "the server has gone", "!document.querySelector('.stale').hidden && "+text+".includes('Not connected')")
}
