package formats

import (
	"fmt"
	"io"

	"github.com/BurntSushi/toml"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// Write writes formats as [Read] reads them: a format that was
// found by listening, to keep; or a built-in one, to begin one's own with.
func Write(w io.Writer, formats ...lines.Format) error {
	var file formatFile
	for _, f := range formats {
		file.Format = append(file.Format, fileOf(f))
	}
	e := toml.NewEncoder(w)
	e.Indent = ""
	if err := e.Encode(file); err != nil {
		return fmt.Errorf("write formats: %w", err)
	}
	return nil
}

func fileOf(f lines.Format) fileFormat {
	out := fileFormat{Name: f.Name, Says: f.Says, Separator: text(f.Separator), DecimalComma: f.DecimalComma,
		Start: text(f.Start), End: text(f.End), Poll: f.Poll, Size: f.Size, Skip: f.Skip, Version: f.Version, MaxLine: f.MaxLine, Jump: length(f.Jump)}
	out.Check = f.Check.String()
	for _, w := range f.Words {
		out.Words = append(out.Words, fileWord(w))
	}
	for _, c := range f.Columns {
		column := fileColumn{Role: c.Role.String(), Tags: c.Tags, TagNeeded: c.TagNeeded, Unit: c.Unit.String(),
			UnitBehind: unitRules[c.UnitRule], Decimals: c.Decimals, Whole: c.Whole, Scale: length(c.Scale), Round: c.Round}
		if c.Role == lines.Angle {
			column.Unit = c.Angle.String()
		}
		for _, s := range c.Status {
			column.Status = append(column.Status, fileStatus{Text: s.Text, Says: s.Says, NoReading: s.NoReading, Unit: s.Unit.String(), Index: s.Index})
		}
		out.Column = append(out.Column, column)
	}
	return out
}

// text is a byte as it stands in the file; "" for none.
func text(b byte) string {
	if b == 0 {
		return ""
	}
	return string(rune(b))
}

// length is a length as it stands in the file; "" for none.
func length(l measure.Length) string {
	if l == 0 {
		return ""
	}
	return l.String()
}
