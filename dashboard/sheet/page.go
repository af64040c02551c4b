package sheet

import (
	_ "embed"
	"fmt"
	"io"
)

//go:embed sheet.html
var pageText string

//go:embed sheet.css
var styleText string

// Write writes the sheet as one HTML file.
func Write(w io.Writer, d Data) error {
	v, err := d.view()
	if err != nil {
		return fmt.Errorf("making the build sheet of %q: %w", d.Engine.ID, err)
	}
	if err := fill(w, pageText, v); err != nil {
		return fmt.Errorf("writing the build sheet of %q: %w", d.Engine.ID, err)
	}
	return nil
}
