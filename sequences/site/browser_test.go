package site

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"makebreak/rig/web"
	axe "makebreak/testdata/axe-core"
	"makebreak/testdata/browser"
)

// Each page stands on a phone and, dark, on a desk, and can be read with a screen reader, and the search is
// typed and sent without a script as with one.
func TestPages_Browser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	log := oldLog(t)
	s := newSite(t, Opts{Log: log, Program: "test", Now: shown{"13.04 V"}})
	server, err := web.Serve(web.Opts{Address: "localhost:0", Failed: func(err error) { t.Error(err) }}, s)
	if err != nil {
		t.Fatal(err)
	}
	defer server.Close()
	ctx, end := browser.At(t, server.URL("/"))
	defer end()
	plain := browser.View{Name: "without scripts", Media: "screen", Scheme: "light", Width: 1180, Plain: true}
	for _, v := range []browser.View{plain, browser.Views[0], browser.Views[3]} {
		if err := v.Set(ctx); err != nil {
			t.Fatal(err)
		}
		for name, address := range map[string]string{"first": "/", "search": "/?verdict=fail&from=2026-02-30&unit=R", "none": "/?unit=nothing", "lost": "/nowhere", "record": "/runs/last", "unit": historyAt(runsIn(t, log)[0].Unit)} {
			if err := chromedp.Do(ctx, chromedp.Navigate(server.URL(address))); err != nil {
				t.Fatal(err)
			}
			lookAt(ctx, t, name, v)
		}
	}
	for _, v := range []browser.View{plain, browser.Views[2]} {
		if err := v.Set(ctx); err != nil {
			t.Fatal(err)
		}
		if err := chromedp.Do(ctx, chromedp.Navigate(server.URL("/")), chromedp.SendKeys(`input[name="unit"]`, "nothing\n"), chromedp.WaitVisible(`a[href="/#log"]`)); err != nil {
			t.Fatalf("%s: %v", v.Name, err)
		}
		text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("location.search + document.body.innerText"))
		if err != nil || !strings.Contains(text, "unit=nothing") || !strings.Contains(text, "The log has no such runs.") || !strings.Contains(text, "13.04 V") {
			t.Errorf("%s: the search came to %v, %s", v.Name, err, text)
		}
	}
	walkExercise(ctx, t)
}

// walkExercise does an exercise in a browser with a mouse, and without scripts by the keyboard
// alone. Points of the drawing are chosen by the keyboard.
func walkExercise(ctx context.Context, t *testing.T) {
	t.Helper()
	s, _ := classroom(t)
	server, err := web.Serve(web.Opts{Address: "localhost:0", Acts: s.Acts, Failed: func(err error) { t.Error(err) }}, s)
	if err != nil {
		t.Fatal(err)
	}
	defer server.Close()
	plain := browser.View{Name: "phone without scripts", Media: "screen", Scheme: "light", Width: 390, Plain: true}
	for _, v := range []browser.View{browser.Views[2], browser.Views[1], plain} {
		if err := v.Set(ctx); err != nil {
			t.Fatal(err)
		}
		look := func(name string) { lookAt(ctx, t, "exercise-"+name, v) }
		do := func(what string, actions ...chromedp.Action[chromedp.Void]) {
			t.Helper()
			if err := chromedp.Do(ctx, actions...); err != nil {
				at, _ := chromedp.Run(context.WithoutCancel(ctx), chromedp.Evaluate[string]("location.href"))
				t.Fatalf("%s, %s, at %s: %v", v.Name, what, at, err)
			}
		}
		do("begin", chromedp.Navigate(server.URL("/exercises")), chromedp.WaitVisible(`input[name="name"]`))
		look("list")
		do("begin", chromedp.SendKeys(`input[name="name"]`, "Ada Fitter"), chromedp.SendKeys(`input[name="word"]`, "bench\n"), chromedp.WaitVisible(`form[action$="/card"]`))
		look("begun")
		do("read the card", press(v, `form[action$="/card"] button`), chromedp.WaitVisible("#wiring svg"))
		do("run", press(v, `form[action$="/try"] button`), chromedp.WaitVisible(`#seen a[href^="/runs/"]`))
		do("look", chromedp.SetValue(`form[action$="/look"] select`, "arm-away"), press(v, `form[action$="/look"] button`), chromedp.WaitVisible("#seen .readings"))
		look("bench")
		do("choose the red lead", chromedp.SendKeys(`#wiring a[aria-label^="Hold the red lead to panel.OUT3:"]`, "\r"), chromedp.WaitVisible(`#wiring a[aria-label^="Hold the black lead"]`))
		do("choose the black lead", chromedp.SendKeys(`#wiring a[aria-label^="Hold the black lead to panel.0V:"]`, "\r"), chromedp.WaitVisible("#measure"))
		look("leads")
		do("answer", chromedp.SetValue(`form[action$="/answer"] select[name="first"]`, "nothing"), press(v, `form[action$="/answer"] button`), chromedp.WaitVisible(".marks"))
		look("marks")
	}
}

// press presses a button: with the mouse, or without scripts by the keyboard.
func press(v browser.View, what string) chromedp.Action[chromedp.Void] {
	if v.Plain {
		return chromedp.SendKeys(what, "\r")
	}
	return chromedp.Click(what)
}

// lookAt looks at a page: nothing is wider than it, and a screen reader can read it.
func lookAt(ctx context.Context, t *testing.T, name string, v browser.View) {
	t.Helper()
	out, err := browser.Wider(ctx)
	if err != nil || out != "" {
		t.Errorf("%s, %s, wider than the page: %v %s", name, v.Name, err, out)
	}
	photograph(ctx, t, name+"-"+strings.ReplaceAll(v.Name, " ", "-"))
	if v.Plain { // axe-core is a script
		return
	}
	barriers, err := axe.Check(ctx)
	if err != nil {
		t.Fatalf("%s, %s: %v", name, v.Name, err)
	}
	for _, b := range barriers {
		t.Errorf("%s, %s: %s", name, v.Name, b)
	}
}

// photograph keeps a picture of the page for a person to look at, in the folder that
// MAKEBREAK_PICTURES names.
func photograph(ctx context.Context, t *testing.T, name string) {
	t.Helper()
	dir := os.Getenv("MAKEBREAK_PICTURES")
	if dir == "" {
		return
	}
	picture, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), picture, 0o644)
	}
	if err != nil {
		t.Error(err)
	}
}
