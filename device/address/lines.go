package address

import (
	"errors"
	"slices"
	"strconv"
	"strings"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// setUnit takes a unit of length, or one of angle.
func setUnit(a *Address, v string) (err error) {
	if u, ok := lines.ParseAngleUnit(v); ok {
		a.AngleUnit = u
		return nil
	}
	a.Unit, err = measure.ParseUnit(v)
	return err
}

func setColumn(a *Address, v string) error {
	if v = strings.TrimSpace(v); v == "" || len(v) > 60 {
		return errors.New("neither a number nor a name")
	}
	if n, err := strconv.Atoi(v); err == nil && (n < 1 || n > 16) {
		return errors.New("out of range: from 1 to 16")
	}
	a.Column = v
	return nil
}

// separators are the words for what parts columns, and the bytes themselves.
const separatorBytes = ",;\t |:/"

var separatorNames = [...]string{"comma", "semicolon", "tab", "blank", "bar", "colon", "slash"}

func setSeparator(a *Address, v string) error {
	if len(v) == 1 && strings.IndexByte(separatorBytes, v[0]) >= 0 {
		a.Separator = v[0]
		return nil
	}
	w, err := oneOf(v, separatorNames[:]...)
	if err == nil {
		a.Separator = separatorBytes[slices.Index(separatorNames[:], w)]
	}
	return err
}

func separatorText(b byte) string {
	if b == 0 {
		return ""
	}
	return separatorNames[strings.IndexByte(separatorBytes, b)]
}
