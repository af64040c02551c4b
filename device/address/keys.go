package address

import (
	"errors"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"lobescribe/device/measure"
	"lobescribe/device/nearest"
)

// Key describes one key that may stand after the question mark.
type Key struct {
	Name    string
	Says    string // what it is, in a few words
	Allowed string // what may be written
}

// readKey is a Key with its meaning.
type readKey struct {
	Key
	set func(a *Address, value string) error
	get func(a Address) string // "" when it stands at its default
}

// Keys lists the keys that an address may carry, for a help text.
func Keys() []Key {
	var out []Key
	for _, k := range keys() {
		out = append(out, k.Key)
	}
	return out
}

func keys() []readKey {
	one := func(name, says, allowed string, set func(*Address, string) error, get func(Address) string) readKey {
		return readKey{Key{name, says, allowed}, set, get}
	}
	return []readKey{
		one("baud", "speed of the line", "a whole number from 50 to 4000000, as in 9600",
			func(a *Address, v string) (err error) { a.Baud, err = wholeIn(v, 50, 4_000_000); return },
			func(a Address) string { return wholeText(a.Baud) }),
		one("bits", "data bits", "5, 6, 7 or 8",
			func(a *Address, v string) (err error) { a.Bits, err = wholeIn(v, 5, 8); return },
			func(a Address) string { return wholeText(a.Bits) }),
		one("parity", "parity", "none, even, odd, mark or space (or N E O M S)",
			setParity, func(a Address) string { return parityText(a.Parity) }),
		one("stop", "stop bits", "1, 1.5 or 2",
			func(a *Address, v string) (err error) { a.Stop, err = oneOf(v, "1", "1.5", "2"); return },
			func(a Address) string { return a.Stop }),
		one("dtr", "the DTR line", "on or off (default: as the system sets it)",
			func(a *Address, v string) (err error) { a.DTR, err = parseLevel(v); return },
			func(a Address) string { return a.DTR.String() }),
		one("rts", "the RTS line", "on or off (default: as the system sets it)",
			func(a *Address, v string) (err error) { a.RTS, err = parseLevel(v); return },
			func(a Address) string { return a.RTS.String() }),
		one("format", "how the device writes a reading", "auto, none, or the name of a format",
			func(a *Address, v string) error {
				a.Format = strings.ToLower(v)
				if a.Format == "auto" {
					a.Format = ""
				}
				return nil
			},
			func(a Address) string { return a.Format }),
		one("unit", "unit of numbers without one", "mm, in, thou, µm, cm or m; of an encoder's angle deg, rad or turn",
			setUnit, func(a Address) string { return a.Unit.String() + a.AngleUnit.String() }),
		one("scale", "length of one count", "a length, as in 0.001mm or 0.0005in",
			func(a *Address, v string) (err error) {
				a.Scale, err = measure.ParseLength(v)
				if err == nil && a.Scale <= 0 {
					err = errors.New("it must be more than nothing")
				}
				return
			},
			func(a Address) string {
				if a.Scale == 0 {
					return ""
				}
				return strings.ReplaceAll(a.Scale.String(), " ", "")
			}),
		one("column", "which column of the lines to take", "its number, counted from 1 among those with numbers, or its name",
			setColumn, func(a Address) string { return a.Column }),
		one("separator", "what parts the columns of the lines", "comma, semicolon, tab, blank, bar, colon or slash",
			setSeparator, func(a Address) string { return separatorText(a.Separator) }),
		one("poll", "what to write to ask for a reading", `text; \r and \n stand for the ends of a line`,
			func(a *Address, v string) (err error) { a.Poll, err = unescapePoll(v); return },
			func(a Address) string { return strings.ReplaceAll(a.Poll, `\`, `\\`) }),
		one("rate", "readings a second to ask for, or to expect", "a number from 0.1 to 5000",
			func(a *Address, v string) (err error) { a.Rate, err = numberIn(v, 0.1, 5000); return },
			func(a Address) string { return numberText(a.Rate) }),
		one("delay", "how long before its arrival a reading was measured", "a time up to 10 s, as in 16ms",
			setDelay, func(a Address) string { return delayText(a.Delay) }),
		one("invert", "turn the sign of the lift", "yes or no",
			func(a *Address, v string) (err error) { a.Invert, err = parseYesNo(v); return },
			func(a Address) string {
				if a.Invert {
					return "yes"
				}
				return ""
			}),
		one("pedal", "foot switch on a line of the port: a press is a mark", "cts or dsr",
			func(a *Address, v string) (err error) { a.Pedal, err = oneOf(v, "cts", "dsr"); return },
			func(a Address) string { return a.Pedal }),
		// Kept for the formats of encoders and bus devices, which read them
		// by Address.Value; only their spelling is checked here.
		more("counts", "encoder: counts a turn of what it sits on", "a whole number, as in 2400", whole),
		more("on", "encoder: what it sits on", "crank or cam", choice("crank", "cam")),
		more("offset", "encoder: crank angle where it says zero", "degrees, as in -12.5", angle),
		more("wrap", "encoder: where its printed angle starts again", "360 or 720", choice("360", "720")),
		more("reverse", "encoder: it counts down as the engine turns", "yes or no", choice("yes", "no")),
		more("index", "encoder: a letter I or Z behind its counts is the index", "yes or no", choice("yes", "no")),
		more("slave", "bus: address of the device", "a whole number from 1 to 247", wholeFrom(1, 247)),
		more("register", "bus: first register, counted from 0", "a whole number from 0 to 65535", wholeFrom(0, 65535)),
		more("table", "bus: which registers", "holding or input", choice("holding", "input")),
		more("type", "bus: how the number is stored", "int16, uint16, int32, uint32 or float32", choice("int16", "uint16", "int32", "uint32", "float32")),
		more("order", "bus: order of the bytes of a long number", "abcd, cdab, badc or dcba; high (word first) or low", choice("abcd", "cdab", "badc", "dcba", "high", "low")),
		more("role", "what the number is; a port of angle or counts never gives a lift", "lift, angle or counts", choice("lift", "angle", "counts")),
		more("step", "bus: angle of one, where it is an angle", "degrees, as in 0.01", angle),
	}
}

func (a *Address) setKeys(query string) error {
	if query == "" {
		return nil
	}
	keys := keys()
	names := make([]string, len(keys))
	for i, k := range keys {
		names[i] = k.Name
	}
	seen := map[string]bool{}
	for pair := range strings.SplitSeq(query, "&") {
		if pair == "" {
			continue
		}
		name, value, hasValue := strings.Cut(pair, "=")
		name = strings.ToLower(name)
		i := slices.Index(names, name)
		if i < 0 {
			if near := nearest.Word(name, names); near != "" {
				return fmt.Errorf("%q is no key: did you mean %q? (allowed: %s)", name, near, strings.Join(names, " "))
			}
			return fmt.Errorf("%q is no key (allowed: %s)", name, strings.Join(names, " "))
		}
		if seen[name] {
			return fmt.Errorf("%s is said twice", name)
		}
		seen[name] = true
		// Not url.QueryUnescape: a plus sign is a plus sign here.
		value, err := url.PathUnescape(value)
		if err == nil && (!hasValue || value == "") {
			err = errors.New("the value is missing")
		}
		if err == nil {
			err = keys[i].set(a, value)
		}
		if err != nil {
			return fmt.Errorf("%s=%s: %w (allowed: %s)", name, value, err, keys[i].Allowed)
		}
	}
	return nil
}

// query prints the keys that do not stand at their default, in the order of
// the table and then the others by name.
func (a Address) query() string {
	var parts []string
	for _, k := range keys() {
		if k.get == nil {
			continue
		}
		if v := k.get(a); v != "" {
			parts = append(parts, k.Name+"="+escapeValue(v))
		}
	}
	if a.more != "" {
		parts = append(parts, a.more)
	}
	return strings.Join(parts, "&")
}

// escapeValue writes as %XX what would end or change a value.
func escapeValue(v string) string {
	var b strings.Builder
	for i := range len(v) {
		switch c := v[i]; {
		case c <= ' ' || c >= 0x7f || c == '%' || c == '&':
			fmt.Fprintf(&b, "%%%02X", c)
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}

// more makes a key that is kept as text.
func more(name, says, allowed string, check func(string) error) readKey {
	return readKey{Key: Key{name, says, allowed}, set: func(a *Address, v string) error {
		v = strings.ToLower(strings.TrimSpace(v))
		if err := check(v); err != nil {
			return err
		}
		pairs := []string{name + "=" + escapeValue(v)}
		if a.more != "" {
			pairs = append(pairs, strings.Split(a.more, "&")...)
		}
		slices.Sort(pairs)
		a.more = strings.Join(pairs, "&")
		return nil
	}}
}

func whole(v string) error { _, err := wholeIn(v, 1, math.MaxInt32); return err }

func wholeFrom(least, most int) func(string) error {
	return func(v string) error { _, err := wholeIn(v, least, most); return err }
}

func choice(words ...string) func(string) error {
	return func(v string) error { _, err := oneOf(v, words...); return err }
}

func angle(v string) error { _, err := measure.ParseAngle(v); return err }

func wholeIn(v string, least, most int) (int, error) {
	n, err := strconv.Atoi(v)
	if err != nil {
		return 0, errors.New("not a whole number")
	}
	if n < least || n > most {
		return 0, errors.New("out of range")
	}
	return n, nil
}

func wholeText(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func numberIn(v string, least, most float64) (float64, error) {
	f, err := strconv.ParseFloat(v, 64)
	if err != nil || math.IsNaN(f) {
		return 0, errors.New("not a number")
	}
	if f < least || f > most {
		return 0, errors.New("out of range")
	}
	return f, nil
}

func numberText(f float64) string {
	if f == 0 {
		return ""
	}
	return strconv.FormatFloat(f, 'g', -1, 64)
}

func oneOf(v string, words ...string) (string, error) {
	v = strings.ToLower(v)
	if slices.Contains(words, v) {
		return v, nil
	}
	if near := nearest.Word(v, words); near != "" {
		return "", fmt.Errorf("did you mean %q?", near)
	}
	return "", errors.New("not one of these")
}

const parities = "NEOMS"

func setParity(a *Address, v string) error {
	words := []string{"none", "even", "odd", "mark", "space"}
	if len(v) == 1 {
		if i := strings.IndexByte(parities, v[0]&^0x20); i >= 0 {
			a.Parity = parities[i]
			return nil
		}
	}
	w, err := oneOf(v, words...)
	if err == nil {
		a.Parity = parities[slices.Index(words, w)]
	}
	return err
}

func parityText(p byte) string {
	if p == 0 {
		return ""
	}
	return string(p)
}

func parseYesNo(v string) (bool, error) {
	switch strings.ToLower(v) {
	case "yes", "true", "1", "on":
		return true, nil
	case "no", "false", "0", "off":
		return false, nil
	}
	return false, errors.New("neither yes nor no")
}

func parseLevel(v string) (Level, error) {
	on, err := parseYesNo(v)
	switch {
	case err != nil:
		return AsIs, errors.New("neither on nor off")
	case on:
		return On, nil
	}
	return Off, nil
}

// String returns the level as it is written behind dtr= and rts=; "" for AsIs.
func (l Level) String() string { return [...]string{"", "on", "off"}[l] }

// setDelay takes a bare number to be milliseconds, as people say it.
func setDelay(a *Address, v string) error {
	d, err := time.ParseDuration(v)
	if err != nil {
		ms, bad := strconv.ParseFloat(v, 64)
		if bad != nil || math.IsNaN(ms) || math.Abs(ms) > 1e6 {
			return errors.New("not a time")
		}
		d = time.Duration(ms * float64(time.Millisecond))
	}
	if d < 0 || d > 10*time.Second {
		return errors.New("out of range")
	}
	a.Delay = measure.StampOf(d)
	return nil
}

func delayText(d measure.Stamp) string {
	if d == 0 {
		return ""
	}
	// In letters that need no escape in a query: 6us, not 6µs.
	return strings.Replace(d.Duration().String(), "µs", "us", 1)
}

// unescapePoll puts in the bytes that \r \n \t \\ and \0 stand for.
func unescapePoll(v string) (string, error) {
	if len(v) > 64 {
		return "", errors.New("longer than 64 bytes")
	}
	var b []byte
	for i := 0; i < len(v); i++ {
		c := v[i]
		if c == '\\' {
			i++
			if i == len(v) {
				return "", errors.New(`a backslash at the end (write \\ for one)`)
			}
			j := strings.IndexByte(`rnt\0`, v[i])
			if j < 0 {
				return "", fmt.Errorf(`\%c stands for nothing`, v[i])
			}
			c = "\r\n\t\\\x00"[j]
		}
		b = append(b, c)
	}
	return string(b), nil
}
