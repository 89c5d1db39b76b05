package yamlfile

import (
	"fmt"
	"strconv"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// convert turns the parser's tree into ours. Whatever is not a mapping, a list
// or a plain value is refused.
func (d *Doc) convert(tree ast.Node, path string, depth int) *Node {
	n := &Node{doc: d, path: path, Line: 1, Column: 1}
	if tree == nil {
		return n // nothing was written
	}
	n.place(tree.GetToken())
	if depth > maxNesting {
		n.Refuse("values are nested too deep", fmt.Sprintf("use at most %d levels", maxNesting))
		return n
	}
	switch x := tree.(type) {
	case *ast.MappingNode:
		n.kind = mapKind
		if !x.IsFlowStyle && len(x.Values) > 0 {
			n.place(x.Values[0].Key.GetToken())
		}
		for _, v := range x.Values {
			n.entry(v, depth)
		}
	case *ast.MappingValueNode:
		n.kind = mapKind
		n.place(x.Key.GetToken())
		n.entry(x, depth)
	case *ast.SequenceNode:
		n.kind = listKind
		for i, v := range x.Values {
			n.items = append(n.items, d.convert(v, path+"["+strconv.Itoa(i)+"]", depth+1))
		}
	case *ast.NullNode:
		if tk := tree.GetToken(); tk.Type == token.NullType {
			n.text = tk.Value
		}
	case *ast.LiteralNode:
		n.kind = textKind
		if x.Value != nil {
			n.text = x.Value.Value
		}
	case *ast.StringNode:
		n.kind, n.text = textKind, x.Value
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		n.kind, n.text = textKind, tree.GetToken().Value
	default:
		n.Refuse("", "must be a plain value, a list or keys with values")
	}
	return n
}

// entry adds one key and its value to a mapping; a key given twice is refused.
func (n *Node) entry(v *ast.MappingValueNode, depth int) {
	var key string
	switch k := v.Key.(type) {
	case *ast.StringNode:
		key = k.Value
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.NullNode:
		key = k.GetToken().Value
	default:
		bad := &Node{doc: n.doc, path: n.path}
		bad.place(v.Key.GetToken())
		bad.fail(v.Key.GetToken().Value, "this is not a plain key", "use a plain word")
		return
	}
	e := &Node{doc: n.doc, path: join(n.path, key), kind: textKind, text: key}
	e.place(v.Key.GetToken())
	for _, have := range n.entries {
		if have.Key.text == key {
			e.fail("", fmt.Sprintf("key %q is given twice, first on line %d", key, have.Key.Line), "give it once")
			return
		}
	}
	value := n.doc.convert(v.Value, e.path, depth+1)
	if value.kind == nullKind && value.text == "" {
		value.Line, value.Column = e.Line, e.Column
	}
	n.entries = append(n.entries, Entry{Key: e, Value: value})
}

func (n *Node) place(tk *token.Token) {
	if tk == nil || tk.Position == nil {
		return
	}
	n.Line, n.Column = n.doc.inText(tk.Position)
}

// inText keeps the parser's places within the text: at times they lie a little
// beyond a line's end, or before its start.
func (d *Doc) inText(p *token.Position) (line, column int) {
	line = min(max(p.Line, 1), len(d.lines))
	return line, min(max(p.Column, 1), utf8.RuneCountInString(d.lines[line-1])+1)
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
