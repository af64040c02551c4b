package tracefile

import (
	"errors"
	"strconv"
	"strings"
	"time"

	"lobescribe/device/measure"
)

// clock reads times of day, with or without a date, as the time since the first of
// them. Hours, minutes and seconds stand between colons; minutes and seconds alone
// need decimals ("04:17.25"), or they might be hours and minutes. A date is of the
// form 2026-11-28, 28.11.2026, 28-Nov-2026, 11/28/2026 or 28/11/2026; which of the
// last two only matters past midnight. Without a date, a time that falls by more than
// twelve hours is of the next day.
type clock struct {
	dated   bool
	first   int64 // µs
	last    int64 // µs, as it was written
	date    string
	day     int64     // of date
	started time.Time // of the first, where its date leaves no doubt
}

const (
	daySeconds = 24 * 60 * 60
	dayMicros  = daySeconds * 1_000_000
)

var (
	errNoClock = errors.New("that is no time of day; it should be like 14:05:09.250 or 2026-11-28 14:05:09.250")
	errNoDate  = errors.New("its date is not known; write it as 2026-11-28")
)

// looksLikeClock says whether a cell is a time of day.
func looksLikeClock(cell []byte) bool {
	_, err := new(clock).read(string(cell))
	return err == nil
}

// read returns the time since the first one read.
func (c *clock) read(text string) (measure.Stamp, error) {
	date, rest := splitDate(strings.TrimSpace(text))
	at, zone, err := timeOfDay(rest)
	if err != nil {
		return 0, err
	}
	switch {
	case date != "" && date != c.date:
		day, sure, err := c.dayOf(date)
		if err != nil {
			return 0, err
		}
		c.date, c.day = date, day
		if !c.dated && sure {
			c.started = startOf(day, at, zone)
		}
	case date == "" && c.dated && at+c.day*dayMicros < c.last-dayMicros/2:
		c.day++
	}
	at += c.day * dayMicros
	c.last = at
	if zone != nil {
		at -= *zone
	}
	if !c.dated {
		c.dated, c.first = true, at
	}
	return measure.Stamp(at - c.first), nil
}

// startOf is the wall clock time of a day and a time of day, which is local where
// no zone stands beside it.
func startOf(day, at int64, zone *int64) time.Time {
	t := time.Unix(day*daySeconds, at*1000).UTC()
	if zone != nil {
		return t.Add(-time.Duration(*zone) * time.Microsecond)
	}
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.Local)
}

// splitDate parts what stands before the time of day.
func splitDate(text string) (date, clock string) {
	colon := strings.IndexByte(text, ':')
	if colon < 0 {
		return "", text
	}
	if i := strings.LastIndexAny(text[:colon], " T,"); i >= 0 {
		return strings.TrimRight(text[:i], " ,"), strings.TrimSpace(text[i+1:])
	}
	return "", text
}

// timeOfDay reads "14:05:09.25", "2:05:09,25 PM", "05:09.25" and "14:05:09Z" as
// microseconds, and how far the zone beside it is ahead of UTC.
func timeOfDay(text string) (at int64, zone *int64, err error) {
	text, zone, err = splitZone(text)
	if err != nil {
		return 0, nil, err
	}
	upper := strings.ToUpper(text)
	half := ""
	for _, word := range []string{"AM", "PM", "A.M.", "P.M."} {
		if cut, ok := strings.CutSuffix(upper, word); ok {
			upper, half = strings.TrimSpace(cut), word[:1]
		}
	}
	parts := strings.Split(strings.ReplaceAll(upper, ",", "."), ":")
	if n := len(parts); n == 4 && len(parts[3]) == 3 { // 14:05:09:250
		parts = []string{parts[0], parts[1], parts[2] + "." + parts[3]}
	}
	switch {
	case len(parts) == 2 && strings.Contains(parts[1], ".") && half == "":
		parts = append([]string{"0"}, parts...)
	case len(parts) != 3:
		return 0, nil, errNoClock
	}
	h, errH := wholeUnder(parts[0], 24)
	m, errM := wholeUnder(parts[1], 60)
	s, errS := number([]byte(parts[2]), 1_000_000)
	if errH != nil || errM != nil || errS != nil || s < 0 || s >= 61_000_000 || parts[2][0] == '+' || strings.ContainsAny(parts[2], "eE") {
		return 0, nil, errNoClock
	}
	if half != "" {
		if h < 1 || h > 12 {
			return 0, nil, errNoClock
		}
		if h %= 12; half == "P" {
			h += 12
		}
	}
	return (h*3600+m*60)*1_000_000 + s, zone, nil
}

// splitZone takes "Z", "+01:00" or "-0530" off the end.
func splitZone(text string) (rest string, zone *int64, err error) {
	if cut, ok := strings.CutSuffix(text, "Z"); ok {
		return strings.TrimSpace(cut), new(int64), nil
	}
	i := strings.LastIndexAny(text, "+-")
	if i < 0 {
		return text, nil, nil
	}
	digits := strings.ReplaceAll(text[i+1:], ":", "")
	if len(digits) == 2 {
		digits += "00"
	}
	if len(digits) != 4 {
		return "", nil, errNoClock
	}
	h, errH := wholeUnder(digits[:2], 24)
	m, errM := wholeUnder(digits[2:], 60)
	if errH != nil || errM != nil {
		return "", nil, errNoClock
	}
	ahead := (h*3600 + m*60) * 1_000_000
	if text[i] == '-' {
		ahead = -ahead
	}
	return strings.TrimSpace(text[:i]), &ahead, nil
}

// wholeUnder reads one or two digits.
func wholeUnder(text string, limit int64) (int64, error) {
	if len(text) < 1 || len(text) > 2 || strings.Trim(text, "0123456789") != "" {
		return 0, errNoClock
	}
	v, err := strconv.ParseInt(text, 10, 64)
	if err != nil || v >= limit {
		return 0, errNoClock
	}
	return v, nil
}

// dayOf reads a date as days since 1970, and says whether it can be one day only.
func (c *clock) dayOf(date string) (day int64, sure bool, err error) {
	for _, layout := range []string{"2006-1-2", "2006/1/2", "2006.1.2", "20060102", "2.1.2006", "2.1.06", "2-Jan-2006", "2-Jan-06", "2 Jan 2006", "Jan 2 2006", "Jan 2, 2006"} {
		if t, err := time.Parse(layout, date); err == nil {
			return t.Unix() / daySeconds, true, nil
		}
	}
	var days []int64
	for _, layout := range []string{"1/2/2006", "2/1/2006", "1-2-2006", "2-1-2006", "1/2/06", "2/1/06"} {
		if t, err := time.Parse(layout, date); err == nil {
			days = append(days, t.Unix()/daySeconds)
		}
	}
	if len(days) == 0 {
		return 0, false, errNoDate
	}
	if !c.dated {
		return days[0], len(days) == 1 || days[0] == days[1], nil
	}
	// Which of the two orders the first date was written in was not known: the next
	// day is the one that comes soonest after it in either.
	was := []int64{c.day}
	for _, layout := range []string{"1/2/2006", "2/1/2006", "1-2-2006", "2-1-2006", "1/2/06", "2/1/06"} {
		if t, err := time.Parse(layout, c.date); err == nil {
			was = append(was, t.Unix()/daySeconds)
		}
	}
	const never = 1 << 40
	least := int64(never)
	for _, a := range was {
		for _, b := range days {
			if b > a && b-a < least {
				least = b - a
			}
		}
	}
	if least == never {
		return days[0], false, nil // back in time, which is told
	}
	return c.day + least, false, nil
}
