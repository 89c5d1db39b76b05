package progress

import (
	"fmt"
	"io"
	"time"

	"github.com/schollz/progressbar/v3"

	"makebreak/rig/words"
)

// bar is a bar that has so many steps.
func bar(w io.Writer, steps int64, about string) *progressbar.ProgressBar {
	return progressbar.NewOptions64(steps,
		progressbar.OptionSetWriter(w),
		progressbar.OptionSetDescription(words.Safe(about)),
		progressbar.OptionSetWidth(barWidth),
		progressbar.OptionSetElapsedTime(false),
		progressbar.OptionSetPredictTime(false),
		progressbar.OptionSetTheme(progressbar.Theme{Saucer: "━", SaucerHead: "━", SaucerPadding: "·", BarStart: " ", BarEnd: " "}),
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionClearOnFinish(),
	)
}

// A Bar is the progress of work that is no run. The zero value draws nothing.
type Bar struct {
	Terminal io.Writer // nil: nothing is drawn

	bar *progressbar.ProgressBar // nil: nothing was drawn yet
}

// To draws that so much of all is done, with words of what it is.
func (b *Bar) To(done, all int64, about string) {
	if b.Terminal == nil || all <= 0 {
		return
	}
	if b.bar == nil {
		b.bar = bar(b.Terminal, all, about)
	}
	b.bar.Describe(fmt.Sprintf("%-*s", statusWidth, words.Short(about, statusWidth)))
	_ = b.bar.Set64(min(done, all)) // a bar that cannot be drawn is no loss
}

// End takes the bar away.
func (b *Bar) End() {
	if b.bar != nil {
		_ = b.bar.Finish()
	}
}
