package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// rigNames completes built-in rigs and files.
func (a *app) rigNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	for _, r := range rigfile.Builtin() {
		x.add(r.Name, r.About)
	}
	directive := x.addFiles(yamlEndings)
	return x.all, directive
}

// rigTyped is the rig that was named so far, or the simulated bench.
func (a *app) rigTyped() *wiring.Rig {
	if a.rig == "" {
		return rigfile.Builtin()[0]
	}
	r, err := rigfile.Load(a.ctx, a.rig)
	if err != nil {
		return &wiring.Rig{}
	}
	return r
}

// unitNames completes the units of the rig, one after the other.
func (a *app) unitNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	before := typed[:strings.LastIndex(typed, ",")+1]
	for _, name := range a.rigTyped().UnitNames() {
		x.add(before+name, "")
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp
}

// outputNames completes outputs of the rig.
func (a *app) outputNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	for _, o := range a.rigTyped().Outputs {
		x.add(o.Name, "")
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp
}

// loopBacks completes DRIVE,LINE[,OUTPUT], one part after the other.
func (a *app) loopBacks(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	r, x := a.rigTyped(), choices{typed: typed}
	before, directive := typed[:strings.LastIndex(typed, ",")+1], cobra.ShellCompDirectiveNoFileComp
	switch strings.Count(before, ",") {
	case 0:
		for _, d := range r.Drives {
			x.add(d.Name+",", "")
		}
		directive |= cobra.ShellCompDirectiveNoSpace
	case 1:
		for _, l := range append(slices.Clone(r.Contacts), r.References...) {
			x.add(before+l.Name, "")
		}
	case 2:
		for _, o := range r.Outputs {
			x.add(before+o.Name, "")
		}
	}
	return x.all, directive
}

// faultNames completes the name of a fault, behind it an output that is its value, and
// behind the @ its place.
func (a *app) faultNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	before, _, placed := strings.Cut(typed, "@")
	name, _, valued := strings.Cut(before, "=")
	for _, f := range sim.Faults() {
		switch {
		case !valued && !placed:
			x.add(f.Name, f.About)
		case f.Name != name:
		case placed:
			for _, p := range a.faultPlaces(f.Place) {
				x.add(before+"@"+p, "")
			}
		case f.Value == sim.OutputName:
			for _, p := range a.faultPlaces(sim.AtOutput) {
				x.add(name+"="+p, "")
			}
		}
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp
}

// faultPlaces are the places of a kind that the rig has.
func (a *app) faultPlaces(kind sim.FaultPlace) (names []string) {
	r := a.rigTyped()
	for i := range r.Units {
		for _, name := range placesOf(r.For(&r.Units[i]), kind) {
			names = append(names, wiring.Place(r.Units[i].Name, name))
		}
	}
	if len(r.Units) > 0 {
		return names
	}
	return placesOf(r, kind)
}

func placesOf(r *wiring.Rig, kind sim.FaultPlace) (names []string) {
	switch kind {
	case sim.AtOutput:
		for _, o := range r.Outputs {
			names = append(names, o.Name)
		}
	case sim.AtRelay:
		for _, k := range sim.DefaultRelays(r, nil) {
			names = append(names, k.Name)
		}
	}
	return names
}
