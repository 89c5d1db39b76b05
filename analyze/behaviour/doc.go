// Package behaviour sets side by side what each output and each relay had to do at each event
// and what it did there. It holds figures; text and page make sentences of them.
package behaviour
