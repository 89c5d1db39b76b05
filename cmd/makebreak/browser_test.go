package main

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	axe "makebreak/testdata/axe-core"
	"makebreak/testdata/browser"
	"makebreak/testdata/few"
)

// sight is what a browser shows of a page in a view.
type sight struct {
	Width, Wanted float64  // of the window, and of what is in it
	Out           []string // what sticks out of the page, or of its cell
	Faint         []faint
	Title, Lang   string
	Headings      []int
	Nameless      []string // pictures and boxes without a name, columns without a scope
	Tables        []shownTable
	Text          string
	Barriers      []axe.Violation `json:"-"`
}

// faint is a text with its colours, each as red, green and blue from 0 to 255.
type faint struct {
	Text         string
	Colour, Back []float64
}

type shownTable struct {
	Name string
	Rows [][]string // of the body, as they can be read
}

// seen is all that a browser tells of a page.
type seen struct {
	sights   map[string]*sight
	troubles []string // on the console, or asked for from elsewhere
}

// lookAround works in the page: it opens what is folded and says what can be seen.
const lookAround = `(() => {
	document.querySelectorAll('details').forEach(d => d.open = true);
	const rgb = c => (c.match(/[\d.]+/g) || []).map(Number);
	const clear = c => c.length == 4 && c[3] == 0;
	const say = e => e.tagName.toLowerCase() + ' ' + e.textContent.trim().slice(0, 60);
	const s = {Out: [], Faint: [], Nameless: [], Tables: [], Title: document.title, Lang: document.documentElement.lang};
	s.Width = document.documentElement.clientWidth;
	s.Wanted = Math.max(document.documentElement.scrollWidth, document.body.scrollWidth);
	// What an element stands in is asked for once, by its parent: there are thousands of cells.
	const once = f => { const known = new Map(); const ask = e => { if (!known.has(e)) known.set(e, f(e, ask)); return known.get(e); }; return ask; };
	const scrolled = once((e, of) => !!e && (['auto', 'scroll'].includes(getComputedStyle(e).overflowX) || of(e.parentElement)));
	const ground = once((e, of) => { const c = rgb(getComputedStyle(e).backgroundColor); return clear(c) ? of(e.parentElement) : c; });
	for (const e of document.body.querySelectorAll('*')) {
		const r = e.getBoundingClientRect();
		if (!scrolled(e.parentElement) && r.width > 0 && (r.right > s.Width + 1 || r.left < -1)) s.Out.push(say(e));
		if (['TD', 'TH', 'P', 'LI', 'DD', 'DT'].includes(e.tagName) && e.scrollWidth > e.clientWidth + 1) s.Out.push('beyond its room: ' + say(e));
	}
	for (let w = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), n; n = w.nextNode();) {
		if (!n.textContent.trim()) continue;
		const e = n.parentElement, drawn = e.closest('svg');
		if (['title', 'desc'].includes(e.tagName)) continue; // of a drawing, not shown
		const c = getComputedStyle(e);
		s.Faint.push({Text: n.textContent.trim().slice(0, 60), Colour: rgb(drawn ? c.fill : c.color).slice(0, 3), Back: ground(e).slice(0, 3)});
	}
	s.Headings = [...document.querySelectorAll('h1,h2,h3,h4')].map(h => +h.tagName[1]);
	const named = e => e.getAttribute('aria-label') || e.querySelector(':scope > title')?.textContent;
	for (const e of document.querySelectorAll('svg, [tabindex]')) if (!named(e) || !e.getAttribute('role')) s.Nameless.push(say(e));
	for (const e of document.querySelectorAll('th')) if (!e.scope || !e.textContent.trim()) s.Nameless.push(say(e));
	for (const t of document.querySelectorAll('table')) s.Tables.push({Name: t.parentElement.getAttribute('aria-label') || '',
		Rows: [...t.tBodies[0].rows].map(r => [...r.cells].map(c => c.innerText.trim()))});
	s.Text = document.body.innerText;
	return s;
})()`

// browse opens pages, by the paths of their files, in every view. A browser that does
// not start or does not last is started again and goes on with the pages that are left;
// where none comes any further, the test is left out, since that says nothing about the pages.
func browse(t *testing.T, paths []string) map[string]*seen {
	t.Helper()
	if few.Race {
		t.Skip("looked at without the race detector, which has nothing to find in a browser")
	}
	tool := browser.Find(t)
	all := map[string]*seen{}
	var err error
	for failed := 0; failed < 3; {
		before := len(all)
		if err = browseOn(tool, paths, all); err == nil {
			return all
		}
		if wrong := new(chromedp.ExceptionError); errors.As(err, &wrong) {
			t.Fatalf("looking at the page: %v", err)
		}
		if failed++; len(all) > before {
			failed = 0
		}
		t.Logf("chromium has to be started again: %v", err)
	}
	t.Skipf("NOT CHECKED: chromium does not run here: %v", err)
	return nil
}

// browseOn adds what a browser tells of the pages that are left.
func browseOn(tool string, paths []string, all map[string]*seen) error {
	var heard ear
	ctx, end, err := browser.Open(tool, heard.hear)
	if err != nil {
		return err
	}
	defer end()
	for _, p := range paths[len(all):] {
		heard.start("file://" + p)
		s := &seen{sights: map[string]*sight{}}
		for _, v := range browser.Views {
			if s.sights[v.Name], err = visit(ctx, "file://"+p, v); err != nil {
				return fmt.Errorf("%s, %s: %w", p, v.Name, err)
			}
		}
		s.troubles, all[p] = heard.troubles(), s
	}
	return nil
}

// visit opens a page in one view.
func visit(ctx context.Context, page string, v browser.View) (*sight, error) {
	if err := v.Set(ctx); err != nil {
		return nil, err
	}
	if err := chromedp.Do(ctx, chromedp.Navigate(page)); err != nil {
		return nil, err
	}
	switch v { // others differ by colours alone, of which the contrast is worked out for each
	case browser.Views[0]:
		s, err := chromedp.Run(ctx, chromedp.Evaluate[*sight](lookAround))
		if err != nil {
			return nil, err
		}
		s.Barriers, err = axe.Check(ctx) // with all that was folded
		return s, err
	case browser.Views[3]:
		found, err := axe.Check(ctx) // as it is opened
		if err != nil {
			return nil, err
		}
		s, err := chromedp.Run(ctx, chromedp.Evaluate[*sight](lookAround))
		if err == nil {
			s.Barriers = found
		}
		return s, err
	}
	return chromedp.Run(ctx, chromedp.Evaluate[*sight](lookAround))
}

// ear gathers what a page says on the console and what it asks for.
type ear struct {
	mu    sync.Mutex
	page  string
	asked int // for the page itself
	all   []string
}

func (e *ear) start(page string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.page, e.asked, e.all = page, 0, nil
}

func (e *ear) troubles() []string {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.asked != len(browser.Views) {
		return append(e.all, fmt.Sprintf("the page itself was asked for %d times, not %d", e.asked, len(browser.Views)))
	}
	return e.all
}

func (e *ear) hear(event any) {
	e.mu.Lock()
	defer e.mu.Unlock()
	switch x := event.(type) {
	case *runtime.EventConsoleAPICalled:
		e.all = append(e.all, fmt.Sprintf("console: %s", x.Type))
	case *runtime.EventExceptionThrown:
		e.all = append(e.all, "exception: "+x.ExceptionDetails.Text)
	case *log.EventEntryAdded:
		e.all = append(e.all, "log: "+x.Entry.Text)
	case *network.EventRequestWillBeSent:
		if x.Request.URL == e.page {
			e.asked++
		} else if e.page != "" {
			e.all = append(e.all, "asks for "+x.Request.URL)
		}
	}
}
