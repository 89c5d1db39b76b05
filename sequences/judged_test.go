package sequences

import (
	"os"
	"path/filepath"
	"testing"

	"makebreak/rig/problem"
)

// A limit by which nothing can ever be judged is refused where a sequence is named, with
// its place and what would do. What is in a log is still read.
func TestLoad_Judged(t *testing.T) {
	t.Parallel()
	head := "name: n\nsteps:\n  - {event: on, hold: 1 s}\n  - {supply: {from: 0 V, to: 12 V, over: 4 s}, as: rise, hold: 5 s}\noutputs: {O: {expect: {on: high}, relay: K1}}\n"
	for _, c := range []struct{ name, src, want string }{
		{"all can be", "relays: {K1: {make: K1_NO, break: K1_NC, limits: {operate_time: {max: 9 ms}, release_time: {max: 9 ms}, transfer_time: {min: 0 s}, pull_in_voltage: {max: 9 V}, bounce_time: {max: 5 ms}}}}\n", ""},
		{"transfer of a make contact alone", "relays: {K1: {make: K1_NO, limits: {transfer_time: {min: 0 s}}}}\n",
			"6:28: relays.K1.limits: transfer_time has a limit, but the relay's break contact is not named: add it, for example break: K1_NC, or give K1 limits without it"},
		{"transfer of a break contact alone", "relays: {K1: {break: K1_NC, limits: fast}}\nlimits: {fast: {transfer_time: {min: 0 s}}}\n",
			"6:37: relays.K1.limits: \"fast\": transfer_time has a limit, but the relay's make contact is not named; add it, for example make: K1_NO, or give K1 limits without it"},
		{"release of a make contact alone", "relays: {K1: {make: K1_NO, limits: {release_time: {max: 9 ms}}}}\n",
			"6:28: relays.K1.limits: release_time has a limit, but the relay's break contact is not named: add it, for example break: K1_NC, or give K1 limits without it"},
		{"operation of a break contact alone", "relays: {K1: {break: K1_NC, limits: {operate_time: {max: 9 ms}}}}\n",
			"6:29: relays.K1.limits: operate_time has a limit, but the relay's make contact is not named: add it, for example make: K1_NO, or give K1 limits without it"},
		{"a drop-out voltage and no falling ramp", "relays: {K1: {make: K1_NO, limits: {drop_out_voltage: {min: 1 V}}}}\n",
			"6:28: relays.K1.limits: drop_out_voltage has a limit, but no step lowers the supply slowly: add one, for example {supply: {from: 13.8 V, to: 0 V, over: 14 s}, as: fall, hold: 15 s}, or give K1 limits without it"},
	} {
		file := filepath.Join(t.TempDir(), "f.yaml")
		if err := os.WriteFile(file, []byte(head+c.src), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Load(t.Context(), file)
		got := ""
		if err != nil {
			got = err.Error()[len(file)+1:]
		}
		if got != c.want {
			t.Errorf("%s:\ngot  %s\nwant %s", c.name, got, c.want)
		}
		if err != nil && problem.KindOf(err) != problem.Unknown && problem.KindOf(err) != problem.Input {
			t.Errorf("%s: kind %v", c.name, problem.KindOf(err))
		}
		if _, err := Parse(file, []byte(head+c.src)); err != nil {
			t.Errorf("%s: cannot be read from a log: %v", c.name, err)
		}
	}
}

// A pulse's duration is judged by its expectation; a limit on it would judge nothing.
func TestLoad_PulseDuration(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "f.yaml")
	src := "name: n\nsteps: [{event: on, hold: 5 s}]\noutputs:\n  O: {expect: {on: {pulse: 2 s}}, limits: {pulse_duration: {max: 2100 ms}}}\n"
	if err := os.WriteFile(file, []byte(src), 0o600); err != nil {
		t.Fatal(err)
	}
	want := file + ":4:35: outputs.O.limits: pulse_duration has a limit, but a pulse is judged by what is expected of it: leave it out, and write {pulse: 2 s, within: 10 %} under expect"
	if _, err := Load(t.Context(), file); err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}
