// Package yamlfile reads the project's YAML files strictly: an unknown key, a
// key given twice, a bare number where a quantity is due, or any device of YAML
// that these files have no use for (anchors, aliases, tags, merge keys, several
// documents, tabs) is refused. Every error says where, what was read and what
// to do about it, and all errors of a file are reported at once.
//
// The text is taken apart by a YAML parser, turned into a small tree of our own
// and from there read by hand, so that no message depends on reflection.
package yamlfile
