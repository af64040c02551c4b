package sheet

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
)

//go:embed sheet.html
var pageText string

//go:embed sheet.css
var styleText string

// Write writes the sheet as one HTML file.
func Write(w io.Writer, d Data) error {
	page, err := template.New("sheet").Parse(pageText)
	if err != nil {
		return fmt.Errorf("reading the sheet's template: %w", err)
	}
	v, err := d.view()
	if err != nil {
		return fmt.Errorf("making the build sheet of %q: %w", d.Engine.ID, err)
	}
	if err := page.Execute(w, v); err != nil {
		return fmt.Errorf("writing the build sheet of %q: %w", d.Engine.ID, err)
	}
	return nil
}
