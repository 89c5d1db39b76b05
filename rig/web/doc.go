// Package web serves pages over HTTP from a machine that has more important things to do: it
// samples. So what clients can cost is bounded, whatever they do, and a page of elsewhere in
// a browser reads nothing here. All that is served over HTTP is served by it.
package web
