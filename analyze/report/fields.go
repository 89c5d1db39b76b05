package report

import (
	"bytes"
	"encoding/json"
	"strings"
)

// object is a JSON object by its text: JSON has it as an object, a cell of CSV as a text.
type object string

// MarshalJSON writes the object as it is.
func (o object) MarshalJSON() ([]byte, error) { return []byte(o), nil }

// cell is the object as a cell of CSV. What follows a semicolon there may be taken for a
// formula, so JSON's own way of writing one stands in its place.
func (o object) cell() string { return strings.ReplaceAll(string(o), ";", `\u003b`) }

// FieldCell is FieldObject as a cell of CSV.
func FieldCell(fields []Field) string { return object(FieldObject(fields)).cell() }

// FieldObject is what a workshop notes with a run as a JSON object of texts, in its order;
// empty where there is nothing.
func FieldObject(fields []Field) string {
	if len(fields) == 0 {
		return ""
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	put := func(s string) {
		_ = e.Encode(plainText(s)) // a text in memory
		b.Truncate(b.Len() - 1)    // the line feed
	}
	b.WriteByte('{')
	for i, f := range fields {
		if i > 0 {
			b.WriteByte(',')
		}
		put(f.Name)
		b.WriteByte(':')
		put(f.Value)
	}
	b.WriteByte('}')
	return b.String()
}

func objectOrNil(text string) *object {
	if text == "" {
		return nil
	}
	return (*object)(&text)
}
