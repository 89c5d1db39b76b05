// Package rigfile reads rig files, strictly, and the files that stand beside them: how late
// the lines report a drive. What a rig is, and what must hold of it, is package wiring's.
package rigfile
