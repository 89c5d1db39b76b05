package yamlfile

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"makebreak/rig/infile"
)

// Limits of what is read. They lie far above any real file and keep a hostile
// one from taking memory, stack or time.
const (
	MaxBytes   = 256 << 10
	maxLines   = 10_000
	maxLine    = 4096 // bytes; also bounds how deep block structure can nest
	maxNesting = 32
	maxTokens  = 30_000 // the parser takes time by the square of a mapping's keys
)

// Doc is one file being read. It collects the errors.
type Doc struct {
	File string
	Root *Node

	errs  []*Error
	lines []string // of the text
}

// ReadFile returns the file's bytes. A file above MaxBytes is an *Error. Waiting for a pipe
// ends with the context, whose error it then is.
func ReadFile(ctx context.Context, path string) ([]byte, error) {
	src, err := infile.Read(ctx, path, MaxBytes)
	if errors.Is(err, infile.ErrTooLong) {
		return nil, tooLarge(path)
	}
	return src, err
}

func tooLarge(file string) *Error {
	return &Error{File: file, Why: "the file is too large", Remedy: fmt.Sprintf("must be at most %d KiB", MaxBytes>>10)}
}

// Parse takes a file's text apart. Its root is a mapping with at least one key. The
// error is one *Error or several joined.
func Parse(file string, src []byte) (*Doc, error) {
	d := &Doc{File: file}
	text, err := d.clean(src)
	if err != nil {
		return nil, err
	}
	d.lines = strings.Split(text, "\n")
	tree, err := d.tree(text)
	if err != nil {
		return nil, err
	}
	if tree == nil {
		return nil, &Error{File: file, Line: 1, Column: 1, Why: "the file is empty", Remedy: "write keys with values, as in name: bench"}
	}
	d.Root = d.convert(tree, "", 0)
	if len(d.errs) > 0 {
		return nil, d.Err()
	}
	if d.Root.kind != mapKind {
		d.Root.Refuse("", "must be keys with values, as in name: bench")
		return nil, d.Err()
	}
	return d, nil
}

// Err returns all errors collected so far, joined in file order.
func (d *Doc) Err() error { return Joined(d.errs) }

// clean refuses what no text file of ours holds and settles line endings.
func (d *Doc) clean(src []byte) (string, error) {
	if len(src) > MaxBytes {
		return "", tooLarge(d.File)
	}
	src = bytes.TrimPrefix(src, []byte("\xef\xbb\xbf")) // byte order mark
	src = bytes.ReplaceAll(src, []byte("\r\n"), []byte("\n"))
	number := 0
	for line := range bytes.Lines(src) {
		number++
		if number > maxLines {
			return "", &Error{File: d.File, Line: number, Column: 1, Why: "the file is too long", Remedy: fmt.Sprintf("must be at most %d lines", maxLines)}
		}
		if len(line) > maxLine {
			return "", &Error{File: d.File, Line: number, Column: maxLine, Why: "the line is too long", Remedy: fmt.Sprintf("must be at most %d bytes", maxLine)}
		}
		if e := d.badCharacter(bytes.TrimSuffix(line, []byte("\n")), number); e != nil {
			return "", e
		}
	}
	return string(src), nil
}

// badCharacter returns the first character of the line that is refused, or nil.
func (d *Doc) badCharacter(line []byte, number int) *Error {
	column := 0
	for len(line) > 0 {
		r, n := utf8.DecodeRune(line)
		column++
		switch {
		case r == utf8.RuneError && n == 1:
			return &Error{File: d.File, Line: number, Column: column, Read: string(line[:1]), Why: "this is not UTF-8 text", Remedy: "save it as UTF-8"}
		case r == '\t':
			return &Error{File: d.File, Line: number, Column: column, Read: "\t", Why: "a tab", Remedy: "use spaces"}
		case r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 || r == 0xfeff:
			return &Error{File: d.File, Line: number, Column: column, Read: string(r), Why: "a control character", Remedy: "use printed text only"}
		}
		line = line[n:]
	}
	return nil
}

// tree runs the YAML parser, which is not trusted: a panic becomes an error.
func (d *Doc) tree(text string) (body ast.Node, err error) {
	defer func() {
		if p := recover(); p != nil {
			body, err = nil, &Error{File: d.File, Line: 1, Column: 1, Why: "the YAML cannot be taken apart", Remedy: "use plain YAML: keys, lists and values"}
		}
	}()
	tokens := lexer.Tokenize(text)
	if e := d.refuseTokens(tokens); e != nil {
		return nil, e
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		return nil, d.syntax(err)
	}
	for _, doc := range file.Docs {
		if doc.Body != nil {
			return doc.Body, nil
		}
	}
	return nil, nil
}

// syntax turns the parser's error into ours.
func (d *Doc) syntax(err error) *Error {
	var placed interface {
		error
		GetToken() *token.Token
		GetMessage() string
	}
	if !errors.As(err, &placed) || placed.GetToken() == nil || placed.GetToken().Position == nil {
		return &Error{File: d.File, Line: 1, Column: 1, Why: "this is not YAML: " + firstLine(err.Error()), Remedy: "use plain YAML: keys, lists and values"}
	}
	tk := placed.GetToken()
	line, column := d.inText(tk.Position)
	return &Error{File: d.File, Line: line, Column: column, Read: strings.TrimSpace(tk.Value),
		Why: "this is not YAML: " + firstLine(placed.GetMessage()), Remedy: "use key: value, - item or {key: value}, and put text with a colon or a # in quotes"}
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(s, "\n")
	return line
}

// refused are the devices of YAML that these files have no use for, and what to write
// instead.
var refused = map[token.Type][2]string{
	token.AnchorType:     {"an anchor", "write the value itself"},
	token.AliasType:      {"an alias", "write the value itself"},
	token.MergeKeyType:   {"a merge key", "write the keys themselves"},
	token.TagType:        {"a tag", "write the value without it"},
	token.DirectiveType:  {"a directive", "leave it out"},
	token.MappingKeyType: {"a key mark", "write key: value"},
}

// refuseTokens looks for refused devices, several documents and deep nesting before
// the parser, which recurses, sees them.
func (d *Doc) refuseTokens(tokens token.Tokens) *Error {
	if len(tokens) > maxTokens {
		return &Error{File: d.File, Why: "the file holds too much", Remedy: fmt.Sprintf("must be at most %d keys, values and marks", maxTokens)}
	}
	nesting, content, ended := 0, false, false
	for _, tk := range tokens {
		at := func(why, remedy string) *Error {
			line, column := d.inText(tk.Position)
			return &Error{File: d.File, Line: line, Column: column, Read: tk.Value, Why: why, Remedy: remedy}
		}
		if what, bad := refused[tk.Type]; bad {
			return at(what[0]+" is not used in these files", what[1])
		}
		switch tk.Type {
		case token.DocumentHeaderType, token.DocumentEndType:
			ended = content
			continue
		case token.CommentType:
			continue
		case token.MappingStartType, token.SequenceStartType:
			nesting++
		case token.MappingEndType, token.SequenceEndType:
			nesting--
		}
		if nesting > maxNesting {
			return at("brackets are nested too deep", fmt.Sprintf("use at most %d levels", maxNesting))
		}
		if ended {
			return at("a second document starts", "write one document a file")
		}
		content = true
	}
	return nil
}
