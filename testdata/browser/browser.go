// Package browser opens the installed Chromium for tests that look at pages.
package browser

import (
	"context"
	"os"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"makebreak/testdata/tool"
)

// Patience bounds one life of the browser, however busy the machine is.
const Patience = 2 * time.Minute

// Find returns the browser's path. Where it is not installed the test is left out, or fails
// where the environment demands all tools.
func Find(t testing.TB) string {
	t.Helper()
	return tool.Find(t, "chromium")
}

// Open starts a browser with an empty profile of its own and returns the context of its
// page, for package chromedp. Listen hears its events; nil: nobody does. The browser ends
// with end, or when Patience is over.
func Open(tool string, listen func(event any)) (ctx context.Context, end func(), err error) {
	home, err := os.MkdirTemp("", "browser")
	if err != nil {
		return nil, nil, err
	}
	within, stop := context.WithTimeout(context.Background(), Patience)
	quiet := func(string, ...any) {} // of events that are newer than this client
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(tool), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(home), chromedp.WSURLReadTimeout(Patience),
		chromedp.Env("HOME="+home, "TMPDIR="+home, "XDG_CONFIG_HOME="+home, "XDG_CACHE_HOME="+home))
	of := []chromedp.ContextOption{chromedp.WithAllocatorOptions(options...), chromedp.WithErrorf(quiet), chromedp.WithLogf(quiet)}
	if listen != nil {
		of = append(of, chromedp.WithListener(listen))
	}
	ctx, shut := chromedp.NewContext(within, of...)
	return ctx, func() {
		shut()
		stop()
		os.RemoveAll(home) // a process of the browser may still write there: what cannot be removed stays
	}, nil
}

// At opens a page in a browser of its own, which ends with end. One that does not start on a
// machine that is busy is started again; where none does, the test is left out.
func At(t testing.TB, address string) (ctx context.Context, end func()) {
	t.Helper()
	tool := Find(t)
	for range 3 {
		ctx, end, err := Open(tool, nil)
		if err != nil {
			t.Fatal(err)
		}
		if err = chromedp.Do(ctx, chromedp.Navigate(address)); err == nil {
			return ctx, end
		}
		end()
		t.Logf("chromium has to be started again: %v", err)
	}
	t.Skip("NOT CHECKED: chromium does not run here")
	return nil, nil
}

// Wider returns what of a page is wider than it, a line each; empty: nothing. What can be
// scrolled by itself may be.
func Wider(ctx context.Context) (string, error) {
	return chromedp.Run(ctx, chromedp.Evaluate[string](wider))
}

const wider = `(() => {
	const out = [], width = document.documentElement.clientWidth;
	const scrolls = e => ['auto', 'scroll'].includes(getComputedStyle(e).overflowX);
	for (const e of document.querySelectorAll('body *')) {
		let box = e;
		while (box && !scrolls(box)) box = box.parentElement;
		const r = e.getBoundingClientRect();
		if (!box && r.width > 0 && r.right > width + 1) out.push(e.tagName + ' ' + e.textContent.trim().slice(0, 60));
	}
	return out.join('\n');
})()`

// View is a way to look at a page.
type View struct {
	Name   string
	Media  string // screen or print
	Scheme string // light or dark
	Width  int64  // of the window, in pixels
	Plain  bool   // without scripts
}

// Views are those in which a page for people must stand.
var Views = []View{
	{Name: "on a phone", Media: "screen", Scheme: "light", Width: 390},
	{Name: "on a phone, dark", Media: "screen", Scheme: "dark", Width: 390},
	{Name: "on a desk", Media: "screen", Scheme: "light", Width: 1280},
	{Name: "on a desk, dark", Media: "screen", Scheme: "dark", Width: 1280},
	{Name: "printed", Media: "print", Scheme: "light", Width: 688}, // A4 less its margins, at 96 dots an inch
}

// Set has the browser show what it opens from now on in the view.
func (v View) Set(ctx context.Context) error {
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(v.Width, 900)); err != nil {
		return err
	}
	as := emulation.SetEmulatedMediaParams{Media: v.Media, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: v.Scheme}}}
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, as); err != nil {
		return err
	}
	_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: v.Plain})
	return err
}
