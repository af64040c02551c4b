package address

import (
	"fmt"
	"io"
	"strings"

	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
)

// The manual of addresses is made of the tables that read them: what stands here
// and what is printed cannot say different things.

// Part is a part of the manual of addresses.
type Part struct {
	Title string `json:"title"`
	Says  string `json:"says"`
	Rows  []Row  `json:"rows,omitempty"`
}

// Row is one word of the manual, with what may be written and an example
// that works.
type Row struct {
	Word    string `json:"word"`
	Says    string `json:"says"`
	Allowed string `json:"allowed,omitempty"`
	Example string `json:"example"`
}

// Manual returns the manual of addresses, with a person's own formats in it.
func Manual(own *formats.Set) []Part {
	if own == nil {
		own = &formats.Set{}
	}
	return []Part{
		{Title: "Where a device is", Says: "An address says by what a device is reached, and behind a question mark how it speaks. Most need nothing behind it: the layout of the lines is found by listening.", Rows: kindsManual()},
		{Title: "Words behind the question mark", Says: "Parted by &. In a shell the address stands in quotes then. %20 is a blank, %26 an &.", Rows: keysManual()},
		{Title: "What is found by listening", Says: foundManual},
		{Title: "Formats that format= may name", Says: "format=auto, which needs not be said, finds most. format=none opens a port for its foot switch alone.", Rows: formatsManual(own)},
		{Title: "Modbus RTU", Says: "A device on a bus is asked for a register at the rate said. slave= is its address, register= counts from 0, and type= and order= say how the number is stored; scale= or unit= what one is. role=angle or role=counts makes an encoder of it.", Rows: modbusManual()},
		{Title: "A serial port over the network", Says: "tcp:// is a bridge that hands on raw bytes; its speed is set on the bridge. rfc2217:// is one whose speed and parity are set from here, by telnet options. There is no secrecy on either line.", Rows: bridgeManual()},
		{Title: "A foot switch", Says: "A switch between CTS or DSR and a line of the port that is held on, such as RTS, is a pedal: a press is a mark, and held down it ends the trace. Keys and presenters need no address: see the keys.", Rows: pedalManual()},
		{Title: "A format of your own", Says: "lobescribe formats new ADDRESS listens and prints one as TOML, made from the very lines; lobescribe formats NAME prints a built-in one. Put it into formats.toml in the data folder, or name a file with --formats. Each [[format.column]] is a number of the line, from left to right.",
			Rows: []Row{{Word: "format=NAME", Says: "the format of that name in formats.toml", Example: "serial:/dev/ttyUSB0?format=my-gauge"}}},
	}
}

const foundManual = "The column that moves as a valve does is the lift: out, back, and at rest on its heel for most of a turn. On an encoder's port it is the column that goes on one way, as a crank does, and never a lift. A unit behind a number or in its name counts before all else: 1.23 mm, dist_mm=1.23, \"displacement_mm\":1.23, Height [in]: 0.420. A clock, the number of the line, a temperature or a speed, text in quotes and times of day are never a reading. " +
	"What nothing in the lines tells is assumed, and said: the unit (unit=), what a whole number is (scale=, or counts= of an encoder), which of several columns (column=). Where two columns could be it and neither has moved, nothing is given out until the engine is turned or column= is said. Two channels that come in turn are told apart by what stands before their numbers."

func kindsManual() []Row {
	return []Row{
		{Word: "serial:PORT", Says: "a serial port by its name", Example: "serial:/dev/ttyUSB0"},
		{Word: "serial:COM", Says: "the same on Windows", Example: "serial:COM3"},
		{Word: "usb:VVVV:PPPP[:SERIAL]", Says: "the port of a USB converter by what it says it is, whatever its name today; lobescribe ports shows it", Example: "usb:0403:6001:A5069RR4"},
		{Word: "tcp://HOST:PORT", Says: "raw serial over the network", Example: "tcp://192.168.1.20:4001"},
		{Word: "rfc2217://HOST:PORT", Says: "serial over telnet, with its line settings", Example: "rfc2217://192.168.1.20:4002?baud=4800"},
	}
}

// keyExamples are an address that says each key.
var keyExamples = map[string]string{
	"baud": "serial:/dev/ttyUSB0?baud=115200", "bits": "serial:/dev/ttyUSB0?baud=4800&bits=7&parity=even&stop=2", "parity": "serial:/dev/ttyUSB0?bits=7&parity=even",
	"stop": "serial:/dev/ttyUSB0?stop=2", "dtr": "serial:/dev/ttyUSB0?dtr=off", "rts": "serial:/dev/ttyUSB0?rts=on",
	"format": "serial:/dev/ttyUSB0?format=unit-behind", "unit": "serial:/dev/ttyUSB0?unit=in", "scale": "serial:/dev/ttyUSB0?scale=0.0005in",
	"column": "serial:/dev/ttyUSB0?column=2", "separator": "serial:/dev/ttyUSB0?separator=semicolon", "poll": `serial:/dev/ttyUSB0?poll=R\r`,
	"rate": `serial:/dev/ttyUSB0?poll=?\r&rate=10`, "delay": "serial:/dev/ttyUSB0?delay=16ms", "invert": "serial:/dev/ttyUSB0?invert=yes",
	"pedal": "serial:/dev/ttyUSB0?pedal=cts&rts=on", "counts": "serial:/dev/ttyACM0?counts=2400", "on": "serial:/dev/ttyACM0?counts=2400&on=cam",
	"offset": "serial:/dev/ttyACM0?counts=2400&offset=-12.5", "wrap": "serial:/dev/ttyACM0?wrap=720", "reverse": "serial:/dev/ttyACM0?counts=2400&reverse=yes",
	"index": "serial:/dev/ttyACM0?counts=2400&index=yes", "slave": "serial:/dev/ttyUSB1?format=modbus&slave=3&register=0&type=int16&scale=0.001mm",
	"register": "serial:/dev/ttyUSB1?format=modbus&register=16&type=int32&scale=0.001mm", "table": "serial:/dev/ttyUSB1?format=modbus&table=input&register=0&type=int16&scale=0.001mm",
	"type": "serial:/dev/ttyUSB1?format=modbus&register=0&type=float32&unit=mm", "order": "serial:/dev/ttyUSB1?format=modbus&register=0&type=float32&order=cdab&unit=mm",
	"role": "serial:/dev/ttyACM0?role=angle", "step": "serial:/dev/ttyUSB1?format=modbus&role=angle&register=4&type=uint16&step=0.01",
}

func keysManual() (rows []Row) {
	for _, k := range Keys() {
		rows = append(rows, Row{Word: k.Name + "=", Says: k.Says, Allowed: k.Allowed, Example: keyExamples[k.Name]})
	}
	return rows
}

func formatsManual(own *formats.Set) (rows []Row) {
	for _, f := range own.All() {
		example := "serial:/dev/ttyUSB0?format=" + f.Name
		for _, c := range f.Columns {
			if c.Role == lines.Counts {
				example += "&counts=2400"
			}
		}
		if f.Poll != "" {
			example += "&poll=" + escapeValue(f.Poll)
		}
		rows = append(rows, Row{Word: f.Name, Says: f.Says, Example: example})
	}
	return rows
}

func modbusManual() []Row {
	return []Row{
		{Word: "a gauge", Says: "a signed whole number of 0.001 mm in holding register 0 of device 1, twenty times a second", Example: "serial:/dev/ttyUSB0?baud=19200&parity=even&format=modbus&slave=1&register=0&type=int16&scale=0.001mm&rate=20"},
		{Word: "a gauge of decimals", Says: "a float in two input registers, the low word first", Example: "serial:/dev/ttyUSB0?format=modbus&table=input&register=2&type=float32&order=cdab&unit=mm"},
		{Word: "an encoder", Says: "counts in a long number, 4096 to a turn", Example: "serial:/dev/ttyUSB0?format=modbus&role=counts&register=8&type=uint32&counts=4096"},
	}
}

func bridgeManual() []Row {
	return []Row{
		{Word: "raw", Says: "whatever the bridge was set to", Example: "tcp://192.168.1.20:4001?unit=mm"},
		{Word: "with settings", Says: "4800 7E2, as many old gauges want", Example: "rfc2217://192.168.1.20:4002?baud=4800&bits=7&parity=even&stop=2"},
	}
}

func pedalManual() []Row {
	return []Row{
		{Word: "on the indicator's port", Says: "its cable leaves CTS free", Example: "serial:/dev/ttyUSB0?pedal=cts&rts=on"},
		{Word: "on a port of its own", Says: "nothing else is read there", Example: "serial:/dev/ttyUSB1?format=none&pedal=dsr"},
	}
}

// WriteManual writes the manual as text, or as a page in Markdown.
func WriteManual(w io.Writer, parts []Part, markdown bool) error {
	var b strings.Builder
	if markdown {
		b.WriteString("# Addresses of devices\n\nPrinted by `lobescribe addresses --markdown`.\n")
	}
	for i, p := range parts {
		if markdown {
			fmt.Fprintf(&b, "\n## %s\n\n%s\n", p.Title, p.Says)
			if len(p.Rows) > 0 {
				b.WriteString("\n| word | is | example |\n| --- | --- | --- |\n")
			}
			for _, r := range p.Rows {
				says := r.Says
				if r.Allowed != "" {
					says += "; " + r.Allowed
				}
				fmt.Fprintf(&b, "| `%s` | %s | `%s` |\n", r.Word, strings.NewReplacer("|", `\|`, "<", "&lt;").Replace(says), strings.ReplaceAll(r.Example, "|", `\|`))
			}
			continue
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(strings.ToUpper(p.Title) + "\n")
		wrapped(&b, p.Says, "")
		for _, r := range p.Rows {
			fmt.Fprintf(&b, "\n  %s\n", r.Word)
			says := r.Says
			if r.Allowed != "" {
				says += ": " + r.Allowed
			}
			wrapped(&b, says, "      ")
			fmt.Fprintf(&b, "      '%s'\n", r.Example)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// wrapped writes text in lines of some eighty letters.
func wrapped(b *strings.Builder, text, indent string) {
	line := indent
	for _, word := range strings.Fields(text) {
		if len(line)+len(word) > 84 {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line = indent
		}
		line += word + " "
	}
	if strings.TrimSpace(line) != "" {
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}
