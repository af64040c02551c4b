package tracefile

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
)

// Format is how a trace stands in a file.
type Format uint8

// The formats. Found is the zero value and means: by what the file begins with.
const (
	Found Format = iota
	CSV
	JSONLines
	Parquet
)

// String returns "csv", "jsonl" or "parquet", which is also the usual ending of the name.
func (f Format) String() string {
	switch f {
	case CSV:
		return "csv"
	case JSONLines:
		return "jsonl"
	case Parquet:
		return "parquet"
	}
	return "found"
}

// ParseFormat reads the name of a format.
func ParseFormat(text string) (Format, error) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "csv":
		return CSV, nil
	case "jsonl", "json-lines", "jsonlines", "ndjson":
		return JSONLines, nil
	case "parquet":
		return Parquet, nil
	}
	return Found, fmt.Errorf("format %q is not known: write csv, jsonl or parquet", text)
}

// FormatOf returns the format that a file's name ends in, Found when it ends
// in none of them.
func FormatOf(name string) Format {
	f, err := ParseFormat(strings.TrimPrefix(filepath.Ext(name), "."))
	if err != nil {
		return Found
	}
	return f
}

// A Fault is what is wrong with a file, where, and what to do about it.
type Fault struct {
	File string // "" when it has no name
	Line int    // from 1; 0 when it is not about a line
	Row  bool   // the file has rows and no lines
	Says string
	// Table is what the text looked like, where somebody may say which of its
	// columns is what; nil where that would not help.
	Table *Table
}

// Error prints "trace.csv, line 7: ...".
func (f *Fault) Error() string {
	where := f.File
	if f.Line > 0 {
		if where != "" {
			where += ", "
		}
		where += f.word() + fmt.Sprintf(" %d", f.Line)
	}
	if where == "" {
		return f.Says
	}
	return where + ": " + f.Says
}

func (f *Fault) word() string {
	if f.Row {
		return "row"
	}
	return "line"
}

// sniff looks at the beginning of a file, without its byte order mark, and
// says which format it is, or why it is none.
func sniff(b []byte) (Format, string) {
	switch {
	case bytes.HasPrefix(b, magic):
		return Parquet, ""
	case bytes.HasPrefix(b, []byte{0xff, 0xfe}), bytes.HasPrefix(b, []byte{0xfe, 0xff}), alternateNUL(b):
		return 0, "the text is UTF-16; save it as UTF-8 (spreadsheets call it \"CSV UTF-8\")"
	case bytes.HasPrefix(b, []byte{0x1f, 0x8b}), bytes.HasPrefix(b, []byte("PK\x03\x04")), bytes.HasPrefix(b, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		return 0, "the file is packed (or a spreadsheet's own format); unpack it, or save it as CSV"
	}
	for _, c := range b {
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' {
			return 0, "the file is not text; give a trace as CSV (t_s,lift_mm), JSON lines or Parquet"
		}
	}
	text := bytes.TrimLeft(b, " \t\r\n")
	switch {
	case len(text) == 0:
		return 0, "the file is empty; a trace begins with the row t_s,lift_mm"
	case text[0] == '{':
		return JSONLines, ""
	case text[0] == '[':
		return 0, `the file is one JSON array; write one object a line, as in {"t_s":0.01,"lift_mm":1.27}`
	}
	return CSV, ""
}

// alternateNUL finds UTF-16 without a mark: Latin text in it has a zero as
// every other byte.
func alternateNUL(b []byte) bool {
	b = b[:min(len(b), 64)&^1]
	var even, odd int
	for i, c := range b {
		if c == 0 && i%2 == 0 {
			even++
		} else if c == 0 {
			odd++
		}
	}
	half := len(b) / 2
	return half >= 4 && (even > half*3/4 && odd == 0 || odd > half*3/4 && even == 0)
}
