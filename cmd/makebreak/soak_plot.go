package main

import (
	"errors"
	"io"
	"path/filepath"
	"strings"

	"makebreak/analyze/picture"
	"makebreak/rig/outfile"
	"makebreak/rig/words"
	"makebreak/sequences/soak"
)

// drawings are what a picture can be written as, by the ending of its file.
var drawings = map[string]func(*picture.Paper, io.Writer) error{
	".svg": (*picture.Paper).SVG,
	".png": (*picture.Paper).PNG,
}

// drawing finds how a picture is to be written.
func drawing(path string) (func(*picture.Paper, io.Writer) error, error) {
	ending := filepath.Ext(path)
	draw := drawings[strings.ToLower(ending)]
	if draw == nil {
		return nil, badUsage("--plot %s: the file's name must end in .svg or .png", path)
	}
	return draw, nil
}

// canPlot looks, before anything else is done, whether the picture can be written.
func (o *reliabilityOpts) canPlot() error {
	if o.plot == "" {
		return nil
	}
	if _, err := drawing(o.plot); err != nil {
		return err
	}
	if outfile.Special(o.plot) {
		return outfile.Failed(o.plot, errors.New("it is not an ordinary file"))
	}
	return outfile.Check(o.plot)
}

// plotLives draws boards on Weibull paper, where that is asked for.
func (a *app) plotLives(path string, r *soak.LifeResult) error {
	if path == "" {
		return nil
	}
	draw, err := drawing(path)
	if err != nil {
		return err
	}
	paper, err := picture.PaperOf(r.Units, r.Fit)
	if err != nil {
		return badUsage("--plot: %w", err)
	}
	if r.Simulated != "" {
		paper.Words = append(paper.Words, words.Capital(r.Simulated))
	}
	if err := outfile.Write(a.ctx, path, func(w io.Writer) error { return draw(paper, w) }); err != nil {
		return err
	}
	a.note("Probability plot written to %s", path)
	return nil
}
